"""Pages of fields, blocks and crops: what they say, for whom, in how many queries."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.crops.models import Crop, Planting, PlantingEvent, ScoutingNote
from apps.crops.queries import today
from apps.people.models import Person
from farmops import clock, wording
from tests.factories.crops import (
    CropFactory,
    PlantingEventFactory,
    PlantingFactory,
    ScoutingNoteFactory,
    VarietyFactory,
)
from tests.factories.land import BlockFactory, FieldFactory, SensitivePlaceFactory, square

pytestmark = pytest.mark.django_db
HOME = "/f/alder-bend/"


@pytest.fixture
def day(cast):
    """The farm's today, shifted by some days."""
    now = today(cast.farm, clock.now())
    return lambda shift=0: now + timedelta(days=shift)


def text(answer) -> str:
    return " ".join(answer.content.decode().split())


def clover(farm):
    return CropFactory(farm=farm, code="crimson_clover", name="Crimson clover", family="fabaceae")


def test_the_list_of_fields_says_what_stands_where(cast, browser_client, day):
    field = FieldFactory(farm=cast.farm, name="River")
    block = BlockFactory(
        farm=cast.farm,
        field=field,
        code="R1",
        name="North half",
        polygon=square(-86.25, 40.25),
        planted_acres=3,
        planted_stated=True,
    )
    PlantingFactory(farm=cast.farm, block=block, sown_on=day(-3))
    BlockFactory(farm=cast.farm, field=field, code="R2", name="South half")
    BlockFactory(farm=cast.other_farm, code="THEIRS")
    page = text(browser_client(cast.staff).get(HOME + "fields/"))
    assert f'<a class="button" href="{HOME}blocks/{block.pk}/">R1 North half</a>' in page
    for said in (
        "<h2 id",
        "River",
        "Winter squash",
        "Not in bloom",
        "3 ac",
        "9.34 ac",
        "nothing known",
        "(from the map)",
    ):
        assert said in page
    assert page.count('<span class="tag">differ</span>') == 1
    assert "THEIRS" not in page
    assert "Add a field" not in page


@pytest.mark.parametrize("page", ["fields/", "blocks/{}/"])
def test_pages_cost_the_same_for_any_number_of_blocks(cast, browser_client, page, day):
    client = browser_client(cast.staff)
    first = PlantingFactory(farm=cast.farm, sown_on=day(-3)).block
    address = HOME + page.format(first.pk)

    def cost() -> int:
        with CaptureQueriesContext(connection) as ran:
            assert client.get(address).status_code == 200
        return len([sql for sql in ran if '"land_' in sql["sql"] or '"crops_' in sql["sql"]])

    few = cost()
    for block in BlockFactory.create_batch(7, farm=cast.farm):
        PlantingFactory(farm=cast.farm, block=block, sown_on=day(-3))
        ScoutingNoteFactory(block=block)
        SensitivePlaceFactory(farm=cast.farm)
    assert cost() == few


def test_a_block_shows_its_sequence_on_one_line(cast, browser_client, day):
    block = BlockFactory(farm=cast.farm)
    PlantingFactory(
        farm=cast.farm,
        block=block,
        crop=clover(cast.farm),
        purpose="cover",
        sown_on=day(-250),
        terminated_on=day(-20),
    )
    PlantingFactory(farm=cast.farm, block=block, sown_on=day(-3), harvest_from=day(90), harvest_to=day(120))
    page = text(browser_client(cast.staff).get(f"{HOME}blocks/{block.pk}/"))
    line = page[page.index('<p class="sequence">') :].split("</p>")[0]
    for said in (
        "Crimson clover</strong> (cover crop), planted " + wording.date(day(-250), "en"),
        "ended " + wording.date(day(-20), "en"),
        '<span aria-hidden="true">→</span>',
        "Winter squash</strong> (cash crop), planted " + wording.date(day(-3), "en"),
        "end expected " + wording.date(day(120), "en"),
    ):
        assert said in line
    assert line.index("Crimson clover") < line.index("→") < line.index("Winter squash")


def test_a_block_shows_ground_bloom_and_surroundings(cast, browser_client, day):
    block = BlockFactory(farm=cast.farm, code="ME", polygon=square(-86.25, 40.25), planted_acres=8, planted_stated=True)
    BlockFactory(farm=cast.farm, code="NEXT", name="door", polygon=square(-86.2475, 40.25))
    SensitivePlaceFactory(farm=cast.farm, kind="hives", name="Lindholm's hives")
    PlantingFactory(farm=cast.farm, block=block, sown_on=day(-60))
    page = text(browser_client(cast.applicator).get(f"{HOME}blocks/{block.pk}/"))
    for said in (
        "<strong>Not known, counts as in bloom</strong>",
        "and nobody has looked.",
        "Planted acres (8 ac) and mapped acres (9.34 ac) differ by 14 %.",
        "NEXT door</a>",
        "Lindholm&#x27;s hives",
        '<svg class="sketch" viewBox=',
        'aria-label="Sketch of block ME and its neighbours"',
    ):
        assert said in page
    assert "style=" not in page
    assert re.search(r"<script(?![^>]*\bsrc=)", page) is None  # none of its own, none inline


def test_a_block_without_anything_does_not_pretend(cast, browser_client):
    page = text(browser_client(cast.staff).get(f"{HOME}blocks/{BlockFactory(farm=cast.farm).pk}/"))
    for said in (
        "Nothing has been planned or recorded on this block.",
        "No place has been entered. That does not mean there is none.",
        "Nobody has written down a look yet.",
    ):
        assert said in page


@pytest.mark.parametrize(
    ("role", "seen"),
    [
        ("manager", {"Plan a planting", "Change the block", "Archive the block", "Write down a look"}),
        ("applicator", {"Write down a look"}),
        ("staff", {"Write down a look"}),
    ],
)
def test_each_role_sees_what_it_may_do(cast, browser_client, role, seen):
    page = text(browser_client(cast.by_role(role)).get(f"{HOME}blocks/{BlockFactory(farm=cast.farm).pk}/"))
    offered = {"Plan a planting", "Change the block", "Archive the block", "Write down a look"}
    assert {words for words in offered if words in page} == seen


def test_staff_write_down_a_look_and_the_block_says_bloom(cast, browser_client, day):
    row = PlantingFactory(farm=cast.farm, sown_on=day(-3))
    client = browser_client(cast.staff)
    form = client.get(f"{HOME}blocks/{row.block_id}/scout/").context["form"]
    assert (form.initial["looked_on"], form.fields["crop_in_bloom"].initial) == (day(), "not_looked")
    sent = {"looked_on": day().isoformat(), "crop_in_bloom": "not_looked", "weeds_in_bloom": "yes", "text": "thistles"}
    page = text(client.post(f"{HOME}blocks/{row.block_id}/scout/", sent, follow=True))
    note = ScoutingNote.objects.for_farm(cast.farm).get()
    assert (note.weeds_in_bloom, note.crop_in_bloom, note.planting_id) == ("yes", "not_looked", None)
    for said in ("Your look is written down.", "<strong>In bloom</strong>", "Weeds in flower, seen", "thistles"):
        assert said in page


def test_a_look_that_cannot_be_kept_comes_back_as_typed(cast, browser_client, day):
    block = BlockFactory(farm=cast.farm)
    sent = {"looked_on": day(1).isoformat(), "crop_in_bloom": "no", "weeds_in_bloom": "no", "text": "all brown"}
    answer = browser_client(cast.staff).post(f"{HOME}blocks/{block.pk}/scout/", sent)
    assert (answer.status_code, "The day must be today or earlier." in text(answer)) == (400, True)
    assert "all brown" in text(answer)
    assert ScoutingNote.objects.for_farm(cast.farm).count() == 0


def test_ones_own_look_is_withdrawn_with_a_reason(cast, browser_client):
    note = ScoutingNoteFactory(block=BlockFactory(farm=cast.farm), recorded_by=cast.person(cast.staff))
    client = browser_client(cast.staff)
    address = f"{HOME}scouting/{note.pk}/withdraw/"
    assert address in text(client.get(f"{HOME}blocks/{note.block_id}/"))
    assert address not in text(browser_client(cast.applicator).get(f"{HOME}blocks/{note.block_id}/"))
    assert "Why this entry is wrong" in text(client.get(address))
    assert "The look is withdrawn." in text(client.post(address, {"reason": "other block"}, follow=True))
    note.refresh_from_db()
    assert note.withdrawn_at is not None


def test_forms_say_what_they_are_about(cast, browser_client):
    block, crop = BlockFactory(farm=cast.farm, code="R1", name="North"), CropFactory(farm=cast.farm)
    client = browser_client(cast.manager)
    assert "<strong>R1 North</strong>" in text(client.get(f"{HOME}blocks/{block.pk}/plant/"))
    assert "<strong>Winter squash</strong>" in text(client.get(f"{HOME}crops/{crop.pk}/varieties/new/"))


def test_a_manager_plans_sows_and_ends_a_planting(cast, browser_client, day):
    block, variety, client = BlockFactory(farm=cast.farm), VarietyFactory(farm=cast.farm), browser_client(cast.manager)
    form = {
        "crop_id": variety.crop_id,
        "variety_id": variety.pk,
        "purpose": "cash",
        "started_as": "seed",
        "planned_on": day(-2).isoformat(),
        "harvest_from": day(90).isoformat(),
    }
    assert client.post(f"{HOME}blocks/{block.pk}/plant/", form)["Location"] == f"{HOME}blocks/{block.pk}/"
    row = Planting.objects.for_farm(cast.farm).get()
    assert (row.variety, row.planned_on, row.harvest_to) == (variety, day(-2), None)
    address = f"{HOME}plantings/{row.pk}/"
    client.post(address, {"kind": "sown", "on": day(-1).isoformat(), "note": ""})
    refused = client.post(address, {"kind": "sown", "on": day(-1).isoformat(), "note": ""})
    assert (refused.status_code, "Already recorded for" in text(refused)) == (409, True)
    event = PlantingEvent.objects.for_farm(cast.farm).get()
    gone = client.post(f"{HOME}planting-events/{event.pk}/withdraw/", {"reason": "wrong block"}, follow=True)
    assert "The entry is withdrawn." in text(gone)
    edited = client.get(address + "edit/").context["form"].initial
    sent = {name: value for name, value in edited.items() if value is not None} | {"note": "by the creek"}
    client.post(address + "edit/", sent)
    row.refresh_from_db()
    assert (row.note, row.sown_on, row.harvest_from) == ("by the creek", None, day(90))
    off = client.post(address + "call-off/", follow=True)
    assert "Winter squash is taken off the calendar." in text(off)


@pytest.mark.parametrize(
    ("role", "kinds"),
    [
        (
            "manager",
            ["sown", "emerged", "bloom_start", "bloom_end", "terminated", "harvest_start", "harvest_end"],
        ),
        ("staff", ["emerged", "bloom_start"]),
    ],
)
def test_only_the_events_one_may_record_are_offered(cast, browser_client, role, kinds):
    row = PlantingFactory(farm=cast.farm)
    form = browser_client(cast.by_role(role)).get(f"{HOME}plantings/{row.pk}/").context["form"]
    assert [code for code, _ in form.fields["kind"].choices] == ["", *kinds]  # nothing is chosen beforehand


def test_a_known_crop_brings_its_code_and_family_and_an_own_crop_its_own(cast, browser_client):
    client = browser_client(cast.manager)
    client.post(HOME + "crops/", {"known": "muskmelon", "days_to_first_flower": "35"})
    own = {"known": "", "name": "Luffa", "code": "luffa", "family": "cucurbitaceae", "days_to_first_flower": ""}
    client.post(HOME + "crops/", own)
    found = (
        Crop.objects.for_farm(cast.farm).order_by("code").values_list("code", "name", "family", "days_to_first_flower")
    )
    assert list(found) == [
        ("luffa", "Luffa", "cucurbitaceae", None),
        ("muskmelon", "Muskmelon", "cucurbitaceae", 35),
    ]
    empty = client.post(HOME + "crops/", {"known": ""})
    assert (empty.status_code, "Enter the name of the crop." in text(empty)) == (400, True)


def test_a_crop_is_changed_and_given_a_variety(cast, browser_client):
    row, client = CropFactory(farm=cast.farm), browser_client(cast.manager)
    address = f"{HOME}crops/{row.pk}/"
    client.post(address, {"name": "Kabocha", "days_to_first_flower": "38", "version": 1})
    page = text(client.post(address + "varieties/new/", {"name": "Grey Lantern"}, follow=True))
    row.refresh_from_db()
    assert (row.name, row.days_to_first_flower, "Grey Lantern" in page) == ("Kabocha", 38, True)


def test_pages_speak_spanish_with_worded_days(cast, browser_client, day):
    row = PlantingFactory(farm=cast.farm, sown_on=day(-60))
    Person.objects.filter(pk=cast.staff.person_id).update(language="es")
    page = text(browser_client(cast.staff).get(f"{HOME}blocks/{row.block_id}/"))
    assert 'lang="es-US"' in page
    assert wording.date(day(-60), "es") in page


@pytest.mark.parametrize("role", ["applicator", "staff"])
def test_the_wrong_role_is_told_who_may(cast, browser_client, role):
    row, client = PlantingFactory(farm=cast.farm), browser_client(cast.by_role(role))
    for address in (f"blocks/{row.block_id}/plant/", f"plantings/{row.pk}/edit/", f"crops/{row.crop_id}/"):
        answer = client.get(HOME + address)
        assert (answer.status_code, "This needs one of: manager." in text(answer)) == (403, True)
    assert client.post(HOME + "crops/", {"known": "okra"}).status_code == 403
    assert Crop.objects.for_farm(cast.farm).filter(code="okra").count() == 0


def test_another_farms_things_are_not_found(cast, browser_client, day):
    theirs = PlantingFactory(farm=cast.other_farm, block__name="Theirs", sown_on=day(-3))
    note = ScoutingNoteFactory(block=theirs.block)
    event = PlantingEventFactory(planting=theirs, kind="emerged", on=day(-1))
    client = browser_client(cast.manager)
    for address in (
        f"blocks/{theirs.block_id}/",
        f"blocks/{theirs.block_id}/scout/",
        f"blocks/{theirs.block_id}/plant/",
        f"plantings/{theirs.pk}/",
        f"plantings/{theirs.pk}/edit/",
        f"planting-events/{event.pk}/withdraw/",
        f"scouting/{note.pk}/withdraw/",
        f"crops/{theirs.crop_id}/",
    ):
        answer = client.get(HOME + address)
        assert (answer.status_code, "Theirs" in text(answer)) == (404, False)
