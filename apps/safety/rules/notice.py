"""What notice workers get of an application: signs, spoken notice, the central display; and how long each stands.

Sources stand beside each number. What the texts leave open is a project rule, always the stricter way.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from enum import StrEnum

from farmops.errors import Finding, Severity, gettext_noop

from .times import up_to_minute


class Notice(StrEnum):
    """How workers are told that ground is closed to them."""

    EITHER = "either"  # spoken or posted, as the farm chooses
    POSTED = "posted"
    BOTH = "both"

    @property
    def needs_sign(self) -> bool:
        return self is not Notice.EITHER

    @property
    def needs_spoken(self) -> bool:
        return self is Notice.BOTH


OUTDOOR_HOURS = Decimal(48)
"""More than that asks for signs in the open (40 CFR 170.409(a)(1))."""
ENCLOSED_HOURS = Decimal(4)
"""More than that asks for signs in enclosed space (40 CFR 170.409(a)(1), from memory)."""
SIGN_AHEAD = timedelta(hours=24)
"""A sign goes up no earlier before the application (40 CFR 170.409(b), from memory of the present text)."""
SIGN_AFTER = timedelta(days=3)
"""A sign comes down within this time after the interval (40 CFR 170.409(b), from memory of the present text)."""
DISPLAY_WITHIN = timedelta(hours=24)
"""The display is up no later after the end (40 CFR 170.311(b))."""
DISPLAY_FOR = timedelta(days=30)
"""It stays so long after the interval, or after the end where there is none (40 CFR 170.311(b))."""
KEPT_YEARS = 2
"""Application information is kept so long from the end of the interval (40 CFR 170.311(b); start point from memory)."""
SLIGHT = timedelta(hours=1)
"""A hired firm's end that moved by less needs no separate notice (40 CFR 170.313)."""
CHANGE_WITHIN = timedelta(hours=2)
"""Otherwise the farm is told within this time after the end (40 CFR 170.313)."""


@dataclass(frozen=True, kw_only=True)
class NoticeFact:
    """What one product of the mix says: hours (``None`` unknown) and whether its label wants both kinds."""

    product: str
    hours: Decimal | None
    double: bool | None


def notice_for(products: Iterable[NoticeFact], *, enclosed: bool = False) -> Notice:
    """The notice a mix asks for: both if a label says so or anything is unknown (project rule), else by hours."""
    facts = list(products)
    if not facts or any(f.double is not False or f.hours is None for f in facts):
        return Notice.BOTH
    limit = ENCLOSED_HOURS if enclosed else OUTDOOR_HOURS
    longest = max(f.hours for f in facts if f.hours is not None)
    return Notice.POSTED if longest > limit else Notice.EITHER


def sign_earliest(starts_at: datetime) -> datetime:
    """The first instant at which the sign of an application that starts at ``starts_at`` may go up."""
    return starts_at - SIGN_AHEAD


def sign_down_by(*, interval_ends_at: datetime | None, ended_at: datetime) -> datetime:
    """By when the sign has to be down: three days after the interval, or after the end where there is none."""
    return (interval_ends_at or ended_at) + SIGN_AFTER


def check_sign_up(*, up_at: datetime, starts_at: datetime, now: datetime) -> list[Finding]:
    """Refusals for a sign said to have gone up too early, or in the future."""
    found = []
    if up_at < sign_earliest(starts_at):
        template = gettext_noop("A sign goes up no earlier than 24 hours before the application.")
        found.append(_refusal("sign_too_early", template, "up_at", "40 CFR 170.409(b)"))
    if up_at > now:
        template = gettext_noop("Say when the sign went up, not when it will.")
        found.append(_refusal("sign_in_future", template, "up_at"))
    return found


def check_sign_down(*, open_otherwise: bool) -> list[Finding]:
    """Refuses to take a sign down while the interval runs or the job is not signed (40 CFR 170.409(b))."""
    if open_otherwise:
        return []
    template = gettext_noop("The sign stays up until the time to keep out has run and the record is signed.")
    return [_refusal("sign_still_needed", template, "", "40 CFR 170.409(b)")]


def display_due_at(*, ended_at: datetime, first_entry_at: datetime | None) -> datetime:
    """By when the display has to be up: 24 hours after the end, or before the first worker enters (40 CFR 170.311)."""
    latest = ended_at + DISPLAY_WITHIN
    return latest if first_entry_at is None else min(latest, max(first_entry_at, ended_at))


def display_until(*, interval_ends_at: datetime | None, ended_at: datetime) -> datetime:
    """How long the display stays at least: 30 days after the interval, or after the end where there is none."""
    return up_to_minute(interval_ends_at or ended_at) + DISPLAY_FOR


def keep_until(*, interval_ends_at: datetime | None, ended_at: datetime) -> datetime:
    """How long the information is kept at least: two years; February 29 becomes March 1."""
    since = interval_ends_at or ended_at
    try:
        return since.replace(year=since.year + KEPT_YEARS)
    except ValueError:
        return since.replace(year=since.year + KEPT_YEARS, month=3, day=1)


def check_display(*, ended_at: datetime | None, without_sds: Iterable[str]) -> list[Finding]:
    """Refusals for a display that is not whole: no end known yet, or a safety data sheet missing (40 CFR 170.311)."""
    found = []
    if ended_at is None:
        template = gettext_noop("The sheet is put up with the real times, once the end is reported.")
        found.append(_refusal("no_end_yet", template))
    for name in without_sds:
        template = gettext_noop("{product}: its safety data sheet must hang beside the sheet.")
        found.append(_refusal("sds_missing", template, "sds", "40 CFR 170.311(b)", product=name))
    return found


def change_notice_by(*, told_end_at: datetime, ended_at: datetime) -> datetime | None:
    """By when a hired firm tells the farm that the end was another one; ``None`` when it moved by less than an hour."""
    if abs(ended_at - told_end_at) < SLIGHT:
        return None
    return ended_at + CHANGE_WITHIN


def _refusal(code: str, template: str, field: str = "", source: str = "project rule", **numbers: str) -> Finding:
    return Finding(code=code, severity=Severity.REFUSE, template=template, numbers=numbers, source=source, field=field)
