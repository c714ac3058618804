"""Crops, plantings and scouting over HTTP."""

from __future__ import annotations

from datetime import timedelta

import pytest

from apps.crops.models import ScoutingNote
from apps.crops.queries import today
from farmops import clock
from tests.factories.crops import CropFactory, PlantingFactory, ScoutingNoteFactory
from tests.factories.land import BlockFactory

pytestmark = pytest.mark.django_db
HOME = "/api/v1/farms/alder-bend/"


@pytest.fixture
def day(cast):
    """The farm's today, shifted by some days, as ISO text."""
    now = today(cast.farm, clock.now())
    return lambda shift=0: (now + timedelta(days=shift)).isoformat()


def test_a_block_from_bare_ground_through_cover_to_cash_crop(cast, api, day):
    client, block = api(cast.manager), BlockFactory(farm=cast.farm)

    def send(path, **body):
        answer = client.post(HOME + path, body, format="json")
        assert answer.status_code == 201, answer.content
        return answer.json()

    vetch = send("crops/", code="hairy_vetch", name="Hairy vetch", family="legumes")
    squash = send("crops/", code="winter_squash", name="Winter squash", family="cucurbits", days_to_first_flower=40)
    assert (vetch["family"], squash["family"]) == ("fabaceae", "cucurbitaceae")
    variety = send("varieties/", crop_id=squash["id"], name="Harvest Lantern")
    cover = send(
        "plantings/", block_id=block.pk, crop_id=vetch["id"], purpose="cover", planned_on=day(-200),
        first_flower_on=day(-10),
    )  # fmt: skip
    send(f"plantings/{cover['id']}/events/", kind="sown", on=day(-200))
    send("scouting/", block_id=block.pk, looked_on=day(-21), crop_in_bloom="no", weeds_in_bloom="no")
    send(f"plantings/{cover['id']}/events/", kind="terminated", on=day(-20))
    cash = send(
        "plantings/", block_id=block.pk, crop_id=squash["id"], variety_id=variety["id"], purpose="cash",
        planned_on=day(-5), harvest_from=day(90), harvest_to=day(120),
    )  # fmt: skip
    send(f"plantings/{cash['id']}/events/", kind="sown", on=day(-3), note="late")
    on_block = client.get(f"{HOME}blocks/{block.pk}/crop/").json()
    assert (on_block["site_code"], on_block["planted_on"], on_block["bloom"], on_block["harvest_from"]) == (
        "winter_squash",
        day(-3),
        "no",
        day(90),
    )
    assert [n["code"] for n in on_block["bloom_because"]] == ["before_first_flower", "weeds_not_in_bloom"]
    assert [(s["crop_name"], s["purpose"], s["starts_on"], s["ended"]) for s in on_block["sequence"]] == [
        ("Hairy vetch", "cover", day(-200), True),
        ("Winter squash", "cash", day(-3), False),
    ]
    before = client.get(f"{HOME}blocks/{block.pk}/crop/?on={day(-30)}").json()
    assert (before["site_code"], before["is_cover"], before["next_crops"]) == (
        "fallow_cover",
        True,
        [{"site_code": "winter_squash", "planted_on": day(-3), "harvested": True}],
    )


def test_known_crops_are_offered(cast, api):
    offered = {row["code"]: row for row in api(cast.staff).get(HOME + "known-crops/").json()}
    assert offered["muskmelon"] == {"code": "muskmelon", "name": "Muskmelon", "family": "cucurbitaceae"}


def test_a_wrong_family_names_the_field(cast, api):
    asked = {"code": "pumpkin", "name": "Pumpkin", "family": "nightshades"}
    answer = api(cast.manager).post(HOME + "crops/", asked, format="json")
    assert (answer.status_code, list(answer.json()["errors"])) == (400, ["family"])


def test_crops_and_varieties_are_read_and_changed(cast, api):
    row, client = CropFactory(farm=cast.farm), api(cast.manager)
    address = f"{HOME}crops/{row.pk}/"
    assert client.get(address).json() == {
        "id": row.pk,
        "code": "winter_squash",
        "name": "Winter squash",
        "family": "cucurbitaceae",
        "days_to_first_flower": 40,
        "version": 1,
    }
    saved = client.patch(address, {"days_to_first_flower": None}, format="json", headers={"If-Match": "v1"})
    assert (saved["ETag"], saved.json()["days_to_first_flower"]) == ('"v2"', None)
    made = client.post(HOME + "varieties/", {"crop_id": row.pk, "name": "Grey Lantern"}, format="json").json()
    assert client.get(f"{HOME}varieties/?crop={row.pk}").json()["results"] == [made]
    assert (made["crop_code"], client.get(HOME + "varieties/?crop=0").json()["results"]) == ("winter_squash", [])


def test_a_planting_is_changed_with_its_version_and_called_off(cast, api, day):
    row, client = PlantingFactory(farm=cast.farm), api(cast.manager)
    address = f"{HOME}plantings/{row.pk}/"
    assert client.patch(address, {"note": "x"}, format="json").status_code == 428
    saved = client.patch(address, {"note": "x", "harvest_from": day(500)}, format="json", headers={"If-Match": "v1"})
    assert (saved["ETag"], saved.json()["note"], saved.json()["harvest_from"]) == ('"v2"', "x", day(500))
    assert client.post(address + "call-off/").json()["called_off_at"] is not None
    assert client.get(address).status_code == 404


def test_an_event_is_recorded_and_withdrawn_with_a_reason(cast, api, day):
    row, client = PlantingFactory(farm=cast.farm), api(cast.manager)
    made = client.post(f"{HOME}plantings/{row.pk}/events/", {"kind": "sown", "on": day(-1)}, format="json")
    assert (made.status_code, made.json()["recorded_by"]) == (201, "Ines Prado")
    withdraw = f"{HOME}planting-events/{made.json()['id']}/withdraw/"
    assert client.post(withdraw, {}, format="json").json()["errors"] == {"reason": ["This field is required."]}
    gone = client.post(withdraw, {"reason": "wrong block"}, format="json")
    assert gone.json()["withdrawn_at"] is not None
    assert client.get(f"{HOME}plantings/{row.pk}/").json()["events"] == []


def test_a_contradiction_is_a_refusal_with_all_reasons(cast, api, day):
    row = PlantingFactory(farm=cast.farm)
    answer = api(cast.manager).post(
        f"{HOME}plantings/{row.pk}/events/", {"kind": "terminated", "on": day()}, format="json"
    )
    assert (answer.status_code, [f["code"] for f in answer.json()["findings"]]) == (409, ["not_sown"])


def test_staff_write_down_looks_but_do_not_end_bloom(cast, api, day):
    row, client = PlantingFactory(farm=cast.farm, sown_on=today(cast.farm, clock.now())), api(cast.staff)
    look = {"block_id": row.block_id, "looked_on": day(), "crop_in_bloom": "yes"}
    made = client.post(HOME + "scouting/", look, format="json")
    assert (made.status_code, made.json()["weeds_in_bloom"]) == (201, "not_looked")
    assert client.get(f"{HOME}blocks/{row.block_id}/crop/").json()["bloom"] == "yes"
    events = f"{HOME}plantings/{row.pk}/events/"
    assert client.post(events, {"kind": "bloom_end", "on": day()}, format="json").status_code == 403
    started = client.post(events, {"kind": "bloom_start", "on": day()}, format="json")
    assert (started.status_code, started.json()["kind"]) == (201, "bloom_start")
    gone = client.post(f"{HOME}scouting/{made.json()['id']}/withdraw/", {"reason": "other block"}, format="json")
    assert gone.json()["withdrawn_at"] is not None


def test_a_look_without_anything_seen_is_not_kept(cast, api, day):
    block = BlockFactory(farm=cast.farm)
    answer = api(cast.staff).post(HOME + "scouting/", {"block_id": block.pk, "looked_on": day(1)}, format="json")
    assert answer.json()["errors"] == {"looked_on": ["The day must be today or earlier."]}
    assert ScoutingNote.objects.for_farm(cast.farm).count() == 0


def test_lists_are_filtered_and_hold_only_ones_own(cast, api):
    first = PlantingFactory(farm=cast.farm, sown_on=today(cast.farm, clock.now()))
    second = PlantingFactory(farm=cast.farm, purpose="cover")
    PlantingFactory(farm=cast.other_farm)
    CropFactory(farm=cast.farm, code="okra", name="Okra", family="malvaceae")
    ScoutingNoteFactory(block=first.block)
    ScoutingNoteFactory(block=BlockFactory(farm=cast.other_farm))
    client = api(cast.manager)

    def found(path: str) -> list[int]:
        return [row["id"] for row in client.get(HOME + path).json()["results"]]

    assert found("plantings/") == [second.pk, first.pk]
    assert found("plantings/?sown=true") == [first.pk]
    assert found("plantings/?purpose=cover&sown=false") == [second.pk]
    assert found(f"plantings/?block={first.block_id}") == [first.pk]
    assert found("crops/?code=winter_squash") == [first.crop_id]
    assert len(found("scouting/")) == 1
    assert client.get(HOME + "plantings/?purpos=cover").status_code == 400


@pytest.mark.parametrize("query", ["on=tomorrow", "on=2026-13-01", "date=2026-06-01"])
def test_the_crop_on_a_block_refuses_what_it_does_not_know(cast, api, query):
    block = BlockFactory(farm=cast.farm)
    answer = api(cast.staff).get(f"{HOME}blocks/{block.pk}/crop/?{query}")
    assert (answer.status_code, list(answer.json()["errors"])) == (400, [query.split("=")[0]])


def test_another_farms_things_are_not_found_by_any_door(cast, api, day):
    theirs = PlantingFactory(farm=cast.other_farm, sown_on=today(cast.other_farm, clock.now()))
    note = ScoutingNoteFactory(block=theirs.block)
    mine = BlockFactory(farm=cast.farm)
    client, json = api(cast.manager), {"format": "json"}
    plan = {"block_id": mine.pk, "crop_id": theirs.crop_id, "purpose": "cash", "planned_on": day()}
    for answer in (
        client.get(f"{HOME}plantings/{theirs.pk}/"),
        client.post(f"{HOME}plantings/{theirs.pk}/events/", {"kind": "emerged", "on": day()}, **json),
        client.post(f"{HOME}planting-events/{theirs.events.get().pk}/withdraw/", {"reason": "x"}, **json),
        client.post(f"{HOME}scouting/{note.pk}/withdraw/", {"reason": "x"}, **json),
        client.post(HOME + "scouting/", {"block_id": theirs.block_id, "looked_on": day(), "text": "x"}, **json),
        client.post(HOME + "plantings/", plan, **json),
        client.get(f"{HOME}blocks/{theirs.block_id}/crop/"),
        client.get(f"{HOME}crops/{theirs.crop_id}/"),
    ):
        assert (answer.status_code, answer.json()["title"]) == (404, "Not found")


@pytest.mark.parametrize("role", ["applicator", "staff"])
def test_the_wrong_role_is_told_who_may(cast, api, role):
    row, client = PlantingFactory(farm=cast.farm), api(cast.by_role(role))
    for answer in (
        client.post(HOME + "crops/", {}, format="json"),
        client.post(HOME + "varieties/", {}, format="json"),
        client.post(HOME + "plantings/", {}, format="json"),
        client.patch(f"{HOME}plantings/{row.pk}/", {}, format="json", headers={"If-Match": "v1"}),
        client.post(f"{HOME}plantings/{row.pk}/call-off/"),
    ):
        assert (answer.status_code, answer.json()["detail"]) == (403, "This needs one of: manager.")
