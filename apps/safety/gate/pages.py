"""The page at the gate, which needs no account, and the manager's pages for plates."""

from __future__ import annotations

import logging
from typing import Any

from django.conf import settings
from django.db import DatabaseError
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import translation
from django.utils.decorators import method_decorator
from django.utils.translation import gettext
from django.views import View
from django.views.decorators.csrf import csrf_exempt

from apps.people.rules import Can
from apps.safety import wording
from apps.safety.gate import qr, queries, rules, services
from apps.safety.showing import answer_context, say
from farmops import clock
from farmops.errors import BadInput
from farmops.language import CODES
from farmops.pdf import compile_pdf
from farmops.web import FarmPage

log = logging.getLogger(__name__)

PLATES = settings.BASE_DIR / "apps" / "safety" / "gate" / "plates.typ"


def connection_of(request: HttpRequest) -> str:
    """Whose questions are counted together: the address of the other end, or what our own proxy says it is."""
    if settings.BEHIND_TLS:
        named = request.headers.get("X-Forwarded-For", "").split(",")[-1].strip()
        if named:
            return named
    return str(request.META.get("REMOTE_ADDR", ""))


class _AtTheGate(View):
    """No account, no cookie, no cache, no search engine; whatever breaks, keep out is what it says."""

    def dispatch(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        self.now = clock.now()
        try:
            response = self.counted(request, **kwargs)
        except Exception:
            log.exception("the page at the gate could not be made")
            response = self.shown("safety/gate/no_answer.html", {"farm": getattr(self, "farm", None)}, status=503)
        response.headers["Cache-Control"] = "no-store"
        response.headers["X-Robots-Tag"] = "noindex, nofollow, noarchive"
        response.headers["Referrer-Policy"] = "no-referrer"
        return response

    def counted(self, request: HttpRequest, **kwargs: Any) -> HttpResponse:
        wait = self.count(rules.ASK_COST)
        if wait:
            response = self.shown("safety/gate/too_many.html", {"seconds": wait}, status=429)
            response.headers["Retry-After"] = str(wait)
            return response
        response = super().dispatch(request, **kwargs)
        if response.status_code == 404:
            self.count(rules.MISS_COST - rules.ASK_COST)
        return response

    def count(self, cost: int) -> int:
        """Seconds to wait. People who are logged in are never counted, and a count that fails stops nobody."""
        if self.request.user.is_authenticated:
            return 0
        try:
            return services.count_question(connection=connection_of(self.request), cost=cost, now=self.now)
        except DatabaseError:
            log.exception("a question at the gate could not be counted")
            return 0

    def shown(self, template: str, context: dict[str, Any], *, status: int = 200) -> HttpResponse:
        base = {"fixed": wording, "gate": True, "LANG": translation.get_language()}
        return render(self.request, template, {**base, **context}, status=status)

    def nobody(self) -> HttpResponse:
        """The same words for a code that never was, one that was revoked, and one that was mistyped."""
        return self.shown("safety/gate/no_such_code.html", {}, status=404)


@method_decorator(csrf_exempt, name="dispatch")
class Gate(_AtTheGate):
    """The answer for the block of this code. ``POST`` sets the language, which is all that is ever remembered."""

    def get(self, request: HttpRequest, plate: str) -> HttpResponse:
        row = queries.in_force(plate)
        if row is None:
            return self.nobody()
        self.farm = row.farm
        try:
            shown = answer_context(row.block, request.GET, self.now)
        except BadInput:  # a question that cannot be read is asked as if no work had been chosen: the strictest
            shown = answer_context(row.block, {}, self.now)
        extra = {"code": row.code, "elsewhere": reverse("safety:gate_code")}
        return say(self.shown("safety/gate/answer.html", {**shown, **extra}), shown)

    def post(self, request: HttpRequest, plate: str) -> HttpResponse:
        language = request.POST.get("language", "")
        response = HttpResponseRedirect(reverse("safety:gate", args=[rules.tidy(plate)]))
        if language in CODES:
            response.set_cookie(settings.LANGUAGE_COOKIE_NAME, language, max_age=31536000, samesite="Lax")
        return response


class TypedCode(_AtTheGate):
    """For phones that cannot scan, and for asking about another block: the code under the square, typed."""

    def get(self, request: HttpRequest) -> HttpResponse:
        typed = rules.tidy(request.GET.get("code", ""))
        if not typed:
            return self.shown("safety/gate/type_code.html", {})
        return HttpResponseRedirect(reverse("safety:gate", args=[typed[:40]]))


# ---- the manager's side ----------------------------------------------------------------


class GateCodes(FarmPage):
    """Every block with its code: issue, issue anew, revoke, print."""

    needs = {"GET": Can.EDIT_LAND, "POST": Can.EDIT_LAND}
    template_name = "safety/gate/codes.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        return self.page({"plates": queries.plates(self.farm)})

    def post(self, request: HttpRequest, farm: str) -> HttpResponse:
        """A code for every block that has none."""

        def act() -> str:
            services.issue_missing(member=self.member, now=self.now)
            return reverse("safety:gate_codes", args=[farm])

        return self.act_once(act)


class IssueCode(FarmPage):
    needs = {"POST": Can.EDIT_LAND}

    def post(self, request: HttpRequest, farm: str, block: int) -> HttpResponse:
        def act() -> str:
            services.issue_code(member=self.member, block_id=block, now=self.now)
            return reverse("safety:gate_codes", args=[farm])

        return self.act_once(act)


class RevokeCode(FarmPage):
    needs = {"POST": Can.EDIT_LAND}

    def post(self, request: HttpRequest, farm: str, gate_code: int) -> HttpResponse:
        services.revoke_code(member=self.member, code_id=gate_code, now=self.now)
        return redirect("safety:gate_codes", farm)


class Plates(FarmPage):
    """The plates to print: one a block, with the square, the code and what to do without reception."""

    needs = {"GET": Can.EDIT_LAND}
    template_name = "safety/gate/plates.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        plates = [
            {"plate": p, "svg": qr.svg(p.code.code, name=_name(p)), "address": qr.address_of(p.code.code)}
            for p in queries.plates(self.farm)
            if p.code
        ]
        return self.page({"plates": plates, "fixed": wording})


class PlatesPdf(FarmPage):
    """The same plates as a PDF, two a page."""

    needs = {"GET": Can.EDIT_LAND}

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        plates = [_printed(p) for p in queries.plates(self.farm) if p.code]
        data = {"farm": self.farm.name, "phone": _phone(self.farm), "plates": plates, "none": gettext("No codes yet.")}
        made = compile_pdf(PLATES, data, gettext("Plates for the gates"), translation.get_language() or "en")
        response = HttpResponse(made, content_type="application/pdf")
        response.headers["Content-Disposition"] = f'attachment; filename="{farm}-plates.pdf"'
        return response


def _name(plate: queries.Plate) -> str:
    return gettext("Square to scan for %(block)s, code %(code)s") % {"block": plate.block, "code": plate.shown}


def _phone(farm: Any) -> str:
    return f"{farm.contact_name} {farm.contact_phone}"


def _printed(plate: queries.Plate) -> dict[str, str]:
    return {
        "name": plate.block.name,
        "field": f"{plate.block.code}, {plate.block.field.name}",
        "code": plate.shown,
        "short": settings.SITE_URL.rstrip("/") + reverse("safety:gate_code"),
        "svg": str(qr.svg(plate.code.code, name=_name(plate))) if plate.code else "",
        "alt": _name(plate),
    }
