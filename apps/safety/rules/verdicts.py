"""What one closure says at one instant. Each kind has one function; nothing else decides.

A verdict is a ``Because``: its ``answer`` is no or unknown and ``until_at`` the first instant at
which this closure alone would be silent, or ``None`` when no clock can tell. ``None`` as a verdict
means that the closure is silent.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from farmops.errors import gettext_noop

from .facts import CLOCKS_DIFFER, CONDITIONS, DONE_KINDS, MISSING, Activity, Because, Closure, Kind, Reason, Word
from .times import DAY, up_to_minute

PROJECT_RULE = "project rule"

_KNOWN_WORK = frozenset(Activity) - {Activity.OTHER}


def binds(closure: Closure, activity: Activity | str | None) -> bool:
    """Whether the closure is about this kind of work. Only an entry interval may differ by work (label text)."""
    return closure.kind is not Kind.ENTRY or about_work(closure.activities, activity)


def about_work(named: frozenset[str], activity: Activity | str | None) -> bool:
    """Whether an entry interval that names these kinds of work (none = all) binds this one.

    No work chosen, ``other`` or an unknown code on either side binds: the strictest reading.
    """
    return not named or activity not in _KNOWN_WORK or activity in named or not named <= _KNOWN_WORK


def hangs(closure: Closure, at: datetime, as_of: datetime) -> bool:
    """Whether it had not been taken down by ``at``; a lift recorded later than ``as_of`` does not count."""
    return closure.lifted_at is None or closure.lifted_at > min(at, as_of)


def verdict(closure: Closure, at: datetime, as_of: datetime) -> Because | None:
    """What this hanging closure says at ``at``; ``None`` when it is silent."""
    if _contradicts_itself(closure, as_of):
        return _because(
            closure,
            "contradiction",
            Word.UNKNOWN,
            gettext_noop("The recorded times contradict each other. The record must be corrected."),
        )
    # What is on record as done has begun, whatever a clock a little ahead wrote as its start.
    if at < closure.starts_at and (closure.kind not in DONE_KINDS or at < as_of):
        return None
    return _SAYS[closure.kind](closure, at)


def kept_to_part(closure: Closure, as_of: datetime) -> bool:
    """Whether it closes no more than a mapped part; what contradicts itself closes the whole block."""
    return closure.part is not None and not _contradicts_itself(closure, as_of)


def _contradicts_itself(closure: Closure, as_of: datetime) -> bool:
    starts_at, ends_at = closure.starts_at, closure.ends_at
    if ends_at is not None and ends_at < starts_at:
        return True
    return starts_at > as_of and starts_at > as_of + CLOCKS_DIFFER and closure.kind in DONE_KINDS


def _planned(closure: Closure, at: datetime) -> Because | None:
    times = {"from_at": closure.starts_at}
    if closure.ends_at is None:
        words = gettext_noop("A spray job was planned here from {from_at}. What happened is not reported.")
        return _because(closure, "planned_unreported", Word.UNKNOWN, words, times=times)
    times["to_at"] = up_to_minute(closure.ends_at)
    if at < times["to_at"]:
        words = gettext_noop("Spraying is planned here from {from_at} to {to_at}.")
        return _because(closure, "planned_now", Word.NO, words, times=times)
    words = gettext_noop(
        "Spraying was planned here from {from_at} to {to_at} and nobody has reported. It may have been sprayed."
    )
    return _because(closure, "planned_unreported", Word.UNKNOWN, words, times=times)


def lost_sight_at(closure: Closure) -> datetime:
    """When a started job without an end stops being 'spraying now': 24 h past its window."""
    known = [closure.starts_at, closure.ends_at, closure.provisional_ends_at]
    return max(instant for instant in known if instant is not None) + DAY


def _underway(closure: Closure, at: datetime) -> Because | None:
    times = {"from_at": closure.starts_at}
    if at < lost_sight_at(closure):
        words = gettext_noop("Spraying now. No end time yet.")
        law = "40 CFR 170.405(a)(2)"
        return _because(closure, "spraying_now", Word.NO, words, times=times, source=law)
    words = gettext_noop("A spray job was started {from_at} and has no finish time.")
    return _because(closure, "no_finish_time", Word.UNKNOWN, words, times=times)


def _unconfirmed(closure: Closure, at: datetime) -> Because | None:
    provisional = closure.provisional_ends_at or closure.ends_at
    if closure.reason_code is Reason.TWO_ENDS:
        code, words = "two_ends", gettext_noop("Two people gave different finish times. It is not resolved.")
    elif provisional is None:
        code, words = "unsigned", gettext_noop("Sprayed, and the record is not signed. No time is known.")
    else:
        code, words = (
            "unsigned",
            gettext_noop("Sprayed, and the record is not signed. The time {provisional_at} is not confirmed."),
        )
    times = {} if provisional is None else {"provisional_at": up_to_minute(provisional)}
    return _because(closure, code, Word.UNKNOWN, words, times=times, confirmed=False)


_NO_TIMER = {
    Reason.UNTIL_DRY: gettext_noop("Sprayed with {product}. Wait until a named person confirms that it has dried."),
    Reason.UNTIL_LEVEL: gettext_noop(
        "Sprayed with {product}. Wait until a named person confirms the air level the label asks for."
    ),
}


def _entry(closure: Closure, at: datetime) -> Because | None:
    law = "40 CFR 170.407"
    if closure.reason_code in CONDITIONS:
        words = _NO_TIMER[closure.reason_code]
        return _because(closure, closure.reason_code, Word.UNKNOWN, words, source="label; 40 CFR 156.208(b)")
    if closure.reason_code in MISSING or closure.ends_at is None:
        words = gettext_noop("Sprayed with {product}. Its restricted-entry interval is not known.")
        return _because(closure, Reason.REI_MISSING, Word.UNKNOWN, words)
    ends_at = up_to_minute(closure.ends_at)
    if at >= ends_at:
        return None
    words = gettext_noop("Sprayed with {product}. Its restricted-entry interval runs. Do not enter before {until_at}.")
    return _because(closure, "entry_interval", Word.NO, words, until_at=ends_at, source=law)


def _harvest(closure: Closure, at: datetime) -> Because | None:
    if closure.reason_code in MISSING or closure.ends_at is None:
        words = gettext_noop("Sprayed with {product}. Its wait before harvest is not known.")
        return _because(closure, Reason.PHI_MISSING, Word.UNKNOWN, words)
    ends_at = up_to_minute(closure.ends_at)
    if at >= ends_at:
        return None
    words = gettext_noop("Sprayed with {product}. Do not pick before {until_at}.")
    return _because(closure, "harvest_interval", Word.NO, words, until_at=ends_at, source="label")


def _posted(closure: Closure, at: datetime) -> Because | None:
    words = gettext_noop("A sign stands at the field. It must be taken down and that recorded first.")
    return _because(closure, "sign_up", Word.NO, words, source="40 CFR 170.407")


def _zone_planned(closure: Closure, at: datetime) -> Because | None:
    times = {"from_at": closure.starts_at}
    if closure.provisional_ends_at is not None:
        times["to_at"] = up_to_minute(closure.provisional_ends_at)
        if at < times["to_at"]:
            words = gettext_noop("Spraying is planned next to here, on {next_to}, from {from_at} to {to_at}.")
            return _because(closure, "zone_planned_now", Word.NO, words, times=times, source=_ZONE_LAW)
    words = gettext_noop(
        "Spraying was planned next to here, on {next_to}, from {from_at}, and nobody has reported. It may go on."
    )
    return _because(closure, "zone_unreported", Word.UNKNOWN, words, times=times)


def _zone(closure: Closure, at: datetime) -> Because | None:
    times = {"from_at": closure.starts_at}
    if at < lost_sight_at(closure):
        words = gettext_noop("Spraying next to here now, on {next_to}. No end time yet.")
        return _because(closure, "zone_now", Word.NO, words, times=times, source=_ZONE_LAW)
    words = gettext_noop("Spraying next to here, on {next_to}, was started {from_at} and has no finish time.")
    return _because(closure, "zone_no_finish_time", Word.UNKNOWN, words, times=times)


_ZONE_LAW = "40 CFR 170.405(a)(2)"

_SAYS: dict[Kind, Callable[[Closure, datetime], Because | None]] = {
    Kind.PLANNED: _planned,
    Kind.UNDERWAY: _underway,
    Kind.UNCONFIRMED: _unconfirmed,
    Kind.ENTRY: _entry,
    Kind.HARVEST: _harvest,
    Kind.POSTED: _posted,
    Kind.ZONE_PLANNED: _zone_planned,
    Kind.ZONE: _zone,
}


def _because(
    closure: Closure,
    code: str,
    answer: Word,
    template: str,
    *,
    times: dict[str, datetime] | None = None,
    until_at: datetime | None = None,
    confirmed: bool = True,
    source: str = PROJECT_RULE,
) -> Because:
    products = ", ".join(closure.product_names)
    times = dict(times or {})
    if until_at is not None:
        times["until_at"] = until_at
    return Because(
        code=str(code),
        answer=answer,
        template=template,
        numbers={**closure.numbers, "product": products or gettext_noop("a pesticide")},
        times=times,
        kind=closure.kind,
        product=products,
        set_by=closure.set_by,
        contact=closure.contact,
        until_at=until_at,
        confirmed=confirmed,
        source=source,
        closure_id=closure.id,
    )
