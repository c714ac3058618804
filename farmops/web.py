"""The doors: who is asking, which farm, may they, and how a 'no' is shown.

API views derive from ``FarmAPI``, pages from ``FarmPage``. Both resolve the member from the
farm in the address, ask ``needs`` for the capability of the method, and turn the errors of
``farmops.errors`` into answers. A door parses, calls one service or query, and answers.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable, Mapping
from functools import partial
from typing import Any, ClassVar

from django import forms
from django.contrib import messages
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils.translation import gettext
from django.views import View
from rest_framework import generics
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from apps.audit import services as audit
from apps.people import queries as people
from apps.people.queries import Member
from apps.people.rules import Can
from farmops import clock, offline
from farmops.errors import BadInput, FarmError, NotYourRole, Refused, Unknown, gettext_noop
from farmops.problems import PreconditionRequired, describe, in_words
from farmops.uploads import MEDIA, MOST_BYTES

UNSAFE = {"POST", "PATCH", "PUT", "DELETE"}


def _without_secrets(payload: Any) -> Any:
    """A request body without passwords: a fast hash of a password must not be stored."""
    if not isinstance(payload, Mapping):
        return payload
    return {k: v for k, v in payload.items() if not k.endswith("password") and k != "csrfmiddlewaretoken"}


# ---- API -------------------------------------------------------------------------------


def read_body(request: Request, shape: type[Any], *, partial: bool = False, farm: Any = None) -> dict[str, Any]:
    """The request body checked against ``shape``, as plain values; also for doors that belong to no farm."""
    serializer = shape(data=request.data, partial=partial, context={"farm": farm})
    serializer.is_valid(raise_exception=True)
    return dict(serializer.validated_data)


def kept_file(content: bytes, media: str, name: str) -> HttpResponse:
    """A kept upload: never shown in the browser, never guessed at, never cached, and nothing in it may run."""
    response = HttpResponse(content, content_type=media)
    response["Content-Disposition"] = f'attachment; filename="{name}.{MEDIA[media]}"'
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    response["Cache-Control"] = "no-store"
    return response


def content_of(file: Any) -> bytes:
    """An upload's bytes, one more than may be taken at the most."""
    return bytes(file.read(MOST_BYTES + 1))


class FarmAPI(APIView):
    """Base of every operation below ``/api/v1/farms/{farm}/``.

    ``needs`` maps each method to its capability; a method without one answers nobody.
    Unsafe methods honour ``Idempotency-Key``; ``key_required`` names methods that insist on it.
    """

    needs: ClassVar[Mapping[str, Can]] = {}
    key_required: ClassVar[frozenset[str]] = frozenset()
    shown_once: ClassVar[frozenset[str]] = frozenset()  # parts of an answer that are never stored
    versioned: ClassVar[bool] = True
    member: Member

    def initial(self, request: Request, *args: Any, **kwargs: Any) -> None:
        super().initial(request, *args, **kwargs)
        method = "GET" if request.method in {"HEAD", "OPTIONS"} else str(request.method)
        self.admit(request.user, kwargs["farm"], method, key=request.auth)
        if request.method in UNSAFE:
            self._act_once(request)

    def admit(self, person: Any, farm: str, method: str, *, key: Any = None) -> None:
        """Sets ``member``, ``farm`` and ``now``; ``Unknown`` for strangers, ``NotYourRole`` for the wrong role."""
        self.member = people.member_of(farm, person)
        if key is not None and key.farm_id != self.member.farm.pk:
            raise Unknown(gettext_noop("This key belongs to another farm."))
        if method not in self.needs:
            raise NotYourRole()
        self.member.require(self.needs[method])
        self.farm = self.member.farm
        self.now = clock.now()

    def _act_once(self, request: Request) -> None:
        """With an Idempotency-Key, replace this request's handler by one that acts once."""
        key = request.headers.get("Idempotency-Key", "")
        method = str(request.method)
        if not key:
            if method in self.key_required:
                raise BadInput({"Idempotency-Key": "This action needs a key, new for each new action."})
            return
        handler = getattr(self, method.lower())
        setattr(self, method.lower(), partial(self._once, key, handler))

    def _once(self, key: str, handler: Callable[..., Response], request: Request, *args: Any, **kw: Any) -> Response:
        headers: dict[str, str] = {}

        def act() -> tuple[int, Any]:
            response = handler(request, *args, **kw)
            headers.update(response.headers)
            return response.status_code, response.data

        status, body, replayed = audit.once(
            person_id=self.member.person_id,
            route=f"{request.method} {request.path}",
            key=key,
            payload=_without_secrets(request.data),
            now=self.now,
            act=act,
            forget=self.shown_once,
        )
        if replayed:
            headers["Idempotent-Replay"] = "true"
        return Response(body, status=status, headers=headers)

    def read(self, serializer_class: type[Any], *, partial: bool = False) -> dict[str, Any]:
        """The checked request body as plain values."""
        return read_body(self.request, serializer_class, partial=partial, farm=self.farm)

    def expected_version(self) -> int:
        """The version in If-Match (quotes and W/ allowed); 428 when absent."""
        raw = self.request.headers.get("If-Match", "").strip()
        if not raw:
            raise PreconditionRequired
        text = raw.removeprefix("W/").strip('"').removeprefix("v")
        if not text.isdigit():
            raise BadInput({"If-Match": 'Must be a version such as "v3".'})
        return int(text)

    def show(self, serializer_class: type[Any], row: Any, *, status: int = 200, many: bool = False) -> Response:
        """Answer with a serialised row; rows with a version carry it as ETag."""
        response = Response(serializer_class(row, many=many, context={"farm": self.farm}).data, status=status)
        if (version := getattr(row, "version", None)) is not None:
            response["ETag"] = f'"v{version}"'
        return response


class FarmList(FarmAPI, generics.ListAPIView):
    """``GET``: a filtered, paged list of ``self.rows()`` in the shape of ``serializer_class``.

    The schema generator has no farm, so for it ``queryset`` (empty) stands in for ``rows``.
    """

    def rows(self) -> Any:
        raise NotImplementedError

    def get_queryset(self) -> Any:
        if getattr(self, "swagger_fake_view", False):
            return self.queryset
        return self.rows()

    def get_serializer_context(self) -> dict[str, Any]:
        return {**super().get_serializer_context(), "farm": getattr(self, "farm", None)}


# ---- pages -----------------------------------------------------------------------------


def page_context(request: HttpRequest) -> dict[str, Any]:
    """What every template may use."""
    member = getattr(request, "member", None)
    reader = offline.reader_key(member.person_id) if member else ""
    return {"member": member, "reader": reader, "Can": Can, "once_key": uuid.uuid4().hex}


class FarmPage(View):
    """Base of every page below ``/f/{farm}/``.

    ``keep_offline`` allows a phone to keep a copy for reading without reception; never for answers about ground.
    """

    needs: ClassVar[Mapping[str, Can]] = {}
    template_name: ClassVar[str] = ""
    keep_offline: ClassVar[bool] = False
    member: Member

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        waited_for = offline.from_outbox(request)
        if not request.user.is_authenticated:
            return offline.not_theirs() if waited_for else redirect_to_login(request.get_full_path())
        if waited_for and waited_for != offline.reader_key(request.user.pk):
            return offline.not_theirs()
        try:
            self.member = request.member = people.member_of(kwargs["farm"], request.user)  # type: ignore[attr-defined]
            self.farm = self.member.farm
            self.now = clock.now()
            method = "GET" if request.method in {"HEAD", "OPTIONS"} else str(request.method)
            if method not in self.needs:
                raise NotYourRole()
            self.member.require(self.needs[method])
            response = super().dispatch(request, *args, **kwargs)
        except FarmError as error:
            response = error_page(request, error)
        response.headers.setdefault("Cache-Control", "no-store")
        offline.mark_reading(response, person_id=request.user.pk, keep=self.keep_offline and request.method == "GET")
        return offline.outbox_answer(response) if waited_for else response

    def page(self, context: Mapping[str, Any] | None = None, *, status: int = 200) -> HttpResponse:
        base = {"farm": self.farm, "now": self.now, "keep_offline": self.keep_offline, **(context or {})}
        return render(self.request, self.template_name, base, status=status)

    def act_once(self, act: Callable[[], str]) -> HttpResponse:
        """Run ``act`` (which returns where to go next) once for this form's ``once_key``."""
        key = self.request.POST.get("once_key", "")
        if not key:
            return HttpResponseRedirect(act())
        _, place, _ = audit.once(
            person_id=self.member.person_id,
            route=f"PAGE {self.request.path}",
            key=key,
            payload=_without_secrets(dict(self.request.POST.lists())),
            now=self.now,
            act=lambda: (303, act()),
        )
        return HttpResponseRedirect(place)


class FormPage(FarmPage):
    """A page with one form: ``form(data)`` builds it, ``act(cleaned)`` does it and returns the next address.

    Refusals and bad input come back on the same page with everything typed kept.
    """

    done: Any = ""

    def form(self, data: Any = None) -> forms.Form:
        raise NotImplementedError

    def act(self, cleaned: dict[str, Any]) -> str:
        raise NotImplementedError

    def context(self) -> dict[str, Any]:
        return {}

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        return self.page({"form": self.form(), **self.context()})

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        form = self.form(request.POST)
        if not form.is_valid():
            return self.page({"form": form, **self.context()}, status=400)
        try:
            response = self.act_once(lambda: self.act(dict(form.cleaned_data)))
        except BadInput as error:
            put_errors(form, error)
            return self.page({"form": form, **self.context()}, status=400)
        except Refused as error:
            return self.page({"form": form, "findings": error.findings, **self.context()}, status=409)
        if self.done:
            messages.success(request, gettext(self.done))
        return response


def put_errors(form: forms.Form, error: BadInput) -> None:
    """Show a service's ``BadInput`` at the form's fields (at the top when the field is not shown)."""
    for name, said in error.errors.items():
        for sentence in said:
            shown = in_words(sentence)
            form.add_error(name if name in form.fields else None, shown if name in form.fields else f"{name}: {shown}")


def error_page(request: HttpRequest, error: FarmError) -> HttpResponse:
    """A refusal, a wrong role or an unknown thing as a page that says what to do next."""
    body = describe(error) or {"status": 500, "title": "Error", "detail": str(error)}
    context = {"problem": body, "findings": getattr(error, "findings", [])}
    return render(request, "problem.html", context, status=int(body["status"]))
