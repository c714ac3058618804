"""Pages of people's cards: everybody's papers with the days left, one card, and my own."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext_lazy as _

from apps.people import queries as people
from apps.people.rules import Can
from apps.training import forms, queries, services
from apps.training.credits import queries as credits
from apps.training.scans import queries as scans
from farmops.web import FarmPage, FormPage

EDIT = {"GET": Can.EDIT_CERTIFICATES, "POST": Can.EDIT_CERTIFICATES}


class CardPage(FarmPage):
    """Shared by the pages about people's papers."""

    def as_of(self) -> dict[str, Any]:
        """The day the papers are judged on."""
        return {"today": queries.today(self.farm, self.now)}

    def of_person(self, person_id: int) -> dict[str, Any]:
        """Pictures of somebody's cards (as far as the reader may see them) and the courses they took."""
        pictures = scans.scans(self.member).filter(certificate__person_id=person_id, removed_at=None)
        courses = credits.credits(self.farm).filter(person_id=person_id, struck_at=None)
        return {"scans": pictures, "credits": courses}

    def people(self) -> list[tuple[int, str]]:
        places = people.members(self.farm).filter(active=True)
        return [(place.person_id, place.person.full_name) for place in places]

    def to_card(self, person_id: int) -> str:
        return reverse("training:card", args=[self.farm.slug, person_id])


class Cards(CardPage):
    needs = {"GET": Can.READ_CERTIFICATES}
    template_name = "training/cards.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        return self.page({"cards": queries.cards(self.farm, queries.today(self.farm, self.now)), **self.as_of()})


class OneCard(CardPage):
    needs = {"GET": Can.READ_CERTIFICATES}
    template_name = "training/card.html"

    def get(self, request: HttpRequest, farm: str, person: int) -> HttpResponse:
        found = queries.card(self.farm, person, queries.today(self.farm, self.now))
        return self.page({"card": found, **self.of_person(person), **self.as_of()})


class MyCard(CardPage):
    """My own papers, to show to an inspector."""

    needs = {"GET": Can.READ_FARM}
    template_name = "training/my_card.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        mine = self.member.person_id
        found = queries.card(self.farm, mine, queries.today(self.farm, self.now))
        return self.page({"card": found, **self.of_person(mine), **self.as_of()})


class CardForm(CardPage, FormPage):
    """A page with one form about somebody's papers."""

    needs = EDIT
    template_name = "training/form.html"
    title: Any = ""
    button: Any = _("Save")

    def context(self) -> dict[str, Any]:
        context = {"title": self.title, "button": self.button}
        if "certificate" in self.kwargs:
            context["certificate"] = queries.certificate(self.farm, self.kwargs["certificate"])
        if "credit" in self.kwargs:
            context["credit"] = credits.credit(self.farm, self.kwargs["credit"])
        if "training" in self.kwargs:
            context["training"] = queries.training(self.farm, self.kwargs["training"])
        return context

    def asked_person(self) -> str:
        return self.request.GET.get("person", "")


class AddCertificate(CardForm):
    title = _("Record a certificate")
    button = _("Record the certificate")
    done = _("The certificate is recorded.")

    def form(self, data: Any = None) -> forms.CertificateForm:
        start = {"person_id": self.asked_person(), "jurisdiction": self.farm.jurisdiction, "kind": "private"}
        return forms.CertificateForm(data, people=self.people(), initial=start)

    def act(self, cleaned: dict[str, Any]) -> str:
        cleaned.pop("version")
        services.record_certificate(member=self.member, now=self.now, **cleaned)
        return self.to_card(cleaned["person_id"])


class EditCertificate(CardForm):
    title = _("Put a certificate right")
    button = _("Save the certificate")
    done = _("The certificate is changed.")

    def form(self, data: Any = None) -> forms.CertificateEditForm:
        row = self.context()["certificate"]
        start = {name: getattr(row, name) for name in forms.CertificateEditForm.base_fields}
        return forms.CertificateEditForm(data, initial={**start, "categories": ", ".join(row.categories)})

    def act(self, cleaned: dict[str, Any]) -> str:
        row = services.edit_certificate(
            member=self.member,
            certificate_id=self.kwargs["certificate"],
            expected_version=cleaned.pop("version") or 0,
            changes=cleaned,
            now=self.now,
        )
        return self.to_card(row.person_id)


class SuspendCertificate(CardForm):
    title = _("Suspend a certificate")
    button = _("Suspend it")
    done = _("The certificate is suspended.")

    def form(self, data: Any = None) -> forms.SuspendForm:
        return forms.SuspendForm(data, initial={"from_on": queries.today(self.farm, self.now)})

    def act(self, cleaned: dict[str, Any]) -> str:
        certificate = self.kwargs["certificate"]
        row = services.suspend_certificate(member=self.member, certificate_id=certificate, now=self.now, **cleaned)
        return self.to_card(row.certificate.person_id)


class LiftSuspension(CardForm):
    title = _("Lift a suspension")
    button = _("It counts again")
    done = _("The suspension is lifted.")

    def form(self, data: Any = None) -> forms.LiftForm:
        return forms.LiftForm(data, initial={"lifted_on": queries.today(self.farm, self.now)})

    def act(self, cleaned: dict[str, Any]) -> str:
        certificate = self.kwargs["certificate"]
        row = services.lift_suspension(member=self.member, certificate_id=certificate, now=self.now, **cleaned)
        return self.to_card(row.certificate.person_id)


class AddTraining(CardForm):
    title = _("Record a training")
    button = _("Record the training")
    done = _("The training is recorded.")

    def form(self, data: Any = None) -> forms.TrainingForm:
        start = {"person_id": self.asked_person(), "trained_on": queries.today(self.farm, self.now)}
        return forms.TrainingForm(data, people=self.people(), initial=start)

    def act(self, cleaned: dict[str, Any]) -> str:
        services.record_training(member=self.member, now=self.now, **cleaned)
        return self.to_card(cleaned["person_id"])


class StrikeTraining(CardForm):
    title = _("Strike a training")
    button = _("It does not count")
    done = _("Struck.")

    def form(self, data: Any = None) -> forms.StrikeForm:
        return forms.StrikeForm(data)

    def act(self, cleaned: dict[str, Any]) -> str:
        training = self.kwargs["training"]
        row = services.strike_training(member=self.member, training_id=training, now=self.now, **cleaned)
        return self.to_card(row.person_id)
