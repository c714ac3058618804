"""Tasks, all invented."""

from __future__ import annotations

from datetime import UTC, datetime

import factory

from apps.work.models import Task
from tests.factories.base import FarmOwnedFactory
from tests.factories.land import BlockFactory
from tests.factories.people import FarmFactory, PersonFactory


class TaskFactory(FarmOwnedFactory):
    """A planned task; give ``state="started"`` or a closed state and the times follow from it."""

    class Meta:
        model = Task

    farm = factory.SubFactory(FarmFactory)
    block = factory.SubFactory(BlockFactory, farm=factory.SelfAttribute("..farm"))
    title = "Thin the rows"
    activity = "hand_labor"
    is_harvest = factory.LazyAttribute(lambda o: o.activity == "picking_by_hand")
    assigned_to = factory.SubFactory(PersonFactory)
    planned_by = factory.SelfAttribute("assigned_to")
    starts_at = datetime(2026, 6, 1, 14, 0, tzinfo=UTC)
    state = "planned"
    started_at = factory.LazyAttribute(lambda o: o.starts_at if o.state in {"started", "done"} else None)
    closed_at = factory.LazyAttribute(lambda o: o.starts_at if o.state in {"done", "called_off"} else None)
