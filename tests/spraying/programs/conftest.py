"""The bench, a protectant, and a program of three passes on both blocks: written down on Monday 6 July 2026."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import pytest

from apps.products.models import Product
from apps.spraying.models import Job, Program
from apps.spraying.programs import queries, services
from apps.spraying.programs.queries import Followed
from apps.spraying.programs.rules import Course
from tests.factories.spraying import NOW, Bench, bench_for, line, shield_document

DAY = timedelta(days=1)
MONDAY = date(2026, 7, 6)


@pytest.fixture
def bench(cast) -> Bench:
    return bench_for(cast)


@dataclass
class Season:
    """A bench whose manager has set up a program."""

    bench: Bench
    program: Program
    cover: Product

    def followed(self, now: datetime = NOW, block: int = 0) -> Followed:
        row = queries.program(self.bench.farm, self.program.pk)
        found = {f.block.pk: f for f in queries.followed(self.bench.farm, now, [row])}
        return found[self.bench.blocks[block].pk]

    def course(self, now: datetime = NOW, block: int = 0) -> Course:
        return self.followed(now, block).course

    def sprayed(self, days: int, *, blocks: tuple[int, ...] = (0,), **changes: Any) -> Job:
        """The protectant sprayed ``days`` after Monday, 8:10 to 9:40 AM, reported and signed."""
        shift = days * DAY
        values = {
            "products": [line(self.cover, "5")],
            "targets": ["powdery_mildew"],
            "blocks": [{"block_id": self.bench.blocks[b].pk} for b in blocks],
            "window_starts_at": NOW + timedelta(hours=1) + shift,
            "window_ends_at": NOW + timedelta(hours=4) + shift,
            **changes,
        }
        began, ended = NOW + timedelta(hours=1, minutes=10) + shift, NOW + timedelta(hours=2, minutes=40) + shift
        job = self.bench.sprayed(
            at=began,
            now=ended + timedelta(minutes=5),
            done={"started_at": began, "ended_at": ended},
            **values,
        )
        self.bench.sign(job, now=ended + timedelta(minutes=30))
        return job


def cover_document(**changes: Any) -> dict[str, Any]:
    """An invented protectant: one multi-site group, a week between uses, no days before harvest, 2 h without rain."""
    document = shield_document(groups=[{"scheme": "frac", "code": "M05"}], rain_free_hours="2")
    document["ingredients"] = [{"name": "chlorothalonil", "amount": "6", "basis": "lb_per_gal"}]
    document["uses"][0] |= {"phi_days": 0, "targets": ["powdery_mildew"]}
    return document | changes


def values_of(bench: Bench, **changes: Any) -> dict[str, Any]:
    return {
        "name": "Squash, powdery mildew",
        "crop_id": bench.crop.pk,
        "targets": ["powdery mildew"],
        "start_kind": "date",
        "start_on": MONDAY,
        "from_days": 7,
        "to_days": 10,
        "last_on": date(2026, 9, 5),
        "stop_days": 7,
        **changes,
    }


@pytest.fixture
def season(bench) -> Callable[..., Season]:
    """``season(**changes)``: the program, with other values if wanted."""

    def made(*, passes: int = 3, document: dict[str, Any] | None = None, **changes: Any) -> Season:
        cover = bench.product_of("Demo Cover", document or cover_document())
        mix = [line(cover, "5")]
        row = services.set_up_program(
            member=bench.manager,
            values=values_of(bench, **changes),
            blocks=[b.pk for b in bench.blocks],
            passes=[mix] * passes,
            now=NOW,
        )
        return Season(bench=bench, program=row, cover=cover)

    return made
