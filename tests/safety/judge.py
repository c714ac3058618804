"""An independent judge: it walks a block's raw history minute by minute and says who may go in.

Deliberately naive and deliberately different from the rules: whole minutes as integers, a stage per
job, counters that run down, no closures, no instants, no interval arithmetic. It imports nothing
from the code it judges. A history is plain data:

    {"day": first midnight (aware), "zone": name, "signs": [(up, down | None)], "jobs": [job, ...]}

Signs stand on block 0. A job is a dict of minutes since that midnight: ``window`` (from, to), ``assigned``,
``called_off``, ``not_applied``, ``start``, ``end_second``, ``reported``, ``signed``, ``claims`` [(minute, end_second,
signed again, hours more)], ``rei`` [(hours | None, condition | None, works)], ``attested`` {condition: minute},
``phi`` [days | None]; ``block`` 0 or 1; ``reaches`` whether the other block lies in its exclusion zone; ``part``
whether no more than a mapped part was treated; ``late`` whether the start was never pressed but reported
afterwards; ``skew`` minutes by which the clock that stamped the start ran ahead.

A probe is (minute, work, block, rest): ``rest`` asks about the ground outside every mapped part.
"""

from __future__ import annotations

from datetime import timedelta
from zoneinfo import ZoneInfo

ANY = {None, "other"}


def minute_after(second: int) -> int:
    return -(-second // 60)


class Walker:
    """One job, carried forward a minute at a time."""

    def __init__(self, job: dict, history: dict) -> None:
        self.job, self.history = job, history
        self.stage = "not yet"
        self.left: list[list] = []  # [minutes left | None, condition | None, works]
        self.end_second = 0
        self.more = 0  # hours by which a corrected label keeps people out longer

    def step(self, minute: int) -> None:
        job = self.job
        for counter in self.left:
            if counter[0] is not None and counter[0] > 0:
                counter[0] -= 1
        if minute == job["assigned"]:
            self.stage = "waiting"
        if minute == job["called_off"] and self.stage == "waiting" and minute < job["window"][0]:
            self.stage = "gone"
        if minute == job["start"] and self.stage == "waiting" and not job["late"]:
            self.stage = "spraying"
        if minute == job["reported"] and (self.stage == "spraying" or (job["late"] and self.stage == "waiting")):
            self.stage, self.end_second = "reported", job["end_second"]
        if minute == job["signed"] and self.stage == "reported":
            self.stage = "signed"
            self.wind_up(minute)
        for at, end_second, again, more in job["claims"]:
            if minute == at and self.stage == "signed":
                if again or more > 0:
                    self.more += more
                if again or minute_after(end_second) > minute_after(self.end_second):
                    self.end_second = end_second
                self.wind_up(minute)
        for condition, at in job["attested"].items():
            if minute == at and self.stage == "signed":
                for counter in self.left:
                    if counter[1] == condition:
                        counter[1] = None
                        counter[0] = 0 if counter[0] is None else counter[0]
        if minute == job["not_applied"] and self.stage != "not yet":
            self.stage = "gone"

    def wind_up(self, minute: int) -> None:
        gone_by = minute - minute_after(self.end_second)
        self.left = []
        for hours, condition, works in self.job["rei"] or [(None, None, ())]:
            minutes = None if hours is None else max(0, int(max(0, hours + self.more) * 60) - gone_by)
            self.left.append([minutes, condition, set(works)])

    def entry(self, minute: int, work: str | None) -> set[str]:
        """What this job says: a subset of {"out", "unknown"}; empty is no objection."""
        begin, end = self.job["window"]
        if self.stage in {"not yet", "gone"}:
            return set()
        if self.stage == "waiting":
            return set() if minute < begin else {"out"} if minute < end else {"unknown"}
        if self.stage == "spraying":
            return {"out"} if minute < max(end, self.job["start"] + self.job["skew"]) + 1440 else {"unknown"}
        if self.stage == "reported":
            return {"unknown"}
        found = set()
        for minutes, condition, works in self.left:
            if work in ANY or not works or work in works:
                if condition is not None or minutes is None:
                    found.add("unknown")
                if minutes:
                    found.add("out")
        return found

    def next_door(self, minute: int) -> set[str]:
        """What it says about a block in its exclusion zone: only while it is, or may be, sprayed."""
        if self.stage in {"waiting", "spraying"} and self.job["reaches"]:
            return self.entry(minute, None)
        return set()

    def about(self, minute: int, work: str | None, block: int, rest: bool) -> tuple[set[str], set[str]]:
        """(entry, harvest) of one probe."""
        if block != self.job["block"]:
            return self.next_door(minute), self.next_door(minute)
        if rest and self.stage == "signed" and self.job["part"]:
            return set(), set()
        return self.entry(minute, work), self.harvest(minute)

    def harvest(self, minute: int) -> set[str]:
        found = self.entry(minute, "picking_by_hand")
        if self.stage == "signed" and self.job["phi"] is not None:
            days = self.job["phi"]
            if not days or None in days:
                found.add("unknown")
            elif not all(self.days_over(minute + ahead, max(days)) for ahead in range(0, 181, 10)):
                found.add("out")
        return found

    def days_over(self, minute: int, days: int) -> bool:
        """Both counts of days, read off a wall clock and a stop watch at one minute."""
        zone, day = ZoneInfo(self.history["zone"]), self.history["day"]
        end = day + timedelta(minutes=minute_after(self.end_second))
        now = day + timedelta(minutes=minute)
        wall_end, wall_now = (t.astimezone(zone).replace(tzinfo=None) for t in (end, now))
        return now - end >= timedelta(hours=24 * days) and wall_now >= wall_end + timedelta(days=days)


def _word(found: set[str]) -> str:
    return "unknown" if "unknown" in found else "no" if found else "yes"


Probe = tuple[int, str | None, int, bool]


def judge(history: dict, probes: set[Probe]) -> dict[Probe, tuple[str, str]]:
    """probe -> (entry, harvest), from one walk over all minutes."""
    walkers = [Walker(job, history) for job in history["jobs"]]
    asked: dict[int, list[Probe]] = {}
    for probe in probes:
        asked.setdefault(probe[0], []).append(probe)
    answers = {}
    for minute in range(-1440, max(asked) + 1):
        for walker in walkers:
            walker.step(minute)
        for probe in asked.get(minute, ()):
            answers[probe] = _answer(history, walkers, *probe)
    return answers


def _answer(history: dict, walkers: list[Walker], minute: int, work: str | None, block: int, rest: bool):
    stands = block == 0 and any(up <= minute and (down is None or minute < down) for up, down in history["signs"])
    entry, harvest = ({"out"}, {"out"}) if stands else (set(), set())
    for walker in walkers:
        said = walker.about(minute, work, block, rest)
        entry, harvest = entry | said[0], harvest | said[1]
    return _word(entry), _word(harvest)
