"""Calls to the endpoints of other programs: each its own claim, several at a time, none held up by another."""

from __future__ import annotations

import logging
import random
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta

from django.conf import settings
from django.db import transaction
from django.db.models import F, Q
from django.utils.translation import gettext_noop

from apps.people import queries as people
from apps.people.rules import Role
from apps.reminders.delivery import outbox, posting
from apps.reminders.delivery.outbox import Delivered, Passing
from apps.reminders.models import Call, Endpoint
from apps.reminders.rules import hooks
from apps.reminders.services import endpoints, telling
from apps.reminders.services.calls import HOOK_FAILING, HOOK_OFF

log = logging.getLogger(__name__)
AT_ONCE = 8
BUDGET = timedelta(seconds=20)
REPORT_AFTER = 3
"""Failures in a row before the managers hear of it (project rule)."""

OFF_AFTER = timedelta(days=5)
"""An endpoint that took nothing for so long is turned off (project rule)."""


def deliver(passing: Passing) -> Delivered:
    """Make the calls that are due. At most one at a time for each endpoint, healthy endpoints first."""
    begun, done = passing.elapsed, Delivered()
    tried: set[int] = set()
    while passing.elapsed - begun < BUDGET and (batch := _claim_batch(passing, tried)):
        with ThreadPoolExecutor(max_workers=len(batch)) as pool:
            answers = list(pool.map(posting.post, [_request(call, passing) for call in batch]))
        for call, answer in zip(batch, answers, strict=True):
            _record(call, answer, passing, done)
            if not answer.ok:
                tried.add(call.endpoint_id)  # not again in this round
    return done


def _claim_batch(passing: Passing, tried: set[int]) -> list[Call]:
    """The oldest call of each of up to ``AT_ONCE`` endpoints."""
    batch: list[Call] = []
    busy = set(tried)
    while len(batch) < AT_ONCE:
        ready = Q(endpoint__retry_at=None) | Q(endpoint__retry_at__lte=passing.now)
        rows = outbox.waiting(Call, passing).filter(ready).exclude(endpoint_id__in=busy)
        call = outbox.claim(Call, passing, rows.order_by("endpoint__failures", "due_at", "id"))
        if call is None:
            break
        busy.add(call.endpoint_id)
        if call.done_at is None:
            batch.append(call)
    return batch


def _request(call: Call, passing: Passing) -> posting.Request:
    endpoint = call.endpoint
    secrets = [endpoint.secret]
    if endpoint.old_secret and endpoint.old_secret_until and endpoint.old_secret_until > passing.now:
        secrets.append(endpoint.old_secret)
    return posting.request(
        url=endpoint.url,
        message_id=call.message_id,
        body=call.body,
        secrets=secrets,
        timestamp=int(passing.machine.timestamp()),
        may_stay_inside=settings.WEBHOOKS_MAY_STAY_INSIDE,
    )


def _record(call: Call, answer: posting.Answer, passing: Passing, done: Delivered) -> None:
    if answer.ok:
        done.sent += 1
        _taken(call, passing.now)
        return
    log.warning("call %s to %s failed (try %s): %s", call.pk, call.endpoint, call.attempts, answer.said)
    done.failed += 1
    with transaction.atomic():
        endpoint = Endpoint.objects.for_farm(call.farm).select_for_update().get(pk=call.endpoint_id)
        _refused(call, endpoint, answer, passing.now)


@transaction.atomic
def _taken(call: Call, now: datetime) -> None:
    outbox.close(call, "sent", now)
    rows = Endpoint.objects.for_farm(call.farm).filter(pk=call.endpoint_id)
    rows.update(last_ok_at=now, failing_since=None, failures=0, retry_at=None, last_error="")
    if call.endpoint.failures:
        endpoints.told_off(call.endpoint, now)


def _refused(call: Call, endpoint: Endpoint, answer: posting.Answer, now: datetime) -> None:
    endpoint.failures, endpoint.last_error = F("failures") + 1, answer.said[:300]
    endpoint.failing_since = endpoint.failing_since or now
    pause = hooks.pause_after(call.attempts, random.random())
    endpoint.retry_at = now + pause
    endpoint.save(update_fields=["failures", "last_error", "failing_since", "retry_at"])
    endpoint.refresh_from_db()
    if call.attempts >= Call.MOST:
        outbox.give_up(call, answer.said, now)
    else:
        outbox.put_off(call, now + pause, answer.said)
    if answer.gone or now - endpoint.failing_since >= OFF_AFTER:
        endpoints.shut(endpoint, because="gone" if answer.gone else "failing", now=now)
        _report(endpoint, HOOK_OFF, now)
    elif endpoint.failures >= REPORT_AFTER:
        _report(endpoint, HOOK_FAILING, now)


_SAID = {
    HOOK_FAILING: gettext_noop("The program at {url} does not take the farm's notices: {error}. It is tried again."),
    HOOK_OFF: gettext_noop("The program at {url} was turned off, it takes no notices any more: {error}."),
}


def _report(endpoint: Endpoint, kind: str, now: datetime) -> None:
    telling.tell(
        farm=endpoint.farm,
        kind=kind,
        subject=("webhook", endpoint.pk),
        occasion=f"since {endpoint.failing_since:%Y-%m-%dT%H:%MZ}",
        to=people.person_ids_with(endpoint.farm, Role.MANAGER),
        template=_SAID[kind],
        numbers={"url": endpoint.url, "error": endpoint.last_error},
        path=f"/f/{endpoint.farm.slug}/webhooks/",
        now=now,
    )
