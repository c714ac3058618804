"""A sweep cut off at any of its lines, and then another one: the same end as without the cut."""

from __future__ import annotations

import os
import sys
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from types import FrameType
from typing import Any

import pytest
from django.core import mail

from apps.audit import services as audit
from apps.people.models import Farm, Person
from apps.reminders import services
from apps.reminders.models import Call, Letter, Notice, Preference
from apps.reminders.rules import Due
from apps.reminders.services import calls
from tests.reminders.test_hooks import Program

pytestmark = pytest.mark.django_db(transaction=True)
NOON = datetime(2026, 6, 1, 17, 0, tzinfo=UTC)
HOUSE = str(Path(services.__file__).parents[1])
STRIDE = 1 if os.environ.get("NIGHTLY") else 211
"""Every line by night, one in 211 by day."""


class Killed(BaseException):
    """Nothing in the product catches this."""


def sweep_cut_at(line: int, at: datetime) -> bool:
    """A sweep that ends before its ``line``-th line; whether it was cut at all."""
    left = [line]

    def trace(frame: FrameType, event: str, arg: Any) -> Any:
        if not frame.f_code.co_filename.startswith(HOUSE):
            return None
        if event == "line":
            left[0] -= 1
            if left[0] == 0:
                raise Killed
        return trace

    before = sys.gettrace()
    sys.settrace(trace)
    try:
        services.sweep(at)
    except Killed:
        return True
    finally:
        sys.settrace(before)
    return False


@pytest.fixture
def book(cast, sources, settings):
    """Two things due for two people, one of them urgent, one withdrawn, and a program that listens."""
    settings.WEBHOOKS_MAY_STAY_INSIDE = True
    program = Program()
    Person.objects.filter(pk__in=[cast.staff.person_id, cast.manager.person_id]).update(email="x@farm.example")
    for person_id in (cast.staff.person_id, cast.manager.person_id):
        Preference.objects.add(farm=cast.farm, person_id=person_id, quiet_from=time(0), quiet_to=time(0))
    services.add_endpoint(member=cast.manager, url=program.url, kinds=[], now=NOON)

    def due(occasion: str, *, urgent: bool = False) -> Due:
        return Due(
            kind="sign_down_due", subject_type="sign", subject_id=7, occasion=occasion, template="Sign {o}.",
            person_ids=[cast.staff.person_id, cast.manager.person_id], numbers={"o": occasion}, urgent=urgent,
        )  # fmt: skip

    rounds = {"now": [due("gone")]}
    sources(signs=lambda farm, now: rounds["now"] if farm == cast.farm else [])
    yield rounds, due, program
    program.server.shutdown()
    program.server.server_close()


def test_a_sweep_may_be_cut_off_at_any_line(cast, book):
    rounds, due, program = book
    cuts, line, at = 0, 1, NOON
    while True:
        name, at = f"round {line}", at + timedelta(hours=1)
        rounds["now"] = [due(f"{name} calm"), due(f"{name} loud", urgent=True)]
        audit.record(farm=cast.farm, actor=cast.manager, verb="moved", subject=cast.farm, now=at)
        cut = sweep_cut_at(line, at)
        services.sweep(at + timedelta(minutes=3))  # the leases of the dead are over
        services.sweep(at + timedelta(minutes=15))
        told = Notice.rows.filter(occasion__startswith=f"{name} ", rung=0)
        assert (line, told.count(), told.exclude(letter__outcome="sent").count()) == (line, 4, 0)
        called = Call.rows.filter(occasion__startswith=f"{name} ", event="told", outcome="sent")
        assert sorted(called.values_list("occasion", flat=True)) == [f"{name} calm", f"{name} loud"], line
        assert Notice.rows.exclude(occasion__startswith=f"{name} ").filter(withdrawn_at=None).count() == 0
        if not cut:
            break
        cuts, line = cuts + 1, line + STRIDE
    assert cuts >= 5
    _each_arrived_once(program)


@pytest.mark.parametrize("event", ["told", "withdrawn"])
def test_a_notice_is_not_kept_without_the_calls_that_carry_it(cast, book, monkeypatch, event):
    rounds, due, program = book
    services.sweep(NOON)
    rounds["now"] = [due("new")] if event == "told" else []
    audit.record(farm=cast.farm, actor=cast.manager, verb="moved", subject=cast.farm, now=NOON)
    announce = calls.announce

    def cut_before(farm: Farm, rows: Any, *, event: str, now: datetime) -> None:
        if rows:
            raise Killed
        announce(farm, rows, event=event, now=now)

    with monkeypatch.context() as patched, pytest.raises(Killed):
        patched.setattr(calls, "announce", cut_before)
        services.sweep(NOON + timedelta(minutes=1))
    services.sweep(NOON + timedelta(minutes=5))
    wanted = ("told", "new") if event == "told" else ("withdrawn", "gone")
    assert wanted in Call.rows.filter(outcome="sent").values_list("event", "occasion")


def _each_arrived_once(program: Program) -> None:
    """Every letter and call arrived; a repeat is a repeat of the same id, one for a cut at the most."""
    ids = [m.extra_headers["Message-ID"] for m in mail.outbox]
    assert len(set(ids)) == Letter.rows.filter(outcome="sent").count()
    seen = [headers["webhook-id"] for headers, _ in program.taken]
    assert (len(ids) - len(set(ids)) <= 4, len(seen) - len(set(seen)) <= 4) == (True, True)
