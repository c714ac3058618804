"""Sprayers and calibrations on the farm: services, facts, reminders."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal as D

import pytest
from django.db import IntegrityError, transaction

from apps.audit.models import AuditEvent
from apps.equipment import queries, services
from apps.equipment.models import Calibration, Sprayer
from apps.equipment.rules.catch import Verdict
from apps.equipment.rules.measuring import Readings
from farmops.errors import BadInput, NotYourRole, Refused, Stale, Unknown
from tests.factories.equipment import CalibrationFactory, SprayerFactory

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 14, 0, tzinfo=UTC)
TODAY = date(2026, 6, 1)
MACHINE = {
    "name": "Yellow boom",
    "method": "boom",
    "tank_gal": D(110),
    "usable_gal": D(100),
    "swath_ft": D("6.6"),
    "nozzles": 4,
}
READINGS = Readings(
    catches=(D(64),) * 4, catch_unit="floz", seconds=D(60), course_ft=D(88), run_seconds=(D(12),), pressure_psi=D(40)
)


def record(member, sprayer, readings=READINGS, **more):
    more = {"measured_on": TODAY, "now": NOW, **more}
    return services.record_calibration(member=member, sprayer_id=sprayer.pk, readings=readings, **more)


def test_a_new_sprayer_has_no_calibration_and_says_so(cast):
    row = services.add_sprayer(member=cast.applicator, now=NOW, **MACHINE)
    facts = queries.sprayer_facts(row, TODAY)
    assert (facts.name, facts.tank_gal, facts.usable_gal, facts.droplet_class) == ("Yellow boom", D(110), D(100), None)
    assert (facts.calibration, facts.why.code) == (None, "calibration_missing")
    assert AuditEvent.objects.get(subject_type="equipment.sprayer").verb == "added"


def test_a_recorded_calibration_counts_from_its_day(cast):
    sprayer = SprayerFactory(farm=cast.farm)
    row = record(cast.applicator, sprayer, measured_on=TODAY - timedelta(days=2), conditions={"gear": "3rd, 1800 rpm"})
    assert (row.gpa, row.speed_mph, row.total_gpm, row.verdict) == (D(30), D(5), D(2), Verdict.GOOD)
    assert (row.catches, row.run_seconds, row.liquid, row.gear) == (["64"] * 4, ["12"], "water", "3rd, 1800 rpm")
    facts = queries.sprayer_facts(sprayer, TODAY)
    assert (facts.calibration.gpa, facts.calibration.good_until, facts.why) == (D(30), date(2027, 5, 30), None)
    before = queries.sprayer_facts(sprayer, TODAY - timedelta(days=3))
    assert before.calibration is None


def test_a_failed_catch_test_is_kept_and_does_not_count(cast):
    sprayer = SprayerFactory(farm=cast.farm)
    CalibrationFactory(sprayer=sprayer)
    uneven = Readings(**{**vars(READINGS), "catches": (D(64), D(64), D(64), D(40))})
    row = record(cast.applicator, sprayer, uneven)
    assert (row.verdict, [f["code"] for f in row.findings][-1]) == (Verdict.FAIL, "nozzle_low")
    assert queries.sprayer_facts(sprayer, TODAY).why.code == "calibration_failed"


def test_what_asks_for_a_look_needs_a_reason(cast):
    sprayer = SprayerFactory(farm=cast.farm)
    off = Readings(**{**vars(READINGS), "wanted_gpa": D(38)})
    with pytest.raises(BadInput) as caught:
        record(cast.applicator, sprayer, off, reason="  ")
    assert caught.value.errors == {"reason": ["Enter why this calibration may be used all the same."]}
    assert Calibration.rows.count() == 0
    row = record(cast.applicator, sprayer, off, reason="The job is planned at 30.")
    assert (row.verdict, row.reason) == (Verdict.CHECK, "The job is planned at 30.")
    assert queries.sprayer_facts(sprayer, TODAY).calibration.id == row.pk


@pytest.mark.parametrize(
    "change",
    [
        {"nozzles": 5},
        {"spacing_in": D(15)},
        {"nozzle_name": "cone"},
        {"swath_ft": D(7)},
        {"nozzle_new_gpm": D("0.3"), "nozzle_new_psi": D(40)},
    ],
    ids=lambda c: next(iter(c)),
)
def test_other_nozzles_void_the_calibration_from_today(cast, change):
    sprayer = SprayerFactory(farm=cast.farm)
    row = CalibrationFactory(sprayer=sprayer)
    services.edit_sprayer(member=cast.manager, sprayer_id=sprayer.pk, expected_version=1, changes=change, now=NOW)
    row.refresh_from_db()
    assert (row.void_on, row.void_because, row.voided_by_id) == (
        TODAY, "the nozzles or the swath were changed", cast.manager.person_id,
    )  # fmt: skip
    assert queries.sprayer_facts(sprayer, TODAY).why.code == "calibration_void"
    assert queries.sprayer_facts(sprayer, TODAY - timedelta(days=1)).calibration.id == row.pk
    verbs = AuditEvent.objects.order_by("id").values_list("verb", flat=True)
    assert list(verbs) == ["changed", "voided"]


def test_another_name_or_tank_voids_nothing(cast):
    sprayer = SprayerFactory(farm=cast.farm)
    row = CalibrationFactory(sprayer=sprayer)
    same_nozzles = {"name": "Red boom", "usable_gal": D(90), "nozzles": 4, "spacing_in": D("20.00")}
    services.edit_sprayer(member=cast.manager, sprayer_id=sprayer.pk, expected_version=1, changes=same_nozzles, now=NOW)
    assert queries.sprayer_facts(sprayer, TODAY).calibration.id == row.pk


def test_new_nozzles_of_the_same_kind_void_it_too_and_a_new_test_counts_the_same_day(cast):
    sprayer = SprayerFactory(farm=cast.farm)
    CalibrationFactory(sprayer=sprayer)
    changed = services.change_nozzles(
        member=cast.applicator,
        sprayer_id=sprayer.pk,
        expected_version=1,
        changed_on=TODAY,
        note="whole set replaced",
        now=NOW,
    )
    assert changed.version == 2
    why = queries.sprayer_facts(sprayer, TODAY).why
    assert why.sentence == (
        "The calibration of Fri, May 1, 2026 is void since Mon, Jun 1, 2026: whole set replaced. Calibrate again."
    )
    row = record(cast.applicator, sprayer)
    assert queries.sprayer_facts(sprayer, TODAY).calibration.id == row.pk


def test_a_struck_calibration_never_counts(cast):
    sprayer = SprayerFactory(farm=cast.farm)
    CalibrationFactory(sprayer=sprayer, measured_on=date(2026, 4, 1))
    row = CalibrationFactory(sprayer=sprayer)
    services.void_calibration(member=cast.applicator, calibration_id=row.pk, because="wrong sprayer", now=NOW)
    assert queries.sprayer_facts(sprayer, row.measured_on).why.code == "calibration_void"
    with pytest.raises(BadInput) as caught:
        services.void_calibration(member=cast.applicator, calibration_id=row.pk, because=" ", now=NOW)
    assert list(caught.value.errors) == ["because"]


def test_tomorrow_cannot_be_measured_today_even_late_at_night(cast):
    # 03:00 UTC on 2 June is still 1 June on the farm
    sprayer = SprayerFactory(farm=cast.farm)
    late = datetime(2026, 6, 2, 3, 0, tzinfo=UTC)
    with pytest.raises(BadInput) as caught:
        record(cast.applicator, sprayer, measured_on=date(2026, 6, 2), now=late)
    assert caught.value.errors == {"measured_on": ["Must be today or earlier."]}
    assert record(cast.applicator, sprayer, measured_on=TODAY, now=late).measured_on == TODAY


@pytest.mark.parametrize(
    ("values", "field"),
    [
        ({"usable_gal": D(120)}, "usable_gal"),
        ({"nozzle_new_gpm": D("0.4")}, "nozzle_new_psi"),
        ({"name": "BOOM ONE"}, "name"),
    ],
)
def test_what_cannot_be_is_named(cast, values, field):
    SprayerFactory(farm=cast.farm, name="Boom one")
    with pytest.raises(BadInput) as caught:
        services.add_sprayer(member=cast.manager, now=NOW, **{**MACHINE, **values})
    assert list(caught.value.errors) == [field]
    assert Sprayer.rows.count() == 1


def test_two_farms_may_use_one_name(cast):
    SprayerFactory(farm=cast.other_farm, name="Yellow boom")
    assert services.add_sprayer(member=cast.manager, now=NOW, **MACHINE).name == "Yellow boom"


def test_staff_may_not_and_strangers_find_nothing(cast):
    sprayer = SprayerFactory(farm=cast.farm)
    with pytest.raises(NotYourRole) as caught:
        record(cast.staff, sprayer)
    assert str(caught.value) == "This needs one of: manager / applicator."
    with pytest.raises(Unknown):
        record(cast.neighbour, sprayer)
    assert Calibration.rows.count() == 0


def test_an_old_version_is_stale_and_changes_nothing(cast):
    sprayer = SprayerFactory(farm=cast.farm)
    row = CalibrationFactory(sprayer=sprayer)
    with pytest.raises(Stale):
        services.edit_sprayer(
            member=cast.manager, sprayer_id=sprayer.pk, expected_version=7, changes={"nozzles": 5}, now=NOW
        )
    row.refresh_from_db()
    assert row.void_on is None


def test_out_of_use_cannot_be_calibrated_until_it_is_back(cast):
    sprayer = SprayerFactory(farm=cast.farm)
    services.retire_sprayer(member=cast.manager, sprayer_id=sprayer.pk, expected_version=1, retired=True, now=NOW)
    with pytest.raises(Refused) as caught:
        record(cast.applicator, sprayer)
    assert [f.code for f in caught.value.findings] == ["sprayer_retired"]
    services.retire_sprayer(member=cast.manager, sprayer_id=sprayer.pk, expected_version=2, retired=False, now=NOW)
    assert record(cast.applicator, sprayer).gpa == D(30)


@pytest.mark.parametrize(
    ("values", "constraint"),
    [
        ({"usable_gal": D(500)}, "sprayer_usable_within_tank"),
        ({"method": "catapult"}, "sprayer_method_known"),
        ({"droplet_class": "big"}, "sprayer_droplet_class_known"),
        ({"nozzles": 0}, "sprayer_nozzles_sane"),
        ({"swath_ft": D(0)}, "sprayer_swath_positive"),
        ({"nozzle_new_gpm": D("0.4")}, "sprayer_new_nozzle_flow_with_pressure"),
    ],
)
def test_the_database_holds_it_too(cast, values, constraint):
    with pytest.raises(IntegrityError) as caught, transaction.atomic():
        SprayerFactory(farm=cast.farm, **values)
    assert constraint in str(caught.value)


def test_list_costs_the_same_for_two_and_for_twenty(cast, django_assert_num_queries):
    for _ in range(2):
        CalibrationFactory(sprayer=SprayerFactory(farm=cast.farm))
    with django_assert_num_queries(2):
        assert len(queries.standings(cast.farm, TODAY)) == 2
    for _ in range(18):
        CalibrationFactory(sprayer=SprayerFactory(farm=cast.farm))
    with django_assert_num_queries(2):
        found = queries.standings(cast.farm, TODAY)
    assert {(s.age_days, s.days_left) for s in found} == {(31, 334)}


@pytest.mark.parametrize(
    ("days_before", "mark", "kind"),
    [
        (91, None, None),
        (90, 90, "calibration_ending"),
        (31, 90, "calibration_ending"),
        (30, 30, "calibration_ending"),
        (7, 7, "calibration_ends_soon"),
        (0, 0, "calibration_ends_soon"),
        (-1, None, None),
    ],
)
def test_reminders_at_ninety_thirty_seven_and_no_days(cast, days_before, mark, kind):
    row = CalibrationFactory(sprayer=SprayerFactory(farm=cast.farm, name="Boom"))
    at = datetime.combine(row.good_until - timedelta(days=days_before), NOW.timetz())
    found = queries.due(cast.farm, at)
    expected = [] if mark is None else [(kind, f"{mark} days before 2027-05-01")]
    assert [(d.kind, d.occasion) for d in found] == expected
    for d in found:
        assert d.person_ids == sorted([cast.manager.person_id, cast.applicator.person_id])
        assert d.template.format(**d.numbers).startswith("The calibration of Boom counts through 2027-05-01")


def test_a_short_life_is_not_reminded_of_at_once(cast):
    row = CalibrationFactory(sprayer=SprayerFactory(farm=cast.farm, life_days=30))
    fresh = datetime.combine(row.measured_on, NOW.timetz())
    assert queries.due(cast.farm, fresh) == []
    assert [d.occasion for d in queries.due(cast.farm, fresh + timedelta(days=23))] == ["7 days before 2026-05-31"]


def test_nobody_is_reminded_of_a_retired_or_void_one(cast):
    CalibrationFactory(sprayer=SprayerFactory(farm=cast.farm, retired_at=NOW))
    CalibrationFactory(
        sprayer=SprayerFactory(farm=cast.farm), void_on=TODAY, void_because="x", voided_by_id=cast.manager.person_id
    )
    assert queries.due(cast.farm, datetime(2027, 4, 28, 14, tzinfo=UTC)) == []
