"""Reading the board: rows to facts, and the one way to an answer."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import partial

from django.db.models import Q, QuerySet

from apps.land import queries as land
from apps.land.models import Block
from apps.people import queries as people
from apps.people.models import Farm
from apps.people.rules import Role
from apps.reminders.rules import Due, Level, register, rolled
from apps.safety import reading, rules
from apps.safety.models import Closure
from apps.safety.reading import Ground, Hung, closures_on, hanging
from apps.safety.rules import TIMED_KINDS, Activity, Answer, Kind, Word
from farmops import clock
from farmops.errors import BadInput, Finding, Severity, gettext_noop

log = logging.getLogger(__name__)

ENTRY_OPENS = register("entry_opens", Level.INFORMATION)
HARVEST_OPENS = register("harvest_opens", Level.INFORMATION)
TOLD_WITHIN = timedelta(hours=30)
LOOK_AGAIN = timedelta(minutes=15)
"""An opening that is older than this is no news: nobody is told of it any more (project rule)."""


def of_source(farm: Farm, source: str) -> QuerySet[Closure]:
    """Every closure ever hung for ``source`` (such as ``job:41``), oldest first."""
    return Closure.objects.for_farm(farm).filter(source=source).order_by("pk")


def entry_answer(block: Block, *, activity: str | None, at: datetime, now: datetime, rest: bool = False) -> Answer:
    """May this block be entered at ``at`` for this work, from what is on record now. One query.

    ``rest`` asks about the ground outside every mapped part that was treated.
    """
    rule = partial(rules.may_enter, rest=True) if rest else rules.may_enter
    return _answer(block, rule, activity=activity, at=at, now=now)


def harvest_answer(
    block: Block, *, activity: str | None = None, at: datetime, now: datetime, rest: bool = False
) -> Answer:
    """May the crop of this block be picked at ``at``: by hand, or by the way of picking given. One query."""
    rule = partial(rules.may_harvest, rest=True) if rest else rules.may_harvest
    return _answer(block, rule, activity=activity or Activity.PICKING_BY_HAND, at=at, now=now)


def _answer(block: Block, rule: Callable[..., Answer], *, activity: str | None, at: datetime, now: datetime) -> Answer:
    def ask() -> Answer:
        hung = closures_on([block.pk], now)[block.pk]
        return decide(block, hung, rule, activity=activity, at=at, now=now)

    return failing_closed(ask, block.farm, at=at, now=now)


def answer(
    ground: Ground, hung: Hung, rule: Callable[..., Answer], *, activity: str | None, at: datetime, now: datetime
) -> Answer:
    """The same for a block that was read together with what hangs on it. No query."""
    return failing_closed(
        lambda: decide(ground, hung, rule, activity=activity, at=at, now=now), ground.farm, at=at, now=now
    )


def decide(
    block: Block | Ground,
    hung: Iterable[rules.Closure],
    rule: Callable[..., Answer],
    *,
    activity: str | None,
    at: datetime,
    now: datetime,
) -> Answer:
    """The rule's answer for a block in use on a farm with a known zone; else unknown."""
    doubted = _doubted(block, at, now)
    if doubted is not None:
        return doubted
    return rule(hung, at=at, as_of=now, activity=activity, fresh_minutes=block.farm.entry_good_minutes)


def _doubted(block: Block | Ground, at: datetime, now: datetime) -> Answer | None:
    """Unknown, when the board cannot answer for this block at all."""
    doubt = doubt_about(block)
    if doubt is None:
        return None
    code, template = doubt
    fresh = block.farm.entry_good_minutes
    return rules.unknown_answer(at=at, as_of=now, code=code, template=template, fresh_minutes=fresh)


def doubt_about(block: Block | Ground) -> tuple[str, str] | None:
    """Why the board cannot answer for this block at all: (code, sentence)."""
    if block.archived:
        return "block_archived", gettext_noop("This block is no longer in use. The board cannot answer for it.")
    try:
        clock.zone(block.farm.time_zone)
    except BadInput:
        return "zone_unknown", gettext_noop("The farm's time zone is not known. No time on the board can be trusted.")
    return None


def failing_closed(ask: Callable[[], Answer], farm: Farm, *, at: datetime, now: datetime) -> Answer:
    """``ask()``; a fault on the way is logged and answered with unknown, never with an error page or a yes."""
    try:
        return ask()
    except Exception:
        log.exception("the board could not answer")
        return fault_answer(farm, at=at, now=now)


def fault_answer(farm: Farm, *, at: datetime, now: datetime) -> Answer:
    """The answer when something broke: unknown, which means keep out."""
    template = gettext_noop("The board could not answer. Treat the block as closed.")
    return rules.unknown_answer(
        at=at, as_of=now, code="fault", template=template, fresh_minutes=farm.entry_good_minutes
    )


@dataclass(frozen=True, kw_only=True)
class Line:
    """One block on the board."""

    block: Ground
    entry: Answer
    harvest: Answer


def board(farm: Farm, *, activity: str | None = None, at: datetime, now: datetime) -> list[Line]:
    """Both answers for every block in use, by code. One query, however many blocks.

    ``activity`` narrows the answer about entry; the one about harvest is always for picking by hand.
    """
    return [_line(ground, hung, activity=activity, at=at, now=now) for ground, hung in _read_or_nothing(farm, now)]


def _read_or_nothing(farm: Farm, now: datetime) -> list[tuple[Ground, Hung | None]]:
    """The blocks with their closures; with none at all when they cannot be read, so that every line says unknown."""
    try:
        return list(reading.board_rows(farm, now))
    except Exception:
        log.exception("the board could not be read")
        return [(reading.ground_of(row), None) for row in land.blocks(farm)]


def _line(ground: Ground, hung: Hung | None, *, activity: str | None, at: datetime, now: datetime) -> Line:
    try:
        entry, harvest = _both(ground, hung, activity, at, now)
    except Exception:
        log.exception("the board could not answer")
        entry = harvest = fault_answer(ground.farm, at=at, now=now)
    return Line(block=ground, entry=entry, harvest=harvest)


def _both(
    ground: Ground, hung: Hung | None, activity: str | None, at: datetime, now: datetime
) -> tuple[Answer, Answer]:
    if hung is None:
        said = fault_answer(ground.farm, at=at, now=now)
    elif (doubted := _doubted(ground, at, now)) is not None:
        said = doubted
    else:
        fresh = ground.farm.entry_good_minutes
        return rules.may_both(hung, at=at, as_of=now, activity=activity, fresh_minutes=fresh)
    return said, said


def conditions_on(block: Block, now: datetime) -> list[Closure]:
    """Closures of a block that wait for a named person to attest the label's condition. One query."""
    waiting = [r.value for r in rules.CONDITIONS]
    return sorted(hanging([block.pk], now).filter(reason_code__in=waiting), key=lambda row: row.pk)


def block_guard(block: Block, now: datetime) -> list[Finding]:
    """Refuses to archive a block or move its outline while a closure on it is not over."""
    open_ones = [row for row in hanging([block.pk], now) if row.ends_at is None or row.ends_at > now or _waits(row)]
    if not open_ones:
        return []
    template = gettext_noop("The block has {count} closures that are not over. Let them run or come down first.")
    return [
        Finding(
            code="closure_open",
            severity=Severity.REFUSE,
            template=template,
            numbers={"count": str(len(open_ones))},
            source="project rule",
            subject=str(block),
        )
    ]


def _waits(row: Closure) -> bool:
    """Whether it hangs on although its time is over (a window nobody reported on)."""
    return Kind(row.kind) not in TIMED_KINDS


def next_due(farm: Farm, now: datetime) -> datetime | None:
    """When time alone may change ``due``: a closure ends, or has been over for a day. One query.

    While anything hangs the board is looked at every quarter of an hour besides.
    """
    hung = Closure.objects.for_farm(farm).filter(lifted_at=None)
    rows = list(hung.filter(Q(ends_at=None) | Q(ends_at__gt=now - TOLD_WITHIN)).values_list("ends_at", flat=True))
    if not rows:
        return None
    changes = [at for end in rows if end is not None for at in (end, end + TOLD_WITHIN) if at > now]
    live = any(end is None or end > now for end in rows)
    return min([*changes, *([now + LOOK_AGAIN] if live else [])], default=None)


def due(farm: Farm, now: datetime) -> list[Due]:
    """Blocks that have just opened for entry or harvest: told to everybody once, those that opened together at once."""
    ended = Closure.objects.for_farm(farm).filter(
        kind__in=[k.value for k in TIMED_KINDS], lifted_at=None, ends_at__gt=now - TOLD_WITHIN, ends_at__lte=now
    )
    latest: dict[tuple[int, str], Closure] = {}
    for row in ended.select_related("block", "block__farm").order_by("ends_at", "pk"):
        latest[row.block_id, row.kind] = row
    if not latest:
        return []
    hung = closures_on({block_id for block_id, _ in latest}, now)
    everybody = sorted({p for role in Role for p in people.person_ids_with(farm, role)})
    said = (_opening(row, hung[row.block_id], everybody, now) for row in latest.values())
    found = [line for line in said if line is not None]
    return rolled(found, slot="block", subject=("openings", farm.pk), path=f"/f/{farm.slug}/board/")


def _opening(row: Closure, hung: list[rules.Closure], person_ids: list[int], now: datetime) -> Due | None:
    harvest = row.kind == Kind.HARVEST
    rule = rules.may_harvest if harvest else rules.may_enter
    activity = Activity.PICKING_BY_HAND if harvest else None
    if decide(row.block, hung, rule, activity=activity, at=now, now=now).answer is not Word.YES or not row.ends_at:
        return None
    words = (
        gettext_noop("The wait before harvest on {block} has run since {at}. Ask the board before you go in.")
        if harvest
        else gettext_noop("The entry time of {block} has run since {at}. Ask the board before you go in.")
    )
    return Due(
        kind=HARVEST_OPENS if harvest else ENTRY_OPENS,
        subject_type="block",
        subject_id=row.block_id,
        occasion=row.ends_at.isoformat(),
        person_ids=person_ids,
        template=words,
        numbers={"block": str(row.block), "at": row.ends_at},
        path=f"/f/{row.block.farm.slug}/blocks/{row.block_id}/may-i-enter/",
        at=row.ends_at,
    )
