"""Doors without a log-in: the calendar behind its secret, the numbers for a monitor, the dead-man switch."""

from __future__ import annotations

import ipaddress

from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.utils.crypto import constant_time_compare
from django.views.decorators.http import require_safe
from prometheus_client import CONTENT_TYPE_LATEST

from apps.reminders import feeds, metrics, queries
from farmops import clock
from farmops.errors import Unknown


@require_safe
def calendar(request: HttpRequest, secret: str) -> HttpResponse:
    """One person's feed. Whoever holds the address may read it; a revoked or unknown one is not found."""
    try:
        address = queries.calendar_behind(secret)
    except Unknown:
        raise Http404 from None
    now = clock.now()
    notices = queries.calendar_notices(address.farm, address.person_id, now)
    body = feeds.calendar(address.farm, address.person, notices, now)
    response = HttpResponse(body, content_type="text/calendar; charset=utf-8")
    response["Content-Disposition"] = 'attachment; filename="farm.ics"'
    response["Cache-Control"] = "private, no-store"
    response["X-Robots-Tag"] = "noindex"
    return response


@require_safe
def numbers(request: HttpRequest) -> HttpResponse:
    """For holders of ``METRICS_TOKEN``; without one set, for this machine itself. For others it is not here."""
    if not _may_read_numbers(request):
        raise Http404
    response = HttpResponse(metrics.text(clock.now()), content_type=CONTENT_TYPE_LATEST)
    response["Cache-Control"] = "no-store"
    return response


def _may_read_numbers(request: HttpRequest) -> bool:
    if settings.METRICS_TOKEN:
        return constant_time_compare(request.headers.get("Authorization", ""), f"Bearer {settings.METRICS_TOKEN}")
    if request.headers.get("X-Forwarded-For") or request.headers.get("Forwarded"):
        return False
    try:
        return ipaddress.ip_address(request.META.get("REMOTE_ADDR", "")).is_loopback
    except ValueError:
        return False


@require_safe
def sweep(request: HttpRequest) -> JsonResponse:
    """Whether reminders run: 503 when they are late, for a monitor outside. The board does not depend on it."""
    run, now = queries.last_run(), clock.now()
    finished = run.last_finished_at if run else None
    late = queries.rules.is_late(finished, now)
    body = {
        "background": "celery" if settings.REDIS_URL else "ticker (embedded)",
        "late": late,
        "last_finished_at": finished.isoformat() if finished else None,
        "lag_seconds": None if finished is None else max(0, int((now - finished).total_seconds())),
    }
    return JsonResponse(body, status=503 if late else 200)
