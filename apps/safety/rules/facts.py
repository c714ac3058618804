"""What the field board knows: kinds of closure, kinds of work, facts in and the answer out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from enum import StrEnum
from typing import Any

FRESH_MINUTES = 30
"""How long an answer may be relied on before it must be asked again (project rule)."""

CLOCKS_DIFFER = timedelta(minutes=2)
"""How far two honest clocks may be apart (project rule)."""


class Kind(StrEnum):
    """Why ground is closed. Each kind comes down only by its own rule."""

    PLANNED = "planned"  # a spray job has a window here
    UNDERWAY = "underway"  # somebody is spraying, or started and never said that it ended
    UNCONFIRMED = "unconfirmed"  # finished, but the applicator has not signed
    ENTRY = "entry"  # restricted-entry interval after a signed application
    HARVEST = "harvest"  # pre-harvest interval: says nothing about entry
    POSTED = "posted"  # a warning sign stands at the field
    ZONE_PLANNED = "zone_planned"  # lies in the exclusion zone of a job next door that has a window
    ZONE = "zone"  # lies in the exclusion zone of a job next door that is underway


class Activity(StrEnum):
    """The kinds of work a person can ask about."""

    PICKING_BY_HAND = "picking_by_hand"
    HAND_LABOR = "hand_labor"  # weeding, thinning, pruning
    IRRIGATION = "irrigation"
    SCOUTING_ON_FOOT = "scouting_on_foot"
    DRIVING_CLOSED_CAB = "driving_closed_cab"
    OTHER = "other"  # judged by the strictest rule, like no choice at all


class Reason(StrEnum):
    """What stands behind a closure. Conditions and missing intervals have no timer."""

    WINDOW = "window"
    SPRAYING = "spraying"
    UNSIGNED = "unsigned"
    TWO_ENDS = "two_ends"  # two people claim different end times
    REI = "rei"
    REI_MISSING = "rei_missing"
    UNTIL_DRY = "until_dry"
    UNTIL_LEVEL = "until_level"  # until an air level is reached
    PHI = "phi"
    PHI_MISSING = "phi_missing"
    SIGN = "sign"
    ZONE = "zone"  # 40 CFR 170.405(a)


CONDITIONS = frozenset({Reason.UNTIL_DRY, Reason.UNTIL_LEVEL})
"""Released only when a named person attests the condition (40 CFR 156.208(b); label text)."""

MISSING = frozenset({Reason.REI_MISSING, Reason.PHI_MISSING})
"""The label row lacks the interval: unknown, never a default (project rule)."""

TIMED_KINDS = frozenset({Kind.ENTRY, Kind.HARVEST})
"""The only kinds that a known end time may open by itself."""

FAR_AHEAD = datetime(9999, 12, 31, tzinfo=UTC)
"""Stands for "no end" where an end must be compared."""

DONE_KINDS = frozenset({Kind.UNDERWAY, Kind.UNCONFIRMED, Kind.ENTRY, Kind.HARVEST, Kind.ZONE})
"""Kinds that follow from something that already happened: they cannot begin in the future."""


class LiftReason(StrEnum):
    """Why a closure came down. ``hanging.check_lift`` says which reason fits which kind."""

    CALLED_OFF = "called_off"  # before the window began
    NOT_APPLIED = "not_applied"  # the applicator signed that nothing was applied here
    STARTED = "started"
    FINISHED = "finished"
    SIGNED = "signed"
    LENGTHENED = "lengthened"  # replaced by one that ends later
    RESIGNED = "resigned"  # replaced after the applicator signed the correction
    ATTESTED = "attested"  # a named person saw that the label's condition is met
    SIGN_DOWN = "sign_down"
    RESHAPED = "reshaped"  # the block was split or merged: the same hangs on what became of it
    ENDED = "ended"  # the spraying next door has ended: there is no exclusion zone any more


class Word(StrEnum):
    """The three answers. ``no`` and ``unknown`` both mean keep out."""

    YES = "yes"
    NO = "no"
    UNKNOWN = "unknown"


def must_be_aware(**instants: datetime | None) -> None:
    """Raise ``ValueError`` for a time without a zone: comparing it would be a guess."""
    for name, instant in instants.items():
        if instant is not None and instant.tzinfo is not UTC and instant.utcoffset() is None:
            raise ValueError(f"{name} has no time zone")


@dataclass(frozen=True, kw_only=True)
class NewClosure:
    """A closure about to be hung. Times are aware; ``activities`` empty binds every kind of work.

    ``provisional_ends_at`` is for ``unconfirmed`` the time that is not confirmed yet, and for
    ``underway`` and both kinds of zone the end of the planned window (24 hours past it, a started job counts
    as lost sight of). ``part`` is the mapped piece of the block (GeoJSON) that a signed treatment was kept to;
    ``None`` is all of it. Only what follows a signature may have one.
    """

    block_id: int
    kind: Kind
    starts_at: datetime
    reason_code: Reason
    ends_at: datetime | None = None
    provisional_ends_at: datetime | None = None
    activities: frozenset[str] = frozenset()
    product_names: tuple[str, ...] = ()
    numbers: Mapping[str, str] = field(default_factory=dict)
    part: Mapping[str, Any] | None = None

    def __post_init__(self) -> None:
        must_be_aware(starts_at=self.starts_at, ends_at=self.ends_at, provisional_ends_at=self.provisional_ends_at)

    @property
    def speaks_until(self) -> datetime:
        """The instant from which it can be left out of every question; only a timed interval has one."""
        timed = self.kind in TIMED_KINDS and self.reason_code not in CONDITIONS | MISSING
        return self.ends_at if timed and self.ends_at is not None else FAR_AHEAD


@dataclass(frozen=True, kw_only=True)
class Closure(NewClosure):
    """A closure that hangs, with who hung it, whom to ask, and when it came down if it did.

    ``source`` is what it was hung for, as ``type:id`` (for instance ``job:41``).
    """

    id: int
    set_by: str = ""
    contact: str = ""
    source: str = ""
    lifted_at: datetime | None = None

    def __post_init__(self) -> None:
        must_be_aware(
            starts_at=self.starts_at,
            ends_at=self.ends_at,
            provisional_ends_at=self.provisional_ends_at,
            lifted_at=self.lifted_at,
        )


@dataclass(frozen=True, kw_only=True)
class Because:
    """One reason. ``template`` has named slots filled from ``numbers`` (text) and ``times``.

    Times stay instants: the door that shows them formats them in the farm's zone and the
    reader's language. ``answer`` is what this reason alone would say; ``until_at`` is when it
    ends, and counts only if ``confirmed``. ``source`` names the rule of law it rests on.
    """

    code: str
    answer: Word
    template: str
    numbers: Mapping[str, str] = field(default_factory=dict)
    times: Mapping[str, datetime] = field(default_factory=dict)
    kind: Kind | None = None
    product: str = ""
    set_by: str = ""
    contact: str = ""
    until_at: datetime | None = None
    confirmed: bool = True
    source: str = ""
    closure_id: int | None = None


@dataclass(frozen=True, kw_only=True)
class Answer:
    """The board's answer at ``at``, from what was recorded by ``as_of``.

    ``opens_at`` is the first instant known to be open, only for ``no``; ``good_until`` is when the
    question must be asked again. Only ``yes`` permits anything.
    """

    answer: Word
    at: datetime
    as_of: datetime
    good_until: datetime
    opens_at: datetime | None = None
    because: tuple[Because, ...] = ()

    @property
    def keep_out(self) -> bool:
        """True unless the answer is a plain yes."""
        return self.answer is not Word.YES
