"""The sweep makes what is due once, and one farm's or one app's fault stops nobody else's."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from django.core.checks import Tags, run_checks
from django.db import transaction

from apps.reminders import queries, services
from apps.reminders import sources as finding
from apps.reminders.models import Notice, SweepFault
from apps.reminders.rules import Due

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
LATER = NOON + timedelta(minutes=1)


def gate_due(*person_ids: int, occasion: str = "2026-06-01"):
    return Due(
        kind="gate_to_paint",
        subject_type="gate",
        subject_id=7,
        occasion=occasion,
        person_ids=person_ids,
        template="Paint gate {gate}.",
        numbers={"gate": "East"},
        path="/f/alder-bend/",
    )


def for_alder(*person_ids: int):
    return lambda farm, now: [gate_due(*person_ids)] if farm.slug == "alder-bend" else []


def test_what_stays_due_is_told_once(cast, sources):
    sources(gates=for_alder(cast.staff.person_id, cast.manager.person_id))
    assert [services.sweep(NOON + n * timedelta(minutes=1)).made for n in range(3)] == [2, 0, 0]
    assert Notice.objects.for_farm(cast.farm).count() == 2


def test_a_new_occasion_is_told_again(cast, sources):
    sources(gates=lambda farm, now: [gate_due(cast.staff.person_id, occasion=f"{now:%Y-%m-%d}")])
    for day in range(3):
        services.sweep(NOON + timedelta(days=day))
    told = Notice.objects.for_farm(cast.farm).order_by("id").values_list("occasion", flat=True)
    assert list(told) == ["2026-06-01", "2026-06-02", "2026-06-03"]


def test_the_source_is_asked_for_each_farm_at_the_time_of_the_sweep(cast, sources):
    asked = []
    sources(gates=lambda farm, now: asked.append((farm.slug, now)) or [])
    services.sweep(NOON)
    assert asked == [("alder-bend", NOON), ("far-side", NOON)]


def test_one_farms_fault_stops_neither_the_other_farm_nor_the_other_source(cast, sources):
    def breaks(farm, now):
        if farm.slug == "alder-bend":
            raise LookupError("no such gate")
        return [gate_due(cast.neighbour.person_id)]

    paths = sources(breaks=breaks, gates=for_alder(cast.staff.person_id))
    done = services.sweep(NOON)
    assert (done.made, done.faults) == (2, 1)
    fault = SweepFault.objects.for_farm(cast.farm).get()
    assert (fault.source, fault.error, fault.times) == (paths[0], "LookupError: no such gate", 1)
    assert SweepFault.objects.for_farm(cast.other_farm).count() == 0


def test_a_fault_is_counted_while_it_lasts_and_gone_when_it_is_over(cast, sources):
    broken = [True]

    def sometimes(farm, now):
        if broken[0] and farm.slug == "alder-bend":
            raise LookupError("no such gate")
        return []

    sources(sometimes=sometimes)
    services.sweep(NOON)
    services.sweep(LATER)
    fault = SweepFault.objects.for_farm(cast.farm).get()
    assert (fault.first_at, fault.last_at, fault.times) == (NOON, LATER, 2)
    broken[0] = False
    services.sweep(LATER + timedelta(minutes=1))
    assert SweepFault.objects.for_farm(cast.farm).count() == 0


def test_a_source_that_gives_nonsense_is_that_sources_fault(cast, sources):
    sources(nonsense=lambda farm, now: ["paint the gate"], gates=for_alder(cast.staff.person_id))
    done = services.sweep(NOON)
    assert (done.made, done.faults) == (1, 2)


def test_an_absent_app_is_passed_over_and_a_broken_one_is_loud(cast, sources, settings):
    paths = sources(gates=for_alder(cast.staff.person_id))
    settings.REMINDER_SOURCES = [
        "apps.nowhere.queries.due",
        "apps.audit.nowhere.due",
        "apps.audit.queries.no_such_function",
        *paths,
    ]
    done = services.sweep(NOON)
    assert (done.made, done.errors) == (1, ["apps.audit.queries.no_such_function: AttributeError"])
    assert queries.last_run().error == "apps.audit.queries.no_such_function: AttributeError"


def test_the_deployment_check_names_broken_and_absent_sources(settings):
    settings.REMINDER_SOURCES = ["apps.nowhere.queries.due", "apps.audit.queries.no_such_function"]
    said = run_checks(tags=[Tags.compatibility], include_deployment_checks=True)
    found = {e.id: e.msg for e in said if str(e.id).startswith("reminders.")}
    assert sorted(found) == ["reminders.E001", "reminders.W001"]
    assert "no_such_function" in found["reminders.E001"]
    assert found["reminders.W001"] == "REMINDER_SOURCES: there is no apps.nowhere.queries.due"


def test_every_source_in_the_settings_can_be_asked(cast, settings):
    loaded, broken = finding.load_all()
    assert (list(loaded), broken) == (list(settings.REMINDER_SOURCES), {})
    for path, source in loaded.items():
        assert (path, source.due(cast.farm, NOON)) == (path, [])
        assert (path, source.next_due is not None) == (path, True)
        again = source.next_due(cast.farm, NOON)
        assert (path, again is None or again > NOON) == (path, True)


def test_a_change_that_rolled_back_is_not_told_by_the_next_sweep(cast, sources):
    painted: list[int] = []
    sources(gates=lambda farm, now: [gate_due(*painted)])
    with pytest.raises(RuntimeError), transaction.atomic():
        services.tell(
            farm=cast.farm, kind="gate_painted", subject=("gate", 7), occasion="once", to=[cast.staff.person_id],
            template="Painted.", now=NOON,
        )  # fmt: skip
        raise RuntimeError
    services.sweep(NOON)
    assert Notice.objects.for_farm(cast.farm).count() == 0


def test_the_heartbeat_says_when_and_what(cast, sources):
    assert queries.late(NOON)
    sources(gates=for_alder(cast.staff.person_id))
    services.sweep(NOON)
    run = queries.last_run()
    assert (run.last_started_at, run.made, run.sent, run.failed, run.error) == (NOON, 1, 0, 0, "")
    assert timedelta(0) <= run.last_finished_at - NOON < timedelta(seconds=30)
    assert not queries.late(NOON + timedelta(minutes=4))
    assert queries.late(NOON + timedelta(minutes=6))


def test_a_sweep_with_nothing_new_costs_the_same_however_much_was_told(cast, sources, django_assert_num_queries):
    people, occasions = [cast.staff.person_id, cast.manager.person_id], []

    def gates(farm, now):
        return [gate_due(*people, occasion=str(n)) for n in occasions] if farm == cast.farm else []

    sources(gates=gates)
    for many in (1, 100):
        occasions[:] = range(many)
        services.sweep(NOON if many == 1 else LATER)
        with django_assert_num_queries(30):
            # heartbeat 2, post 2 x 2, calls 1, escalation 1, other sources 1, which farms 5; for each of two farms:
            # claim, marks, faults, what stands, watch; and for the one with something due: who works here, what exists,
            # and, within the transaction of this test, a savepoint set and left
            services.sweep(LATER)
    assert Notice.objects.for_farm(cast.farm).count() == 200
