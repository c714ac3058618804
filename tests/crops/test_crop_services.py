"""What is done with crops: written, refused, audited."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

import pytest

from apps.audit.models import AuditEvent
from apps.crops import queries, services
from apps.crops.models import Crop, Planting, PlantingEvent, ScoutingNote
from farmops.errors import BadInput, NotYourRole, Refused, Stale, Unknown
from tests.factories.crops import (
    CropFactory,
    PlantingEventFactory,
    PlantingFactory,
    ScoutingNoteFactory,
    VarietyFactory,
)
from tests.factories.land import BlockFactory

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 8, 1, 2, 30, tzinfo=UTC)  # still 31 July on the farm, America/Chicago
TODAY, TOMORROW = date(2026, 7, 31), date(2026, 8, 1)


def codes(refused: Any) -> list[str]:
    return [f.code for f in refused.value.findings]


def plan(cast: Any, **more: Any) -> Planting:
    asked: dict[str, Any] = {
        "block_id": more.pop("block_id", None) or BlockFactory(farm=cast.farm).pk,
        "crop_id": more.pop("crop_id", None) or CropFactory(farm=cast.farm).pk,
        "purpose": "cash",
        "planned_on": date(2026, 6, 1),
        "harvest_from": date(2026, 9, 10),
        "harvest_to": date(2026, 10, 20),
    }
    return services.plan_planting(member=cast.manager, now=NOW, **(asked | more))


def record(cast: Any, planting: Planting, kind: str, on: date, **more: Any) -> PlantingEvent:
    who = more.pop("who", cast.manager)
    return services.record_planting_event(member=who, planting_id=planting.pk, kind=kind, on=on, now=NOW, **more)


def look(cast: Any, block_id: int, **more: Any) -> ScoutingNote:
    who = more.pop("who", cast.staff)
    return services.record_scouting(member=who, block_id=block_id, now=NOW, **({"looked_on": TODAY} | more))


def test_a_crop_is_added_by_code_and_old_family_name(cast):
    row = services.add_crop(
        member=cast.manager, code=" Cereal_Rye", name="Rye", family="Gramineae", days_to_first_flower="240", now=NOW
    )
    assert (row.code, row.name, row.family, row.days_to_first_flower) == ("cereal_rye", "Rye", "poaceae", 240)
    line = AuditEvent.objects.get(subject_type="crops.crop")
    assert (line.actor_name, line.verb, line.after["code"]) == ("Ines Prado", "added", "cereal_rye")


CROPS_REFUSED = {
    "everything": (
        {"code": "Winter squash", "name": "", "family": "squash", "days_to_first_flower": "1.5"},
        ["code", "name", "family", "days_to_first_flower"],
    ),
    "wrong family": ({"family": "solanaceae"}, ["family"]),
    "taken": ({}, ["code"]),
    "no days": ({"code": "gourd", "days_to_first_flower": "0"}, ["days_to_first_flower"]),
}


@pytest.mark.parametrize(("changed", "fields"), CROPS_REFUSED.values(), ids=CROPS_REFUSED.keys())
def test_crops_refused(cast, changed, fields):
    CropFactory(farm=cast.farm, code="pumpkin")
    good = {"code": "pumpkin", "name": "Pumpkin", "family": "cucurbitaceae", "days_to_first_flower": None}
    with pytest.raises(BadInput) as refused:
        services.add_crop(member=cast.manager, now=NOW, **(good | changed))
    assert list(refused.value.errors) == fields
    assert Crop.objects.for_farm(cast.farm).count() == 1


def test_a_crop_keeps_code_and_family_when_changed(cast):
    row = CropFactory(farm=cast.farm)
    changes = {"name": "Kabocha", "days_to_first_flower": "", "code": "x", "family": "poaceae"}
    saved = services.edit_crop(member=cast.manager, crop_id=row.pk, expected_version=1, changes=changes, now=NOW)
    assert (saved.name, saved.days_to_first_flower, saved.code, saved.family) == (
        "Kabocha",
        None,
        "winter_squash",
        "cucurbitaceae",
    )
    with pytest.raises(Stale):
        services.edit_crop(member=cast.manager, crop_id=row.pk, expected_version=1, changes={"name": "y"}, now=NOW)


def test_a_variety_stands_once_in_its_crop(cast):
    squash, gourd = CropFactory(farm=cast.farm), CropFactory(farm=cast.farm, code="gourd", name="Gourd")
    services.add_variety(member=cast.manager, crop_id=squash.pk, name="Harvest Lantern", now=NOW)
    services.add_variety(member=cast.manager, crop_id=gourd.pk, name="Harvest Lantern", now=NOW)
    with pytest.raises(BadInput) as refused:
        services.add_variety(member=cast.manager, crop_id=squash.pk, name="harvest lantern", now=NOW)
    assert refused.value.errors == {"name": ["This crop already has a variety of that name."]}


def test_a_planting_is_planned(cast):
    variety = VarietyFactory(farm=cast.farm)
    row = plan(cast, crop_id=variety.crop.pk, variety_id=variety.pk, started_as="transplant", note=" early  rows ")
    row.refresh_from_db()
    assert (row.variety, row.purpose, row.started_as, row.planned_on, row.sown_on, row.note) == (
        variety,
        "cash",
        "transplant",
        date(2026, 6, 1),
        None,
        "early rows",
    )
    assert AuditEvent.objects.get(subject_type="crops.planting").verb == "planned"


def test_a_planting_needs_its_own_crops_variety_and_known_words(cast):
    other = VarietyFactory(farm=cast.farm, crop=CropFactory(farm=cast.farm, code="gourd", name="Gourd"), name="Egg")
    with pytest.raises(BadInput) as refused:
        plan(cast, variety_id=other.pk, purpose="sale", started_as="cutting", note="x" * 401)
    assert refused.value.errors == {
        "variety_id": ["Egg is a variety of Gourd, not of Winter squash."],
        "purpose": ["Use one of: cash, cover."],
        "started_as": ["Use one of: seed, transplant."],
        "note": ["Must be 400 characters or fewer."],
    }


@pytest.mark.parametrize("what", ["block_id", "crop_id", "variety_id"])
def test_another_farms_things_are_unknown(cast, what):
    theirs = {
        "block_id": BlockFactory(farm=cast.other_farm).pk,
        "crop_id": CropFactory(farm=cast.other_farm).pk,
        "variety_id": VarietyFactory(farm=cast.other_farm).pk,
    }
    with pytest.raises(Unknown):
        plan(cast, **{what: theirs[what]})
    assert Planting.objects.for_farm(cast.farm).count() == 0


def test_two_cash_crops_cannot_have_a_block_in_the_same_days(cast):
    block = BlockFactory(farm=cast.farm)
    first = plan(cast, block_id=block.pk)
    corn = CropFactory(farm=cast.farm, code="sweet_corn", name="Sweet corn", family="poaceae").pk
    with pytest.raises(Refused) as refused:
        plan(cast, block_id=block.pk, crop_id=corn, planned_on=date(2026, 7, 1))
    assert codes(refused) == ["block_taken"]
    plan(cast, block_id=block.pk, crop_id=corn, purpose="cover", harvest_from=None, harvest_to=None)
    later = {"planned_on": date(2026, 10, 20), "harvest_from": date(2027, 1, 5), "harvest_to": None}
    later_row = plan(cast, block_id=block.pk, crop_id=corn, **later)
    with pytest.raises(Refused) as refused:
        services.edit_planting(
            member=cast.manager,
            planting_id=first.pk,
            expected_version=1,
            changes={"harvest_to": date(2026, 10, 21)},
            now=NOW,
        )
    assert codes(refused) == ["block_taken"]
    services.call_off_planting(member=cast.manager, planting_id=later_row.pk, now=NOW)
    saved = services.edit_planting(
        member=cast.manager,
        planting_id=first.pk,
        expected_version=1,
        changes={"harvest_to": date(2026, 10, 21)},
        now=NOW,
    )
    assert (saved.harvest_to, saved.version) == (date(2026, 10, 21), 2)


def test_nothing_is_planned_on_an_archived_block(cast):
    with pytest.raises(Refused) as refused:
        plan(cast, block_id=BlockFactory(farm=cast.farm, archived_at=NOW).pk)
    assert codes(refused) == ["block_archived"]


def test_dates_that_do_not_fit_are_named_and_nothing_is_written(cast):
    with pytest.raises(BadInput) as refused:
        plan(cast, harvest_from=date(2026, 5, 1), harvest_to=None)
    assert refused.value.errors == {"harvest_from": ["Must be after the sowing date."]}
    assert Planting.objects.for_farm(cast.farm).count() == 0


def test_another_crop_takes_the_old_variety_off(cast):
    variety = VarietyFactory(farm=cast.farm)
    row = plan(cast, crop_id=variety.crop.pk, variety_id=variety.pk)
    gourd = CropFactory(farm=cast.farm, code="gourd", name="Gourd")
    saved = services.edit_planting(
        member=cast.manager, planting_id=row.pk, expected_version=1, changes={"crop_id": gourd.pk}, now=NOW
    )
    assert (saved.crop, saved.variety) == (gourd, None)


def test_what_is_recorded_settles_into_the_plantings_columns(cast):
    row = plan(cast)
    record(cast, row, "sown", date(2026, 6, 4), note="after rain")
    record(cast, row, "terminated", TODAY)
    row.refresh_from_db()
    assert (row.sown_on, row.terminated_on, row.version) == (date(2026, 6, 4), TODAY, 3)
    lines = AuditEvent.objects.filter(subject_type="crops.plantingevent").order_by("pk")
    assert [(line.verb, line.after["kind"]) for line in lines] == [("recorded", "sown"), ("recorded", "terminated")]


def test_today_is_the_farms_today(cast):
    """02:30 UTC on 1 August is 21:30 on 31 July in America/Chicago."""
    row = plan(cast)
    with pytest.raises(BadInput) as refused:
        record(cast, row, "sown", TOMORROW)
    assert refused.value.errors == {"on": ["The day must be today or earlier."]}
    assert record(cast, row, "sown", TODAY).on == TODAY


def test_contradictions_are_refused_and_nothing_is_written(cast):
    row = plan(cast)
    record(cast, row, "sown", date(2026, 6, 4))
    with pytest.raises(Refused) as refused:
        record(cast, row, "sown", date(2026, 6, 5))
    assert codes(refused) == ["event_twice"]
    with pytest.raises(Refused) as refused:
        record(cast, row, "emerged", date(2026, 6, 1))
    assert codes(refused) == ["before_sowing"]
    assert [e.kind for e in queries.standing_events(cast.farm)] == ["sown"]


def test_an_unknown_event_names_the_ones_there_are(cast):
    with pytest.raises(BadInput) as refused:
        record(cast, plan(cast), "planted", TODAY)
    assert list(refused.value.errors) == ["kind"]


def test_sown_early_onto_a_standing_crop_is_refused(cast):
    block = BlockFactory(farm=cast.farm)
    plan(
        cast,
        block_id=block.pk,
        planned_on=date(2026, 4, 1),
        harvest_from=date(2026, 5, 20),
        harvest_to=date(2026, 6, 1),
    )
    second = plan(cast, block_id=block.pk)
    with pytest.raises(Refused) as refused:
        record(cast, second, "sown", date(2026, 5, 25))
    assert codes(refused) == ["block_taken"]


WHO_RECORDS = [
    ("manager", "sown", True),
    ("manager", "bloom_end", True),
    ("applicator", "emerged", True),
    ("staff", "emerged", True),
    ("staff", "bloom_start", True),
    ("staff", "bloom_end", False),
    ("staff", "terminated", False),
    ("staff", "harvest_start", False),
    ("applicator", "harvest_end", False),
]


@pytest.mark.parametrize(("role", "kind", "allowed"), WHO_RECORDS)
def test_who_may_record_what(cast, role, kind, allowed):
    """A scout may say that something is in bloom, never that bloom is over for good."""
    row = PlantingFactory(farm=cast.farm, sown_on=None if kind == "sown" else date(2026, 6, 1))
    if allowed:
        assert record(cast, row, kind, TODAY, who=cast.by_role(role)).recorded_by_id == cast.by_role(role).person_id
        return
    with pytest.raises(NotYourRole):
        record(cast, row, kind, TODAY, who=cast.by_role(role))
    assert queries.standing_events(cast.farm).filter(kind=kind).count() == 0


@pytest.mark.parametrize("role", ["applicator", "staff"])
def test_only_managers_change_crops_and_plans(cast, role):
    member, row = cast.by_role(role), PlantingFactory(farm=cast.farm, sown_on=date(2026, 6, 1))
    event = row.events.get()
    tries = [
        lambda: services.add_crop(member=member, code="okra", name="Okra", family="malvaceae", now=NOW),
        lambda: services.edit_crop(member=member, crop_id=row.crop_id, expected_version=1, changes={}, now=NOW),
        lambda: services.add_variety(member=member, crop_id=row.crop_id, name="x", now=NOW),
        lambda: services.plan_planting(
            member=member, block_id=row.block_id, crop_id=row.crop_id, purpose="cover", planned_on=TODAY, now=NOW
        ),
        lambda: services.edit_planting(member=member, planting_id=row.pk, expected_version=1, changes={}, now=NOW),
        lambda: services.call_off_planting(member=member, planting_id=row.pk, now=NOW),
        lambda: services.withdraw_planting_event(member=member, event_id=event.pk, reason="x", now=NOW),
    ]
    for attempt in tries:
        with pytest.raises(NotYourRole):
            attempt()
    assert AuditEvent.objects.filter(farm=cast.farm).count() == 0


def test_a_wrong_entry_is_withdrawn_with_its_reason_and_can_be_made_again(cast):
    row = plan(cast)
    wrong = record(cast, row, "sown", date(2026, 6, 4))
    services.withdraw_planting_event(member=cast.manager, event_id=wrong.pk, reason="wrong field", now=NOW)
    row.refresh_from_db()
    assert (row.sown_on, list(queries.standing_events(cast.farm))) == (None, [])
    assert PlantingEvent.objects.for_farm(cast.farm).get().withdrawn_at == NOW
    assert AuditEvent.objects.get(verb="withdrew").after == {"reason": "wrong field"}
    record(cast, row, "sown", date(2026, 6, 9))
    row.refresh_from_db()
    assert row.sown_on == date(2026, 6, 9)
    with pytest.raises(Unknown):
        services.withdraw_planting_event(member=cast.manager, event_id=wrong.pk, reason="again", now=NOW)


def test_the_sowing_is_withdrawn_last_and_never_without_a_reason(cast):
    row = plan(cast)
    sown = record(cast, row, "sown", date(2026, 6, 4))
    record(cast, row, "emerged", date(2026, 6, 12))
    with pytest.raises(Refused) as refused:
        services.withdraw_planting_event(member=cast.manager, event_id=sown.pk, reason="wrong", now=NOW)
    assert codes(refused) == ["sowing_goes_last"]
    with pytest.raises(BadInput) as empty:
        services.withdraw_planting_event(member=cast.manager, event_id=sown.pk, reason=" ", now=NOW)
    assert empty.value.errors == {"reason": ["Enter why this entry is wrong."]}


def test_a_planting_with_a_record_is_not_called_off(cast):
    row = PlantingFactory(farm=cast.farm, sown_on=date(2026, 6, 1))
    with pytest.raises(Refused) as refused:
        services.call_off_planting(member=cast.manager, planting_id=row.pk, now=NOW)
    assert codes(refused) == ["planting_recorded"]


def test_a_harvested_crop_is_no_cover_crop(cast):
    row = PlantingFactory(farm=cast.farm, sown_on=date(2026, 6, 1))
    PlantingEventFactory(planting=row, kind="harvest_start", on=TODAY)
    with pytest.raises(Refused) as refused:
        services.edit_planting(
            member=cast.manager, planting_id=row.pk, expected_version=1, changes={"purpose": "cover"}, now=NOW
        )
    assert codes(refused) == ["cover_not_harvested"]


def test_anybody_on_the_farm_may_write_down_a_look(cast):
    row = PlantingFactory(farm=cast.farm, sown_on=date(2026, 6, 1))
    note = look(
        cast, row.block_id, crop_in_bloom="no", weeds_in_bloom="yes", stage="61", planting_id=row.pk, text=" x "
    )
    note.refresh_from_db()
    assert (note.crop_in_bloom, note.weeds_in_bloom, note.stage, note.planting_id, note.text) == (
        "no",
        "yes",
        61,
        row.pk,
        "x",
    )
    assert (note.recorded_by_id, note.recorded_at) == (cast.staff.person_id, NOW)


LOOKS_REFUSED = {
    "tomorrow": ({"looked_on": TOMORROW, "text": "x"}, {"looked_on": ["The day must be today or earlier."]}),
    "long ago": (
        {"looked_on": date(1989, 1, 1), "text": "x"},
        {"looked_on": ["Date must be between 1990 and 2099."]},
    ),
    "nothing seen": ({}, {"text": ["Enter at least one thing you saw."]}),
    "unknown words": (
        {"crop_in_bloom": "maybe", "weeds_in_bloom": "", "stage": "boot", "text": "a\x00b"},
        {
            "crop_in_bloom": ["Use one of: yes, no, not_looked."],
            "weeds_in_bloom": ["Use one of: yes, no, not_looked."],
            "stage": ["Zadoks stage must be a whole number from 0 to 99."],
            "text": ["Must be plain text without control characters."],
        },
    ),
}


@pytest.mark.parametrize(("seen", "errors"), LOOKS_REFUSED.values(), ids=LOOKS_REFUSED.keys())
def test_looks_refused(cast, seen, errors):
    with pytest.raises(BadInput) as refused:
        look(cast, BlockFactory(farm=cast.farm).pk, **seen)
    assert refused.value.errors == errors
    assert ScoutingNote.objects.for_farm(cast.farm).count() == 0


def test_a_look_is_about_a_planting_of_that_block(cast):
    elsewhere = PlantingFactory(farm=cast.farm)
    with pytest.raises(BadInput) as refused:
        look(cast, BlockFactory(farm=cast.farm).pk, crop_in_bloom="no", planting_id=elsewhere.pk)
    assert refused.value.errors == {"planting_id": ["That planting is not on this block."]}


def test_a_look_at_another_farms_block_is_unknown(cast):
    with pytest.raises(Unknown):
        look(cast, BlockFactory(farm=cast.other_farm).pk, crop_in_bloom="no")


@pytest.mark.parametrize(("role", "allowed"), [("staff", True), ("manager", True), ("applicator", False)])
def test_ones_own_look_or_any_by_a_manager_is_withdrawn(cast, role, allowed):
    note = ScoutingNoteFactory(
        block=BlockFactory(farm=cast.farm), recorded_by_id=cast.staff.person_id, recorded_by=None
    )
    member = cast.by_role(role)
    if allowed:
        services.withdraw_scouting(member=member, note_id=note.pk, reason="other block", now=NOW)
        assert list(queries.notes(cast.farm)) == []
        return
    with pytest.raises(NotYourRole):
        services.withdraw_scouting(member=member, note_id=note.pk, reason="other block", now=NOW)
    assert list(queries.notes(cast.farm)) == [note]
