"""Pages of people."""

from __future__ import annotations

from typing import Any

from django.contrib import messages
from django.contrib.auth import update_session_auth_hash
from django.contrib.auth.mixins import LoginRequiredMixin
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.translation import gettext
from django.utils.translation import gettext_lazy as _
from django.views import View

from apps.people import forms, queries, services
from apps.people.rules import Can, Role
from farmops import clock
from farmops.errors import BadInput, FarmError
from farmops.web import FarmPage, FormPage, error_page, put_errors


class Farms(LoginRequiredMixin, View):
    """Choose a farm, or open a new book."""

    def get(self, request: HttpRequest) -> HttpResponse:
        places = queries.memberships_of(request.user)  # type: ignore[arg-type]
        return render(request, "people/farms.html", {"places": places})


class OpenFarm(LoginRequiredMixin, View):
    def get(self, request: HttpRequest) -> HttpResponse:
        return render(request, "people/open_farm.html", {"form": forms.FarmForm()})

    def post(self, request: HttpRequest) -> HttpResponse:
        form = forms.FarmForm(request.POST)
        if form.is_valid():
            values = {k: v for k, v in form.cleaned_data.items() if k != "version"}
            try:
                farm = services.open_farm(person=request.user, now=clock.now(), **values)  # type: ignore[arg-type]
                return redirect(f"/f/{farm.slug}/")
            except BadInput as error:
                put_errors(form, error)
        return render(request, "people/open_farm.html", {"form": form}, status=400)


class Join(View):
    """Accept an invitation, as a new or as the signed-in person."""

    def get(self, request: HttpRequest, code: str) -> HttpResponse:
        try:
            row = queries.open_invitation(code, clock.now())
        except FarmError as error:
            return error_page(request, error)
        form = forms.JoinForm(initial={"full_name": row.full_name})
        return render(request, "people/join.html", {"form": form, "invitation": row})

    def post(self, request: HttpRequest, code: str) -> HttpResponse:
        signed_in = request.user if request.user.is_authenticated else None
        form = forms.JoinForm(request.POST)
        if signed_in is None and not form.is_valid():
            return render(request, "people/join.html", {"form": form}, status=400)
        new = None if signed_in else form.cleaned_data
        try:
            place = services.accept_invitation(code=code, now=clock.now(), person=signed_in, new=new)  # type: ignore[arg-type]
        except BadInput as error:
            put_errors(form, error)
            return render(request, "people/join.html", {"form": form}, status=400)
        except FarmError as error:
            return error_page(request, error)
        messages.success(request, gettext("You have joined %(farm)s.") % {"farm": place.farm.name})
        return redirect("home" if signed_in else "people:log_in")


class People(FormPage):
    """Members and open invitations; inviting shows the code once."""

    needs = {"GET": Can.MANAGE_PEOPLE, "POST": Can.MANAGE_PEOPLE}
    template_name = "people/people.html"

    def form(self, data: Any = None) -> forms.InviteForm:
        return forms.InviteForm(data)

    def context(self) -> dict[str, Any]:
        return {"members": queries.members(self.farm), "invitations": queries.invitations(self.farm)}

    def act(self, cleaned: dict[str, Any]) -> str:
        _row, code = services.invite(member=self.member, now=self.now, **cleaned)
        address = self.request.build_absolute_uri(reverse("people:join", args=[code]))
        messages.success(self.request, gettext("Give this address to the person; it is shown once: %s") % address)
        return reverse("people:people", args=[self.farm.slug])


class WithdrawInvitation(FarmPage):
    needs = {"POST": Can.MANAGE_PEOPLE}

    def post(self, request: HttpRequest, farm: str, invitation: int) -> HttpResponse:
        services.withdraw_invitation(member=self.member, invitation_id=invitation, now=self.now)
        return redirect("people:people", farm)


class Place(FormPage):
    """One member's roles."""

    needs = {"GET": Can.MANAGE_PEOPLE, "POST": Can.MANAGE_PEOPLE}
    template_name = "people/place.html"
    done = _("The roles are changed.")

    def context(self) -> dict[str, Any]:
        return {"place": queries.member_in(self.farm, self.kwargs["member"])}

    def form(self, data: Any = None) -> forms.PlaceForm:
        row = self.context()["place"]
        start = {"roles": [r.value for r in Role if r in row.roles], "active": row.active, "version": row.version}
        start["family"] = row.family
        start["born_on"] = row.person.born_on
        return forms.PlaceForm(data, initial=start)

    def act(self, cleaned: dict[str, Any]) -> str:
        services.set_birth_date(
            member=self.member,
            membership_id=self.kwargs["member"],
            born_on=cleaned.pop("born_on"),
            now=self.now,
        )
        services.set_place(
            member=self.member,
            membership_id=self.kwargs["member"],
            expected_version=cleaned.pop("version"),
            now=self.now,
            **cleaned,
        )
        return reverse("people:people", args=[self.farm.slug])


class FarmSettings(FormPage):
    needs = {"GET": Can.EDIT_FARM, "POST": Can.EDIT_FARM}
    template_name = "people/farm_settings.html"
    done = _("The farm's settings are changed.")

    def form(self, data: Any = None) -> forms.FarmEditForm:
        names = forms.FarmEditForm.base_fields
        return forms.FarmEditForm(data, initial={n: getattr(self.farm, n) for n in names})

    def act(self, cleaned: dict[str, Any]) -> str:
        version = cleaned.pop("version")
        services.edit_farm(member=self.member, expected_version=version, changes=cleaned, now=self.now)
        return reverse("people:settings", args=[self.farm.slug])


class Me(FormPage):
    """My name, language, password, keys and roles."""

    needs = {"GET": Can.READ_FARM, "POST": Can.READ_FARM}
    template_name = "people/me.html"
    done = _("Saved.")

    def form(self, data: Any = None) -> forms.MeForm:
        me = self.request.user
        return forms.MeForm(data, initial={n: getattr(me, n) for n in forms.MeForm.base_fields})

    def context(self) -> dict[str, Any]:
        return {"tokens": queries.tokens_of(self.farm, self.member.person_id)}

    def act(self, cleaned: dict[str, Any]) -> str:
        services.edit_me(person=self.request.user, changes=cleaned, now=self.now)  # type: ignore[arg-type]
        return reverse("people:me", args=[self.farm.slug])


class Password(FormPage):
    needs = {"GET": Can.READ_FARM, "POST": Can.READ_FARM}
    template_name = "people/password.html"
    done = _("Your password is changed.")

    def form(self, data: Any = None) -> forms.PasswordForm:
        return forms.PasswordForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        person: Any = self.request.user
        services.change_password(person=person, old=cleaned["old_password"], new=cleaned["new_password"], now=self.now)
        update_session_auth_hash(self.request, person)
        return reverse("people:me", args=[self.farm.slug])


class MakeToken(FormPage):
    needs = {"GET": Can.READ_FARM, "POST": Can.READ_FARM}
    template_name = "people/token.html"

    def form(self, data: Any = None) -> forms.TokenForm:
        return forms.TokenForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        _row, key = services.make_token(member=self.member, now=self.now, **cleaned)
        messages.success(self.request, gettext("Copy this key now; it is shown once: %s") % key)
        return reverse("people:me", args=[self.farm.slug])


class RevokeToken(FarmPage):
    needs = {"POST": Can.READ_FARM}

    def post(self, request: HttpRequest, farm: str, token: int) -> HttpResponse:
        services.revoke_token(member=self.member, token_id=token, now=self.now)
        return redirect("people:me", farm)
