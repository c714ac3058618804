"""A stateful test: hypothesis drives the real services on the suite's database; an independent judge watches the board.

Jobs on two neighbouring blocks are given out, started, finished (whole or a mapped part), corrected, reported late,
signed, signed as not applied and called off, signs go up and come down, and time passes; after every step the answers
for both blocks, for the whole block and the rest of it, must be the judge's. ``NIGHTLY=1`` runs more.
"""

from __future__ import annotations

import os
from collections import Counter
from datetime import timedelta
from decimal import Decimal

import pytest
from django.db import transaction
from hypothesis import HealthCheck, seed, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    rule,
    run_state_machine_as_test,
)

from apps.safety import queries as board
from apps.safety.posting import services as posting
from apps.safety.posting.models import Posting
from apps.spraying import queries as jobs
from apps.spraying import services
from apps.spraying.rules.record import Meaning
from farmops.errors import FarmError
from tests.factories.crops import PlantingFactory
from tests.factories.land import BlockFactory
from tests.factories.spraying import NOW, READINGS, line, shield_document
from tests.safety.judge import judge
from tests.spraying.test_parts_and_lineage import SOUTH, WEST

NIGHTLY = os.environ.get("NIGHTLY") == "1"
WORKS = (None, "picking_by_hand", "irrigation")
counted: Counter[str] = Counter()


def box(west: float, east: float) -> dict:
    ring = [[west, SOUTH], [east, SOUTH], [east, SOUTH + 0.002], [west, SOUTH + 0.002], [west, SOUTH]]
    return {"type": "Polygon", "coordinates": [ring]}


NEXT_WEST = WEST + 0.002 + 20 / 279_300  # 20 ft east of the first block
PARTS = (box(WEST, WEST + 0.0008), box(NEXT_WEST, NEXT_WEST + 0.0008))


def ready(bench) -> None:
    """Two blocks of squash 20 ft apart, and a product that may be used again at once."""
    second = BlockFactory(farm=bench.farm, code="N3", name="Next", polygon=box(NEXT_WEST, NEXT_WEST + 0.002))
    PlantingFactory(
        farm=bench.farm, block=second, crop=bench.crop, sown_on=NOW.date() - timedelta(days=26),
        harvest_from=NOW.date() + timedelta(days=60), harvest_to=NOW.date() + timedelta(days=90),
    )  # fmt: skip
    bench.blocks = [bench.blocks[0], second]
    document = shield_document()
    document["uses"][0] |= {"min_interval_days": None, "max_uses": None}
    bench.quick = bench.product_of("Demo Quick", document, amount="50")


class Field(RuleBasedStateMachine):
    bench = None  # set for the class by the test

    @initialize()
    def begin(self) -> None:
        self.atomic = transaction.atomic()
        self.atomic.__enter__()
        self.minute = 0
        self.rows: list[dict] = []
        self.signs: list[list] = []
        self.give_out_now(0, 10, 120)

    def teardown(self) -> None:
        if hasattr(self, "atomic"):
            transaction.set_rollback(True)
            self.atomic.__exit__(None, None, None)

    # -- time and the book ---------------------------------------------------------------

    @property
    def now(self):
        return NOW + timedelta(minutes=self.minute)

    def at(self, minute: int):
        return NOW + timedelta(minutes=minute)

    def tick(self, minutes: int = 1) -> None:
        self.minute += minutes

    def pick(self, which: int, *stages: str) -> dict | None:
        """One of the jobs that stand at one of these stages."""
        found = [row for row in self.rows if row["stage"] in stages]
        return found[which % len(found)] if found else None

    def act(self, name: str, do) -> bool:
        """Do it through the real service; what the house refuses changes nothing."""
        try:
            with transaction.atomic():
                do()
        except FarmError:
            counted[f"refused {name}"] += 1
            return False
        counted[f"did {name}"] += 1
        return True

    # -- the steps -----------------------------------------------------------------------

    @rule(minutes=st.sampled_from([1, 5, 29, 30, 31, 59, 60, 90, 240, 719, 720, 721, 1440, 4320]))
    def time_passes(self, minutes: int) -> None:
        self.tick(minutes)

    @rule(block=st.integers(0, 1), ahead=st.integers(0, 90), length=st.integers(30, 240))
    def give_out(self, block: int, ahead: int, length: int) -> None:
        self.give_out_now(block, ahead, length)

    def give_out_now(self, block: int, ahead: int, length: int) -> None:
        self.tick()
        window = (self.minute + ahead, self.minute + ahead + length)
        made = []

        def do():
            made.append(
                self.bench.assigned(
                    now=self.now,
                    blocks=[{"block_id": self.bench.blocks[block].pk}],
                    products=[line(self.bench.quick)],
                    window_starts_at=self.at(window[0]),
                    window_ends_at=self.at(window[1]),
                )
            )

        if self.act("assign", do):
            self.rows.append(
                {
                    "id": made[0].pk, "stage": "assigned", "block": block, "window": window, "assigned": self.minute,
                    "called_off": None, "not_applied": None, "start": None, "end_second": 0, "reported": None,
                    "signed": None, "claims": [], "rei": [(12, None, ())], "attested": {}, "phi": [3],
                    "reaches": True, "part": False, "late": False, "skew": 0,
                }
            )  # fmt: skip

    def start(self, which: int) -> None:
        row = self.pick(which, "assigned")
        self.tick()
        if row and self.minute < row["window"][0]:
            self.tick(row["window"][0] - self.minute)
        if row and self.act("start", lambda: self._start(row)):
            row.update(stage="spraying", start=self.minute)

    def _start(self, row: dict) -> None:
        services.start_spraying(
            member=self.bench.applicator, job_id=row["id"], readings=READINGS, reason="looked all round", now=self.now
        )

    def _done(self, row: dict, started: int, ended: int, part: bool) -> dict:
        job = jobs.job(self.bench.farm, row["id"])
        told = {"started_at": self.at(started), "ended_at": self.at(ended), "deviation_reason": "as the field allowed"}
        if part:
            told["blocks"] = [{"block_id": job.job_blocks.all()[0].block_id, "part": PARTS[row["block"]]}]
        return self.bench.done_values(job, **told)

    def finish(self, which: int, after: int, part: bool) -> None:
        self.tick(after)
        row = self.pick(which, "spraying")
        if row and self.act("finish", lambda: services.finish_spraying(
            member=self.bench.applicator, job_id=row["id"], now=self.now,
            done=self._done(row, row["start"], self.minute, part))):  # fmt: skip
            row.update(stage="sprayed", reported=self.minute, end_second=self.minute * 60, part=part)

    def report_late(self, which: int, earlier: int, part: bool) -> None:
        self.tick(62)
        row = self.pick(which, "assigned", "in doubt")
        ended = self.minute - earlier
        if row and self.act("report late", lambda: services.report_late(
            member=self.bench.applicator, job_id=row["id"], readings=READINGS, reason="no phone in the field",
            done=self._done(row, ended - 1, ended, part), now=self.now)):  # fmt: skip
            row.update(
                stage="sprayed", late=True, start=ended - 1, reported=self.minute, end_second=ended * 60, part=part
            )

    def correct(self, which: int, back: int) -> None:
        self.tick()
        row = self.pick(which, "sprayed")
        if row is None:
            return
        ended = max(row["start"] + 1, self.minute - back)
        if self.act("correct", lambda: services.correct_finish(
            member=self.bench.applicator, job_id=row["id"], now=self.now,
            done=self._done(row, row["start"], ended, row["part"]))):  # fmt: skip
            row.update(end_second=ended * 60)

    def sign(self, which: int) -> None:
        self.tick()
        row = self.pick(which, "sprayed")
        if row and self.act("sign", lambda: self.bench.sign(jobs.job(self.bench.farm, row["id"]), now=self.now)):
            row.update(stage="signed", signed=self.minute)

    def not_applied(self, which: int) -> None:
        self.tick()
        row = self.pick(which, "assigned", "spraying", "sprayed", "in doubt")
        if row and self.act("not applied", lambda: self.bench.sign(
            jobs.job(self.bench.farm, row["id"]), meaning=Meaning.NOT_APPLIED, now=self.now)):  # fmt: skip
            row.update(stage="gone", not_applied=self.minute)

    def call_off(self, which: int) -> None:
        self.tick()
        row = self.pick(which, "assigned")
        if row and self.act("call off", lambda: services.call_off(
            member=self.bench.manager, job_id=row["id"], reason="rain is coming", now=self.now)):  # fmt: skip
            early = self.minute < row["window"][0]
            row.update(stage="gone" if early else "in doubt", called_off=self.minute)

    def sign_up(self, which: int) -> None:
        self.tick()
        rows = list(Posting.rows.filter(up_at=None, dropped_at=None, block=self.bench.blocks[0]).order_by("pk"))
        if rows and self.act("sign up", lambda: posting.put_up_sign(
            member=self.bench.applicator, posting_id=rows[which % len(rows)].pk, now=self.now)):  # fmt: skip
            self.signs.append([self.minute, None, rows[which % len(rows)].pk])

    def sign_down(self, which: int) -> None:
        self.tick()
        standing = [s for s in self.signs if s[1] is None]
        if standing and self.act("sign down", lambda: posting.take_down_sign(
            member=self.bench.applicator, posting_id=standing[which % len(standing)][2], now=self.now)):  # fmt: skip
            standing[which % len(standing)][1] = self.minute

    # What to do next is one rule each for the usual and the unusual, so that no run leaves a whole step out.

    @rule(which=st.integers(0, 9), minutes=st.integers(1, 120), part=st.booleans())
    def go_on(self, which: int, minutes: int, part: bool) -> None:
        row = self.pick(which, "assigned", "spraying", "sprayed")
        if row is None:
            self.tick()
        elif row["stage"] == "assigned":
            self.start(self.rank(row, "assigned"))
        elif row["stage"] == "spraying":
            self.finish(self.rank(row, "spraying"), minutes, part)
        else:
            self.sign(self.rank(row, "sprayed"))

    def rank(self, row: dict, *stages: str) -> int:
        return [r for r in self.rows if r["stage"] in stages].index(row)

    @rule(which=st.integers(0, 9), what=st.integers(0, 5), minutes=st.integers(0, 60), part=st.booleans())
    def or_else(self, which: int, what: int, minutes: int, part: bool) -> None:
        steps = [
            lambda: self.call_off(which), lambda: self.not_applied(which), lambda: self.correct(which, minutes),
            lambda: self.report_late(which, minutes, part), lambda: self.sign_up(which), lambda: self.sign_down(which),
        ]  # fmt: skip
        steps[what]()

    # -- the judge -----------------------------------------------------------------------

    @invariant()
    def the_board_says_what_the_judge_says(self) -> None:
        if not hasattr(self, "rows"):
            return
        history = {
            "day": NOW, "zone": self.bench.farm.time_zone, "signs": [(s[0], s[1]) for s in self.signs],
            "jobs": self.rows,
        }  # fmt: skip
        probes = {(self.minute, work, block, rest) for work in WORKS for block in (0, 1) for rest in (False, True)}
        verdicts = judge(history, probes)
        for (_, work, block, rest), (entry, harvest) in verdicts.items():
            ask = {"at": self.now, "now": self.now, "rest": rest}
            ground = self.bench.blocks[block]
            said = board.entry_answer(ground, activity=work, **ask).answer.value
            picked = board.harvest_answer(ground, **ask).answer.value
            counted["probes"] += 2
            counted[f"entry {said}"] += 1
            assert (said, picked) == (entry, harvest), f"minute {self.minute}, {work}, block {block}, rest {rest}"


MUST_HAPPEN = (
    *(f"entry {word}" for word in ("yes", "no", "unknown")),
    *(f"did {step}" for step in ("assign", "start", "finish", "sign")),
)


@pytest.mark.django_db
def test_the_board_agrees_with_the_judge_whatever_people_do(bench, capsys):
    ready(bench)
    assert bench.quick.pk
    assert bench.blocks[0].planted_acres > Decimal(9)
    machine = type("Bound", (Field,), {"bench": bench})
    limits = settings(
        max_examples=60 if NIGHTLY else 4, stateful_step_count=40 if NIGHTLY else 24, deadline=None,
        suppress_health_check=list(HealthCheck), database=None,
    )  # fmt: skip
    counted.clear()
    for more in range(5):  # a short run may leave a step out, so it goes on with another seed
        run_state_machine_as_test(seed(20260604 + more)(machine), settings=limits)  # read from the class alone
        if all(counted[name] for name in MUST_HAPPEN):
            break
    with capsys.disabled():
        print(f"\n  real services driven against the judge: {dict(sorted(counted.items()))}")
    assert counted["probes"] >= 24 * 24
    assert [name for name in MUST_HAPPEN if not counted[name]] == []
