"""The real services and the real query against the independent judge, on whatever database the suite runs.

The same generated histories as in ``test_rules_judged``, played step by step through the services; between
two steps the board is asked as it stands then.
"""

from __future__ import annotations

import os
from collections import Counter
from collections.abc import Iterable, Sequence
from datetime import datetime, timedelta

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, seed, settings
from hypothesis import strategies as st

from apps.safety import queries, services
from apps.safety.models import Closure
from apps.safety.rules import Kind, LiftReason, NewClosure
from tests.factories.land import BlockFactory
from tests.safety.histories import BLOCKS, LENGTH, WORKS, ZONE, Teller, histories
from tests.safety.judge import judge
from tests.safety.test_rules_judged import turns

HISTORIES = int(os.environ.get("FIELD_HISTORIES", "300" if os.environ.get("NIGHTLY") == "1" else "25"))


class ServiceBoard:
    """The in-memory board's interface, kept by the services."""

    def __init__(self, member, blocks) -> None:
        self.member, self.rows = member, dict(zip(BLOCKS, blocks, strict=True))
        self.step = {"farm": member.farm, "member": member}

    def _here(self, new: Iterable[NewClosure]) -> list[NewClosure]:
        """The histories speak of two blocks by fixed numbers; here they have the numbers of their rows."""
        return [NewClosure(**{**vars(c), "block_id": self.rows[c.block_id].pk}) for c in new]

    def hang(self, new: Iterable[NewClosure], *, at: datetime, source: str) -> None:
        services.hang_closures(**self.step, source=source, closures=self._here(new), now=at)

    def lift(self, reason: LiftReason, *, at: datetime, source: str, kinds: Sequence[Kind] = tuple(Kind)) -> None:
        services.lift_closures(**self.step, source=source, kinds=kinds, reason=reason, now=at)

    def replace(
        self, new: Sequence[NewClosure], reason: LiftReason, *, at: datetime, kinds: Sequence[Kind], source: str
    ) -> None:
        services.replace_closures(
            **self.step, source=source, kinds=kinds, closures=self._here(new), reason=reason, now=at
        )

    def hanging(self, source: str) -> list[Closure]:
        return list(queries.of_source(self.member.farm, source).filter(lifted_at=None))

    def take_down(self, closures: Sequence[Closure], reason: LiftReason, *, at: datetime) -> None:
        assert reason is LiftReason.ATTESTED
        services.attest_conditions(member=self.member, closure_ids=[c.pk for c in closures], now=at)


class RolledBack(Exception):
    """Ends one history and leaves the database as it was."""


def _walk(history: dict, member, blocks, probes: list[tuple]) -> list[tuple[str, str]]:
    """Plays the history; every probe is asked after the steps of its minute and before those of the next."""
    teller = Teller(history)
    teller.board = ServiceBoard(member, blocks)  # type: ignore[assignment]
    steps = sorted(teller.steps, key=lambda s: s[:2])
    said = []
    for minute, work, block, rest, second in probes:
        while steps and steps[0][0] <= minute:
            steps.pop(0)[2]()  # type: ignore[operator]
        at = teller.at(minute) + timedelta(seconds=second)
        ask = {"at": at, "now": at, "rest": rest}
        entry = queries.entry_answer(blocks[block], activity=work, **ask)
        said.append((entry.answer.value, queries.harvest_answer(blocks[block], **ask).answer.value))
    return said


@pytest.mark.django_db
def test_the_services_never_show_a_yes_where_the_judge_says_otherwise(cast, capsys):
    cast.farm.time_zone = ZONE
    cast.farm.save()
    member, blocks = cast.applicator, [BlockFactory(farm=cast.farm) for _ in BLOCKS]
    counted: Counter[str] = Counter()

    @seed(20260603)
    @settings(max_examples=HISTORIES, deadline=None, suppress_health_check=list(HealthCheck), database=None)
    @given(history=histories(), data=st.data())
    def _agree(history, data):
        minutes = data.draw(st.lists(st.sampled_from(sorted(turns(history))), min_size=8, max_size=20))
        minutes += data.draw(st.lists(st.integers(0, LENGTH), max_size=5))
        probe = st.tuples(
            st.sampled_from(WORKS), st.sampled_from([0, 1]), st.booleans(), st.sampled_from([0, 0, 1, 59])
        )
        probes = [(minute, *data.draw(probe)) for minute in sorted(minutes)]
        verdicts = judge(history, {probe[:4] for probe in probes})
        with pytest.raises(RolledBack), transaction.atomic():
            said = _walk(history, member, blocks, probes)
            for (*asked, _second), (entry, harvest) in zip(probes, said, strict=True):
                counted["probes"] += 2
                counted[f"entry {entry}"] += 1
                assert (entry, harvest) == verdicts[tuple(asked)], f"probe {asked}"
            raise RolledBack

    _agree()
    with capsys.disabled():
        print(f"\n  services probed against the judge: {dict(sorted(counted.items()))}")
    assert counted["probes"] >= 16 * HISTORIES
    assert min(counted[f"entry {word}"] for word in ("yes", "no", "unknown")) > HISTORIES // 2
