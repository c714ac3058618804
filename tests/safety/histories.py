"""Generated histories of two neighbouring blocks, and the same history told to the rules through the board.

They hold overlapping jobs, pauses (a finish long after the start), jobs stopped early and kept to a mapped part, jobs
never reported, reported late or stamped by a clock that runs ahead, corrections both ways and of the label's hours,
conditions attested, signs, both clock changes, and jobs whose exclusion zone reaches the neighbour.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

from hypothesis import strategies as st

from apps.safety.rules import (
    Activity,
    EntryInterval,
    HarvestWait,
    Kind,
    LiftReason,
    Reason,
    end_after_correction,
    for_finish,
    for_sign,
    for_signature,
    for_start,
    for_window,
    for_zone,
    for_zone_planned,
)
from tests.factories.land import square
from tests.safety.board import BLOCK, Board

BLOCKS = (BLOCK, BLOCK + 1)
PART = square(-86.25, 40.25, 0.001)
NEXT_DOOR = [Kind.ZONE_PLANNED, Kind.ZONE]

ZONE = "America/Los_Angeles"
# Ordinary days, and the days before both clock changes of 2026 (IANA time zone database).
DAYS = [datetime(2026, m, d, tzinfo=ZoneInfo(ZONE)).astimezone(UTC) for m, d in ((6, 1), (3, 6), (10, 30))]
LENGTH = 4 * 1440
WORKS = [None, *(a.value for a in Activity)]
DONE = [Kind.ENTRY, Kind.HARVEST]


def _maybe(strategy):
    return st.none() | strategy


_gap = st.sampled_from([0, 0, 1, 3, 10, 60]) | st.integers(0, 1500)
_works = st.sampled_from([(), (), ("picking_by_hand",), ("hand_labor", "picking_by_hand"), ("irrigation",)])
_rei = st.tuples(
    st.sampled_from([None, 0, 1, 4, 4, 12, 12, 12, 24, 24, 48, 48]), st.sampled_from([None] * 7 + ["until_dry"]), _works
)


@st.composite
def jobs(draw) -> dict:
    """One job at any stage, with every step that never came left as ``None``."""
    begin = draw(st.integers(0, 2 * 1440))
    job = {"window": (begin, begin + draw(st.integers(1, 600))), "assigned": begin - draw(st.integers(0, 600))}
    job |= {"called_off": None, "not_applied": None, "start": None, "end_second": 0, "reported": None, "signed": None}
    job |= {
        "claims": [],
        "attested": {},
        "rei": draw(st.lists(_rei, min_size=draw(st.sampled_from([0, 1, 1, 1])), max_size=3)),
    }
    job |= {
        "block": draw(st.sampled_from([0, 0, 1])),
        "reaches": draw(st.booleans()),
        "part": draw(st.sampled_from([False, False, True])),
        "late": False,
        "skew": draw(st.sampled_from([0, 0, 0, 1, 2])),
    }
    job["phi"] = draw(_maybe(st.lists(st.sampled_from([0, 0, 1, 2, 3, None]), max_size=2)))
    reached = draw(st.sampled_from(["waiting", "called off", "spraying", "reported", *["signed"] * 6, "late"]))
    if reached == "called off":
        job["called_off"] = job["assigned"] + draw(st.integers(0, 900))
    if reached == "late":
        job["late"], job["skew"] = True, 0
    if reached in {"spraying", "reported", "signed", "late"}:
        job["start"] = max(job["assigned"], begin + draw(st.integers(-60, 700)))
    if reached in {"reported", "signed", "late"}:
        job["end_second"] = job["start"] * 60 + draw(st.integers(0, 7200))
        job["end_second"] = max(job["end_second"], (job["start"] + job["skew"]) * 60)
        job["reported"] = -(-job["end_second"] // 60) + draw(_gap)
    if reached == "signed" or (reached == "late" and draw(st.booleans())):
        _sign(draw, job)
    if draw(st.integers(0, 9)) == 0:
        steps = [job["assigned"], job["start"], job["reported"], job["signed"], *(c[0] for c in job["claims"])]
        job["not_applied"] = max(s for s in steps if s is not None) + draw(_gap)
    return job


def _sign(draw, job: dict) -> None:
    job["signed"] = job["reported"] + draw(_gap)
    last = job["signed"]
    for _ in range(draw(st.sampled_from([0, 0, 1, 2]))):
        last += draw(_gap) + 1
        end = max((job["start"] + job["skew"]) * 60, job["end_second"] + draw(st.integers(-3600, 7200)))
        if -(-end // 60) <= last:
            job["claims"].append((last, end, draw(st.booleans()), draw(st.sampled_from([0, 0, 0, 1, 12, 36]))))
    if draw(st.booleans()):
        job["attested"] = {"until_dry": last + draw(_gap)}


@st.composite
def histories(draw) -> dict:
    day = draw(st.sampled_from(DAYS))
    ups = draw(st.lists(st.tuples(st.integers(0, LENGTH), _maybe(st.integers(0, 900))), max_size=1))
    signs = [(up, None if stands is None else up + stands) for up, stands in ups]
    return {"day": day, "zone": ZONE, "signs": signs, "jobs": draw(st.lists(jobs(), min_size=1, max_size=3))}


# --- telling it to the board ------------------------------------------------------------------


class Teller:
    """Plays a history on a board, step by step in order of time."""

    def __init__(self, history: dict) -> None:
        self.history, self.board = history, Board()
        self.steps: list[tuple[int, int, object]] = []
        for number, job in enumerate(history["jobs"]):
            self._plan(f"job:{number}", job)
        for number, (up, down) in enumerate(history["signs"]):
            self._plan_sign(f"sign:{number}", up, down)

    def tell(self) -> Board:
        for _minute, _order, act in sorted(self.steps, key=lambda s: s[:2]):
            act()  # type: ignore[operator]
        return self.board

    def at(self, minute: int) -> datetime:
        return self.history["day"] + timedelta(minutes=minute)

    def second(self, second: int) -> datetime:
        return self.history["day"] + timedelta(seconds=second)

    def _step(self, minute: int | None, act) -> None:
        if minute is not None:
            self.steps.append((minute, len(self.steps), lambda: act(self.at(minute))))

    def _plan_sign(self, source: str, up: int, down: int | None) -> None:
        self._step(up, lambda at: self.board.hang(for_sign([BLOCK], up_at=at), at=at, source=source))
        self._step(down, lambda at: self.board.lift(LiftReason.SIGN_DOWN, at=at, source=source))

    def _plan(self, source: str, job: dict) -> None:
        begin, end = self.at(job["window"][0]), self.at(job["window"][1])
        here, beside = BLOCKS[job["block"]], [BLOCKS[1 - job["block"]]] if job["reaches"] else []
        said = {"products": ["X"], "next_to": "N1"}
        plan = for_window([here], starts_at=begin, ends_at=end, products=["X"])
        plan += for_zone_planned(beside, starts_at=begin, ends_at=end, **said)
        self._step(job["assigned"], lambda at: self.board.hang(plan, at=at, source=source))
        if job["called_off"] is not None and job["called_off"] < job["window"][0]:
            self._step(job["called_off"], lambda at: self.board.lift(LiftReason.CALLED_OFF, at=at, source=source))
        if not job["late"]:
            skew = timedelta(minutes=job["skew"])
            self._step(job["start"], lambda at: self._replace(
                source, for_start([here], started_at=at + skew, window_ends_at=end, products=["X"])
                + for_zone(beside, started_at=at + skew, window_ends_at=end, **said),
                LiftReason.STARTED, at, [Kind.PLANNED, Kind.ZONE_PLANNED]))  # fmt: skip
        self._step(job["reported"], lambda at: self._report(source, job, at))
        self._step(job["signed"], lambda at: self._replace(
            source, self._final(job, self.second(job["end_second"])), LiftReason.SIGNED, at, [Kind.UNCONFIRMED])
        )  # fmt: skip
        self._plan_corrections(source, job)
        for condition, minute in job["attested"].items():
            self._step(minute, lambda at, c=condition: self._attest(source, Reason(c), at))
        self._step(job["not_applied"], lambda at: self.board.lift(LiftReason.NOT_APPLIED, at=at, source=source))

    def _report(self, source: str, job: dict, at: datetime) -> None:
        self._replace(source, self._finish(job), LiftReason.FINISHED, at, [Kind.PLANNED, Kind.UNDERWAY])
        self.board.lift(LiftReason.ENDED, at=at, source=source, kinds=NEXT_DOOR)

    def _plan_corrections(self, source: str, job: dict) -> None:
        standing, hours = self.second(job["end_second"]), 0
        for minute, end_second, again, more in job["claims"]:
            standing = end_after_correction(
                standing_at=standing, corrected_at=self.second(end_second), signed_again=again
            )
            hours += more
            new = self._final(job, standing, hours)
            reason = LiftReason.RESIGNED if again else LiftReason.LENGTHENED
            self._step(minute, lambda at, n=new, r=reason: self._replace(source, n, r, at, DONE))

    def _replace(self, source, new, reason, at, kinds) -> None:
        self.board.replace(new, reason, at=at, kinds=kinds, source=source)

    def _attest(self, source: str, condition: Reason, at: datetime) -> None:
        waiting = [c for c in self.board.hanging(source) if c.reason_code == condition]
        self.board.take_down(waiting, LiftReason.ATTESTED, at=at)

    def _intervals(self, job: dict, more: int = 0) -> list[EntryInterval]:
        return [
            EntryInterval(
                product="X", hours=None if h is None else h + more, condition=Reason(c) if c else None,
                activities=frozenset(w),
            )
            for h, c, w in job["rei"]
        ]  # fmt: skip

    def _started(self, job: dict) -> datetime:
        return self.at(job["start"]) + timedelta(minutes=job["skew"])

    def _finish(self, job: dict):
        ended = max(self.second(job["end_second"]), self._started(job))
        told = {"ended_at": ended, "intervals": self._intervals(job)}
        return for_finish([BLOCKS[job["block"]]], started_at=self._started(job), **told)

    def _final(self, job: dict, ended: datetime, more: int = 0):
        waits = None if job["phi"] is None else [HarvestWait(product="X", days=d) for d in job["phi"]]
        part = {"part": PART, "part_acres": "3 acres"} if job["part"] else {}
        told = {"intervals": self._intervals(job, more), "waits": waits, "zone": ZONE, **part}
        return for_signature(BLOCKS[job["block"]], started_at=self._started(job), ended_at=ended, **told)
