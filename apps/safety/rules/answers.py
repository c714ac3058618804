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
from .verdicts import PROJECT_RULE, binds, hangs, kept_to_part, lost_sight_at, verdict

_PLANS = frozenset({Kind.PLANNED, Kind.ZONE_PLANNED})
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
    seen = _Seen(at, as_of or at)
    return _decide(_for_entry(closures, activity), seen, fresh_minutes=fresh_minutes, rest=rest)


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
    seen = _Seen(at, as_of or at)
    return _decide(_for_picking(closures, activity), seen, fresh_minutes=fresh_minutes, rest=rest)


def may_both(
    closures: Sequence[Closure],
    *,
    at: datetime,
    activity: Activity | str | None = None,
    fresh_minutes: int = FRESH_MINUTES,
    as_of: datetime | None = None,
) -> tuple[Answer, Answer]:
    """``may_enter`` for this work and ``may_harvest`` by hand, with each closure judged once for both."""
    seen = _Seen(at, as_of or at)
    enter, pick = _for_entry(closures, activity), _for_picking(closures, Activity.PICKING_BY_HAND)
    entry = _decide(enter, seen, fresh_minutes=fresh_minutes, rest=False)
    return entry, _decide(pick, seen, fresh_minutes=fresh_minutes, rest=False)


def _for_entry(closures: Iterable[Closure], activity: Activity | str | None) -> list[Closure]:
    return [c for c in closures if c.kind is not Kind.HARVEST and binds(c, activity)]


def _for_picking(closures: Iterable[Closure], activity: Activity | str | None) -> list[Closure]:
    picking = activity if activity in WAYS_OF_PICKING else None
    return [c for c in closures if binds(c, picking)]


class _Seen:
    """The instant asked about, what was recorded by when, and what each closure says then (found out once)."""

    def __init__(self, at: datetime, as_of: datetime) -> None:
        must_be_aware(at=at, as_of=as_of)
        self.at, self.as_of = at, as_of
        self._said: dict[int, Because | None] = {}

    def verdict(self, closure: Closure) -> Because | None:
        key = id(closure)  # the caller's list keeps every closure alive meanwhile
        if key not in self._said:
            self._said[key] = verdict(closure, self.at, self.as_of)
        return self._said[key]


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


def _decide(closures: Sequence[Closure], seen: _Seen, *, fresh_minutes: int, rest: bool) -> Answer:
    at, as_of = seen.at, seen.as_of
    hanging = [c for c in closures if c.lifted_at is None or hangs(c, at, as_of)]
    parts = [c for c in hanging if c.part is not None and kept_to_part(c, as_of)]
    ground = [c for c in hanging if c not in parts] if rest and parts else hanging
    said = [v for v in map(seen.verdict, ground) if v is not None]
    word = _weightiest(said)
    opens_at = _opens_at(ground, said, as_of) if word is Word.NO else None
    notes = _about_parts(parts, said, seen, rest) if parts else []
    notes += _coming(hanging, at) + _looking_ahead(at, as_of, fresh_minutes)
    return Answer(
        answer=word,
        at=at,
        as_of=as_of,
        opens_at=opens_at,
        good_until=_good_until(hanging, as_of, fresh_minutes),
        because=tuple(_gravest_first(said) + notes),
    )


def _about_parts(parts: Sequence[Closure], said: Sequence[Because], seen: _Seen, rest: bool) -> list[Because]:
    """Which part is closed: beside an answer for the rest of the block, or when only a part closes all of it."""
    closed = [c for c in parts if seen.verdict(c) is not None]
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


def _weightiest(said: Sequence[Because]) -> Word:
    for because in said:
        if because.answer is Word.UNKNOWN:
            return Word.UNKNOWN
    return Word.NO if said else Word.YES


def _opens_at(hanging: Sequence[Closure], said: Sequence[Because], as_of: datetime) -> datetime | None:
    """The latest end, if every end is known and nothing new has begun by then."""
    ends = [b.until_at for b in said]
    known = [end for end in ends if end is not None]
    if len(known) < len(ends):
        return None
    opening = max(known)
    if len(said) == len(hanging):
        return opening  # each has named the instant from which it is silent
    return None if any(verdict(c, opening, as_of) for c in hanging) else opening


def _gravest_first(said: Sequence[Because]) -> list[Because]:
    """Unknown, then no without an end, then the latest end first."""

    if len(said) < 2:
        return list(said)

    def weight(because: Because) -> tuple[int, float]:
        if because.answer is Word.UNKNOWN:
            return (0, 0.0)
        return (1, 0.0) if because.until_at is None else (2, -because.until_at.timestamp())

    return sorted(said, key=weight)


def _good_until(hanging: Sequence[Closure], as_of: datetime, fresh_minutes: int) -> datetime:
    """The freshness limit, or the first recorded change before it."""
    first = as_of + timedelta(minutes=fresh_minutes)
    for closure in hanging:
        for moment in _changes(closure):
            if as_of < moment < first:
                first = moment
    return first


def _changes(closure: Closure) -> list[datetime]:
    """Instants at which a closure may begin, end or start to be in doubt."""
    moments = [closure.starts_at]
    if closure.ends_at is not None:
        moments.append(up_to_minute(closure.ends_at))
    if closure.kind is Kind.UNDERWAY or closure.kind is Kind.ZONE:
        moments.append(lost_sight_at(closure))
    if closure.kind is Kind.ZONE_PLANNED and closure.provisional_ends_at is not None:
        moments.append(up_to_minute(closure.provisional_ends_at))
    return moments


def _coming(hanging: Sequence[Closure], at: datetime) -> list[Because]:
    """The next closure that will begin, as a note: it says nothing against now."""
    planned = [c for c in hanging if c.starts_at > at and c.kind in _PLANS]
    if not planned:
        return []
    first = min(planned, key=lambda c: c.starts_at)
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
