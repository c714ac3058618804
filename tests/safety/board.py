"""A board held in memory: hangs and lifts by the rules, without a database."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import count
from zoneinfo import ZoneInfo

from apps.safety.rules import (
    Activity,
    Answer,
    Closure,
    EntryInterval,
    HarvestWait,
    Kind,
    LiftReason,
    NewClosure,
    check_hang,
    check_lift,
    check_replace,
    for_finish,
    for_signature,
    for_start,
    for_window,
    may_enter,
    may_harvest,
)
from farmops.errors import Finding, Refused

CHICAGO = "America/Chicago"
BLOCK = 7


def local(text: str, zone: str = CHICAGO, year: int = 2026) -> datetime:
    """``06-01 09:30`` (seconds optional) in a farm's zone, as UTC."""
    form = "%Y-%m-%d %H:%M:%S" if text.count(":") == 2 else "%Y-%m-%d %H:%M"
    return datetime.strptime(f"{year}-{text}", form).replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)


def _refuse_if(findings: list[Finding]) -> None:
    if findings:
        raise Refused(findings)


class Board:
    """One block's closures; ``known(at)`` is what had been recorded by ``at``."""

    def __init__(self) -> None:
        self._rows: list[tuple[datetime, Closure]] = []
        self._ids = count(1)

    def hang(self, new: Iterable[NewClosure], *, at: datetime, source: str = "job:1") -> None:
        for closure in new:
            _refuse_if(check_hang(closure, now=at))
            facts = {name: getattr(closure, name) for name in NewClosure.__dataclass_fields__}
            made = Closure(id=next(self._ids), set_by="Luis Mora", contact="555-0100", source=source, **facts)
            self._rows.append((at, made))

    def hanging(self, source: str = "job:1") -> list[Closure]:
        return [c for _, c in self._rows if c.source == source and c.lifted_at is None]

    def lift(self, reason: LiftReason, *, at: datetime, source: str = "job:1", kinds: Sequence[Kind] = ()) -> None:
        self.take_down([c for c in self.hanging(source) if not kinds or c.kind in kinds], reason, at=at)

    def replace(
        self,
        new: Sequence[NewClosure],
        reason: LiftReason,
        *,
        at: datetime,
        kinds: Sequence[Kind],
        source: str = "job:1",
    ) -> None:
        old = [c for c in self.hanging(source) if c.kind in kinds]
        _refuse_if(check_replace(old, new, reason=reason))
        self.hang(new, at=at, source=source)
        self.take_down(old, reason, at=at)

    def take_down(self, closures: Sequence[Closure], reason: LiftReason, *, at: datetime) -> None:
        for closure in closures:
            _refuse_if(check_lift(closure, reason=reason, now=at))
        ids = {c.id for c in closures}
        self._rows = [(h, replace(c, lifted_at=at) if c.id in ids else c) for h, c in self._rows]

    def known(self, at: datetime) -> list[Closure]:
        return [c for hung_at, c in self._rows if hung_at <= at]

    def on(self, block: int | None, at: datetime) -> list[Closure]:
        return [c for c in self.known(at) if block is None or c.block_id == block]

    def enter(
        self, at: datetime, activity: Activity | None = None, *, as_of: datetime | None = None,
        block: int | None = None, rest: bool = False,
    ) -> Answer:  # fmt: skip
        return may_enter(self.on(block, as_of or at), at=at, activity=activity, as_of=as_of, rest=rest)

    def harvest(
        self, at: datetime, *, as_of: datetime | None = None, block: int | None = None, rest: bool = False
    ) -> Answer:
        return may_harvest(self.on(block, as_of or at), at=at, as_of=as_of, rest=rest)


HALF_PAST_NINE = local("06-01 09:30")


def rei(hours: int | None, *, product: str = "Demo Cover 40", **more: object) -> EntryInterval:
    return EntryInterval(product=product, hours=hours, **more)  # type: ignore[arg-type]


def sprayed(
    board: Board,
    *intervals: EntryInterval,
    start: datetime | None = None,
    end: datetime = HALF_PAST_NINE,
    waits: Sequence[HarvestWait] | None = None,
    source: str = "job:1",
    zone: str = CHICAGO,
    signed: bool = True,
    block: int = BLOCK,
) -> Board:
    """A job from assignment to signature, each step at its own time; starts 90 minutes before ``end``."""
    start = start or end - timedelta(minutes=90)
    names = [i.product for i in intervals]
    window = {"starts_at": start, "ends_at": end + timedelta(minutes=30), "products": names}
    board.hang(for_window([block], **window), at=start - timedelta(days=1), source=source)
    underway = for_start([block], started_at=start, window_ends_at=window["ends_at"], products=names)
    board.replace(underway, LiftReason.STARTED, at=start, kinds=[Kind.PLANNED], source=source)
    finish = for_finish([block], started_at=start, ended_at=end, intervals=intervals)
    board.replace(finish, LiftReason.FINISHED, at=end, kinds=[Kind.UNDERWAY], source=source)
    if signed:
        final = for_signature(block, started_at=start, ended_at=end, intervals=intervals, waits=waits, zone=zone)
        board.replace(final, LiftReason.SIGNED, at=end, kinds=[Kind.UNCONFIRMED], source=source)
    return board
