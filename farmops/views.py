"""The few doors that belong to no subject: home, language, health, last-resort errors."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.exceptions import BadRequest
from django.db import connection
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect, JsonResponse
from django.shortcuts import redirect, render
from django.utils.http import url_has_allowed_host_and_scheme
from django.utils.translation import gettext
from django.views.decorators.http import require_GET, require_POST

from apps.audit import triggers
from apps.people import queries as people
from apps.people import services as people_services
from apps.reminders import queries as reminders
from farmops import clock
from farmops.errors import gettext_noop
from farmops.language import CODES
from farmops.problems import is_api, json_problem, problem


@require_GET
def home(request: HttpRequest) -> HttpResponse:
    """To the only farm, or to the choice of farms."""
    if not request.user.is_authenticated:
        return redirect("people:log_in")
    places = list(people.memberships_of(request.user)[:2])
    if len(places) == 1:
        return redirect(f"/f/{places[0].farm.slug}/")
    return redirect("people:farms")


@require_POST
def set_language(request: HttpRequest) -> HttpResponse:
    """Switch the language and stay on the page."""
    code, back = request.POST.get("language", ""), request.POST.get("back", "/")
    if code not in CODES:
        raise BadRequest("Language must be one of: " + ", ".join(CODES))
    if not url_has_allowed_host_and_scheme(back, allowed_hosts={request.get_host()}):
        back = "/"
    response = HttpResponseRedirect(back)
    response.set_cookie(settings.LANGUAGE_COOKIE_NAME, code, max_age=31536000, samesite="Lax")
    if request.user.is_authenticated:
        people_services.edit_me(person=request.user, changes={"language": code}, now=clock.now())
    return response


@require_GET
def healthz(request: HttpRequest) -> JsonResponse:
    """The process answers."""
    return JsonResponse({"process": "up"})


@require_GET
def readyz(request: HttpRequest) -> JsonResponse:
    """The database answers and its append-only triggers stand."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    missing = triggers.missing()
    background = "celery" if settings.REDIS_URL else "ticker (embedded)"
    late = reminders.late(clock.now())  # said, not failed: board and answers do not depend on it (see /sweepz)
    body = {"database": "up", "missing_triggers": missing, "background": background, "reminders_late": late}
    return JsonResponse(body, status=503 if missing else 200)


def _last_resort(request: HttpRequest, code: int, title: str, detail: str) -> HttpResponse:
    title, detail = gettext(title), gettext(detail)
    if is_api(request):
        return json_problem(code, title, detail)
    return render(request, "problem.html", {"problem": problem(code, title, detail)}, status=code)


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    return _last_resort(
        request, 400, "Cannot be used as typed", str(exception) or gettext_noop("The request could not be read.")
    )


def forbidden(request: HttpRequest, exception: Exception) -> HttpResponse:
    return _last_resort(
        request, 403, "Not your role", gettext_noop("This form is too old or not yours. Open the page again.")
    )


def not_found(request: HttpRequest, exception: Exception) -> HttpResponse:
    return _last_resort(request, 404, "Not found", gettext_noop("There is no such page."))


def server_error(request: HttpRequest, **kwargs: Any) -> HttpResponse:
    return _last_resort(
        request,
        500,
        gettext_noop("The book did not answer"),
        gettext_noop("Something broke here. Nothing is confirmed: treat every block as closed."),
    )
