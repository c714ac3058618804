"""Notices, all invented."""

from __future__ import annotations

from datetime import UTC, datetime

import factory

from apps.reminders.models import Notice
from tests.factories.base import FarmOwnedFactory
from tests.factories.people import FarmFactory, PersonFactory


class NoticeFactory(FarmOwnedFactory):
    """A notice whose e-mail is due."""

    class Meta:
        model = Notice

    farm = factory.SubFactory(FarmFactory)
    person = factory.SubFactory(PersonFactory)
    kind = "gate_painted"
    subject_type = "gate"
    subject_id = factory.Sequence(str)
    occasion = "once"
    template = "Gate {gate} is painted."
    numbers = factory.LazyFunction(lambda: {"gate": "East"})
    path = "/f/alder-bend/"
    created_at = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
    due_at = factory.SelfAttribute("created_at")
