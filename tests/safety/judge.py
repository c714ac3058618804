"""An independent judge: it walks a block's raw history minute by minute and says who may go in.

Deliberately naive and deliberately different from the rules: whole minutes as integers, a stage per
job, counters that run down, no closures, no instants, no interval arithmetic. It imports nothing
from the code it judges. A history is plain data:

    {"day": first midnight (aware), "zone": name, "signs": [(up, down | None)], "jobs": [job, ...]}

and a job is a dict of minutes since that midnight: ``window`` (from, to), ``assigned``, ``called_off``,
``not_applied``, ``start``, ``end_second``, ``reported``, ``signed``, ``claims`` [(minute, end_second, signed again)],
``rei`` [(hours | None, condition | None, works)], ``attested`` {condition: minute}, ``phi`` [days | None].
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

    def step(self, minute: int) -> None:
        job = self.job
        for counter in self.left:
            if counter[0] is not None and counter[0] > 0:
                counter[0] -= 1
        if minute == job["assigned"]:
            self.stage = "waiting"
        if minute == job["called_off"] and self.stage == "waiting" and minute < job["window"][0]:
            self.stage = "gone"
        if minute == job["start"] and self.stage == "waiting":
            self.stage = "spraying"
        if minute == job["reported"] and self.stage == "spraying":
            self.stage, self.end_second = "reported", job["end_second"]
        if minute == job["signed"] and self.stage == "reported":
            self.stage = "signed"
            self.wind_up(minute)
        for at, end_second, again in job["claims"]:
            if minute == at and self.stage == "signed":
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
            minutes = None if hours is None else max(0, int(hours * 60) - gone_by)
            self.left.append([minutes, condition, set(works)])

    def entry(self, minute: int, work: str | None) -> set[str]:
        """What this job says: a subset of {"out", "unknown"}; empty is no objection."""
        begin, end = self.job["window"]
        if self.stage in {"not yet", "gone"}:
            return set()
        if self.stage == "waiting":
            return set() if minute < begin else {"out"} if minute < end else {"unknown"}
        if self.stage == "spraying":
            return {"out"} if minute < max(end, self.job["start"]) + 1440 else {"unknown"}
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


def judge(history: dict, probes: set[tuple[int, str | None]]) -> dict[tuple[int, str | None], tuple[str, str]]:
    """(minute, work) -> (entry, harvest) for every probe, from one walk over all minutes."""
    walkers = [Walker(job, history) for job in history["jobs"]]
    asked: dict[int, list[str | None]] = {}
    for minute, work in probes:
        asked.setdefault(minute, []).append(work)
    answers = {}
    for minute in range(-1440, max(asked) + 1):
        for walker in walkers:
            walker.step(minute)
        for work in asked.get(minute, ()):
            stands = any(up <= minute and (down is None or minute < down) for up, down in history["signs"])
            sign = {"out"} if stands else set()
            entry = sign.union(*(w.entry(minute, work) for w in walkers))
            harvest = sign.union(*(w.harvest(minute) for w in walkers))
            answers[minute, work] = _word(entry), _word(harvest)
    return answers
