"""May I enter? May I harvest? Facts in, one of three answers out.

Unknown outweighs no, and no outweighs yes. There is no path to ``yes`` other than every hanging
closure being silent at the asked instant.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from farmops.errors import gettext_noop

from .facts import FRESH_MINUTES, Activity, Answer, Because, Closure, Kind, Word, must_be_aware
from .times import up_to_minute
from .verdicts import PROJECT_RULE, begins_later, binds, hangs, kept_to_part, lost_sight_at, verdict

WAYS_OF_PICKING = frozenset({Activity.PICKING_BY_HAND, Activity.DRIVING_CLOSED_CAB})


def may_enter(
    closures: Iterable[Closure],
    *,
    at: datetime,
    activity: Activity | str | None = None,
    fresh_minutes: int = FRESH_MINUTES,
    as_of: datetime | None = None,
    rest: bool = False,
) -> Answer:
    """Whether a person may enter the block at ``at`` for this kind of work.

    ``closures`` are the block's closures as recorded by ``as_of`` (``at`` if not given); extra,
    lifted or long ended ones do no harm. No activity, ``other`` or an unknown code is judged by the strictest
    restriction. ``opens_at`` is given only when every closure in force ends at a known time and nothing else
    begins by then. ``good_until`` is at most ``fresh_minutes`` after ``as_of`` and never later
    than the next planned start. ``rest`` asks about the ground outside every mapped part that was treated;
    without it a closed part closes the block. Raises ``ValueError`` for a time without a zone.
    Sources: 40 CFR 170.405(a)(2), 170.407; the treatment of doubt is a project rule.
    """
    relevant = [c for c in closures if c.kind is not Kind.HARVEST and binds(c, activity)]
    return _decide(relevant, at=at, as_of=as_of or at, fresh_minutes=fresh_minutes, rest=rest)


def may_harvest(
    closures: Iterable[Closure],
    *,
    at: datetime,
    activity: Activity | str | None = Activity.PICKING_BY_HAND,
    fresh_minutes: int = FRESH_MINUTES,
    as_of: datetime | None = None,
    rest: bool = False,
) -> Answer:
    """Whether the crop may be picked at ``at``: the pre-harvest wait *and* entry for the pickers.

    ``activity`` is how it is picked: by hand unless said otherwise, or ``driving_closed_cab`` for a
    machine. Any other work, or none, is judged by the strictest restriction: the interval of people who
    irrigate says nothing about pickers. Same answer shape and errors as ``may_enter``.
    Source: label (pre-harvest interval); 40 CFR 170.407 for entry.
    """
    picking = activity if activity in WAYS_OF_PICKING else None
    relevant = [c for c in closures if binds(c, picking)]
    return _decide(relevant, at=at, as_of=as_of or at, fresh_minutes=fresh_minutes, rest=rest)


def unknown_answer(
    *, at: datetime, as_of: datetime, code: str, template: str, fresh_minutes: int = FRESH_MINUTES
) -> Answer:
    """Keep out, because the board itself cannot tell (no time zone, archived block, a fault)."""
    doubt = Because(code=code, answer=Word.UNKNOWN, template=template, confirmed=False, source=PROJECT_RULE)
    good_until = as_of + timedelta(minutes=fresh_minutes)
    return Answer(answer=Word.UNKNOWN, at=at, as_of=as_of, good_until=good_until, because=(doubt,))


def once_stale(answer: Answer, *, now: datetime) -> Answer:
    """The same answer read again at ``now``. Past ``good_until`` a yes becomes unknown.

    A no or unknown stays what it was: a remembered keep-out may be shown, a remembered yes never.
    """
    if now < answer.good_until or answer.keep_out:
        return answer
    template = gettext_noop("Not confirmed since {as_of}. Ask again.")
    stale = Because(
        code="stale", answer=Word.UNKNOWN, template=template, times={"as_of": answer.as_of}, confirmed=False,
        source=PROJECT_RULE,
    )  # fmt: skip
    return replace(answer, answer=Word.UNKNOWN, opens_at=None, because=(stale,))


def _decide(closures: Sequence[Closure], *, at: datetime, as_of: datetime, fresh_minutes: int, rest: bool) -> Answer:
    must_be_aware(at=at, as_of=as_of)
    hanging = [c for c in closures if hangs(c, at, as_of)]
    parts = [c for c in hanging if kept_to_part(c, as_of)]
    ground = [c for c in hanging if c not in parts] if rest and parts else hanging
    said = _said(ground, at, as_of)
    word = _weightiest(said)
    opens_at = _opens_at(ground, said, as_of) if word is Word.NO else None
    notes = _about_parts(parts, said, at, as_of, rest) if parts else []
    notes += _coming(hanging, at) + _looking_ahead(at, as_of, fresh_minutes)
    return Answer(
        answer=word,
        at=at,
        as_of=as_of,
        opens_at=opens_at,
        good_until=_good_until(hanging, as_of, fresh_minutes),
        because=tuple(_gravest_first(said) + notes),
    )


def _about_parts(
    parts: Sequence[Closure], said: Sequence[Because], at: datetime, as_of: datetime, rest: bool
) -> list[Because]:
    """Which part is closed: beside an answer for the rest of the block, or when only a part closes all of it."""
    closed = [c for c in parts if verdict(c, at, as_of) is not None]
    ids = {c.id for c in closed}
    if not closed or (not rest and any(b.closure_id not in ids for b in said)):
        return []
    words = (
        gettext_noop("A part of this block is closed, {acres}, as mapped. Stay well outside its edge.")
        if rest
        else gettext_noop("Only a mapped part of this block was treated, {acres}. Ask about the rest of the block.")
    )
    code = "part_closed" if rest else "only_a_part"
    return [
        Because(
            code=code, answer=Word.YES, template=words, numbers={"acres": acres}, kind=c.kind, closure_id=c.id,
            source=PROJECT_RULE,
        )
        for acres, c in {c.numbers.get("acres", ""): c for c in closed}.items()
    ]  # fmt: skip


def _said(hanging: Sequence[Closure], at: datetime, as_of: datetime) -> list[Because]:
    verdicts = (verdict(c, at, as_of) for c in hanging)
    return [v for v in verdicts if v is not None]


def _weightiest(said: Sequence[Because]) -> Word:
    if any(b.answer is Word.UNKNOWN for b in said):
        return Word.UNKNOWN
    return Word.NO if said else Word.YES


def _opens_at(hanging: Sequence[Closure], said: Sequence[Because], as_of: datetime) -> datetime | None:
    """The latest end, if every end is known and nothing new has begun by then."""
    ends = [b.until_at for b in said]
    known = [end for end in ends if end is not None]
    if len(known) < len(ends):
        return None
    opening = max(known)
    return None if _said(hanging, opening, as_of) else opening


def _gravest_first(said: Sequence[Because]) -> list[Because]:
    """Unknown, then no without an end, then the latest end first."""

    def weight(because: Because) -> tuple[int, float]:
        if because.answer is Word.UNKNOWN:
            return (0, 0.0)
        return (1, 0.0) if because.until_at is None else (2, -because.until_at.timestamp())

    return sorted(said, key=weight)


def _good_until(hanging: Sequence[Closure], as_of: datetime, fresh_minutes: int) -> datetime:
    """The freshness limit, or the first recorded change before it."""
    limit = as_of + timedelta(minutes=fresh_minutes)
    changes = (moment for c in hanging for moment in _changes(c) if as_of < moment < limit)
    return min(changes, default=limit)


def _changes(closure: Closure) -> list[datetime]:
    """Instants at which a closure may begin, end or start to be in doubt."""
    moments = [closure.starts_at]
    if closure.ends_at is not None:
        moments.append(up_to_minute(closure.ends_at))
    if closure.kind in {Kind.UNDERWAY, Kind.ZONE}:
        moments.append(lost_sight_at(closure))
    if closure.kind is Kind.ZONE_PLANNED and closure.provisional_ends_at is not None:
        moments.append(up_to_minute(closure.provisional_ends_at))
    return moments


def _coming(hanging: Sequence[Closure], at: datetime) -> list[Because]:
    """The next closure that will begin, as a note: it says nothing against now."""
    later = sorted((c for c in hanging if begins_later(c, at)), key=lambda c: c.starts_at)
    planned = [c for c in later if c.kind in {Kind.PLANNED, Kind.ZONE_PLANNED}]
    if not planned:
        return []
    first = planned[0]
    here = first.kind is Kind.PLANNED
    return [
        Because(
            code="planned_later" if here else "zone_later",
            answer=Word.YES,
            template=gettext_noop("Spraying is planned here from {from_at}.")
            if here
            else gettext_noop("Spraying is planned next to here, on {next_to}, from {from_at}."),
            numbers={} if here else {"next_to": first.numbers.get("next_to", "")},
            times={"from_at": first.starts_at},
            kind=first.kind,
            product=", ".join(first.product_names),
            set_by=first.set_by,
            contact=first.contact,
            source=PROJECT_RULE,
            closure_id=first.id,
        )
    ]


def _looking_ahead(at: datetime, as_of: datetime, fresh_minutes: int) -> list[Because]:
    """A word of care on an answer about a time beyond what is fresh."""
    if at <= as_of + timedelta(minutes=fresh_minutes):
        return []
    template = gettext_noop("This is about {at}, from what was recorded by {as_of}. Ask again then.")
    times = {"at": at, "as_of": as_of}
    return [Because(code="looking_ahead", answer=Word.YES, template=template, times=times, source=PROJECT_RULE)]
