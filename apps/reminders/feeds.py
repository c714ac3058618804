"""A person's notices as a calendar (RFC 5545): stable UIDs, a SEQUENCE that grows, cancellations, UTC instants."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

import icalendar
from django.conf import settings
from django.utils import translation
from django.utils.translation import gettext

from apps.people.models import Farm, Person
from apps.reminders import letters, rules
from apps.reminders.models import Notice
from farmops import clock, wording

SHORT = timedelta(minutes=15)
"""How long a thing without an end stands in the calendar."""


def address(secret: str) -> str:
    """Where the calendar behind ``secret`` can be fetched."""
    return f"{settings.SITE_URL.rstrip('/')}/calendar/{secret}.ics"


def calendar(farm: Farm, person: Person, notices: Sequence[Notice], now: datetime) -> bytes:
    """The feed in the person's language. What is taken back before it happened stays in it as cancelled."""
    made = icalendar.Calendar()
    made.add("prodid", "-//Farm book//notices//EN")
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    made.add("method", "PUBLISH")
    made.add("x-wr-calname", farm.name)
    made.add("refresh-interval", timedelta(hours=1), parameters={"VALUE": "DURATION"})
    with translation.override(person.language):
        for notice in sorted(notices, key=lambda n: n.pk):
            made.add_component(_event(farm, notice, person.language, now))
    return bytes(made.to_ical())


def _event(farm: Farm, notice: Notice, language: str, now: datetime) -> icalendar.Event:
    event = icalendar.Event()
    event.add("uid", f"notice-{notice.pk}@{letters.host()}")
    event.add("sequence", notice.version - 1)
    event.add("dtstamp", (notice.changed_at or notice.created_at).astimezone(UTC))
    event.add("last-modified", (notice.changed_at or notice.created_at).astimezone(UTC))
    event.add("created", notice.created_at.astimezone(UTC))
    begin, end = _span(farm, notice)
    event.add("dtstart", begin)
    event.add("dtend", end)
    event.add("summary", letters.said(notice, language))
    event.add("description", _text(farm, notice, language))
    event.add("url", f"{settings.SITE_URL.rstrip('/')}{notice.path or '/'}")
    event.add("status", "CANCELLED" if _is_off(notice) else "CONFIRMED")
    event.add("transp", "TRANSPARENT")
    event.add("categories", [notice.kind])
    return event


def _span(farm: Farm, notice: Notice) -> tuple[object, object]:
    """UTC instants; whole days as dates of the farm, the last one excluded."""
    begin = notice.starts_at or notice.created_at
    end = notice.ends_at if notice.ends_at and notice.ends_at > begin else begin + SHORT
    if notice.all_day:
        return (
            clock.to_local(begin, farm.time_zone).date(),
            clock.to_local(end, farm.time_zone).date(),
        )
    return begin.astimezone(UTC), end.astimezone(UTC)


def _text(farm: Farm, notice: Notice, language: str) -> str:
    level = gettext(rules.LEVEL_NAMES[rules.level_of(notice.kind, urgent=notice.urgent)])
    lines = [f"{level}: {letters.said(notice, language)}"]
    if notice.starts_at and not notice.all_day:
        lines.append(gettext("On the farm: %s.") % wording.instant(notice.starts_at, farm.time_zone, language))
    lines.append(gettext("A calendar shows what was known when it was fetched. Ask the board before you go in."))
    return "\n".join(lines)


def _is_off(notice: Notice) -> bool:
    """Taken back before it was over: what has happened is no longer cancelled."""
    over = notice.ends_at or notice.starts_at
    return notice.withdrawn_at is not None and (over is None or notice.withdrawn_at < over)
