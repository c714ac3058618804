"""Pages that change the ground: as a manager fills them in, without scripts."""

from __future__ import annotations

import json

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from apps.land import queries
from apps.land.models import Block, Field, SensitivePlace
from tests.factories.land import BlockFactory, FieldFactory, SensitivePlaceFactory, plot
from tests.land.shapes import SQUARE_10, point, polygon

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("only_land")]
HOME = "/f/alder-bend/"
CORNERS = "40.25, -86.25\n40.25, -86.2476356\n40.2518117, -86.2476355\n40.2518117, -86.25"


def text(answer) -> str:
    return answer.content.decode()


def test_a_field_then_its_block_from_corners_walked_with_a_phone(cast, browser_client):
    client = browser_client(cast.manager)
    added = client.post(HOME + "fields/new/", {"name": "River", "note": ""})
    field = Field.objects.for_farm(cast.farm).get()
    assert added["Location"] == f"{HOME}fields/{field.pk}/blocks/new/"
    form = {"name": "North half", "code": "R1", "planted_acres": "8", "polygon": CORNERS}
    answer = client.post(added["Location"], form, follow=True)
    block = Block.objects.for_farm(cast.farm).get()
    assert answer.redirect_chain == [(f"{HOME}blocks/{block.pk}/", 302)]
    assert (block.polygon, str(block.planted_acres)) == (polygon(SQUARE_10), "8.0000")
    for said in (
        "The block is added.",
        "Open ring closed with its first position (1).",
        "Planted acres (8 ac) and mapped acres (10 ac) differ by 20 %. Check the outline and the figure.",
    ):
        assert said in text(answer)


def test_a_bad_outline_comes_back_with_everything_typed(cast, browser_client):
    field = FieldFactory(farm=cast.farm)
    form = {"name": "North half", "code": "R1", "polygon": "40.25, -86.25\nby the oak\nby the well"}
    answer = browser_client(cast.manager).post(f"{HOME}fields/{field.pk}/blocks/new/", form)
    page = text(answer)
    assert answer.status_code == 400
    assert "<title>Error: Add a block</title>" in page
    assert "Line 2 must be latitude, then longitude, like 40.2501, -86.2498." in page
    assert 'value="North half"' in page
    assert "by the oak" in page
    assert Block.objects.for_farm(cast.farm).count() == 0


def test_a_block_is_changed_in_the_form_it_was_shown(cast, browser_client):
    block, client = BlockFactory(farm=cast.farm, planted_stated=True), browser_client(cast.manager)
    address = f"{HOME}blocks/{block.pk}/edit/"
    shown = client.get(address).context["form"].initial
    done = client.post(address, {**shown, "name": "New name"})
    block.refresh_from_db()
    assert (done["Location"], block.name, block.version) == (f"{HOME}blocks/{block.pk}/", "New name", 2)
    stale = client.post(address, {**shown, "name": "Older name"})
    assert (stale.status_code, "Somebody changed this since you opened it" in text(stale)) == (412, True)


def test_a_field_is_renamed(cast, browser_client):
    row, client = FieldFactory(farm=cast.farm, name="River"), browser_client(cast.manager)
    address = f"{HOME}fields/{row.pk}/edit/"
    done = client.post(address, {**client.get(address).context["form"].initial, "name": "Long river field"})
    row.refresh_from_db()
    assert (done["Location"], row.name, row.version) == (f"{HOME}fields/", "Long river field", 2)


def test_ground_that_is_taken_stays_on_the_page_as_a_finding(cast, browser_client):
    there = BlockFactory(farm=cast.farm, code="OLD", polygon=polygon(SQUARE_10))
    form = {"name": "x", "code": "R1", "polygon": CORNERS}
    answer = browser_client(cast.manager).post(f"{HOME}fields/{there.field_id}/blocks/new/", form)
    assert (answer.status_code, "Covers 10 ac of block OLD." in text(answer)) == (409, True)


def test_archive_and_restore_by_button(cast, browser_client):
    block, client = BlockFactory(farm=cast.farm, code="R1"), browser_client(cast.manager)
    assert "Block R1 is archived." in text(client.post(f"{HOME}blocks/{block.pk}/archive/", follow=True))
    assert list(queries.blocks(cast.farm)) == []
    assert "Block R1 is back in use." in text(client.post(f"{HOME}blocks/{block.pk}/restore/", follow=True))
    assert list(queries.blocks(cast.farm)) == [block]


def test_places_are_added_changed_and_taken_away(cast, browser_client):
    client = browser_client(cast.manager)
    form = {"kind": "hives", "name": "Lindholm's hives", "geometry": "40.26, -86.25", "note": ""}
    client.post(HOME + "places/", form)
    row = SensitivePlace.objects.for_farm(cast.farm).get()
    assert (row.kind, row.geometry) == ("hives", point(-86.25, 40.26))
    address = f"{HOME}places/{row.pk}/"
    client.post(address, {**client.get(address).context["form"].initial, "note": "call ahead"})
    row.refresh_from_db()
    assert (row.note, row.version) == ("call ahead", 2)
    assert "no longer counts" in text(client.post(address + "remove/", follow=True))
    assert list(queries.sensitive_places(cast.farm)) == []


def test_staff_see_the_places_but_no_form(cast, browser_client):
    SensitivePlaceFactory(farm=cast.farm, name="Old well", kind="well")
    page = text(browser_client(cast.staff).get(HOME + "places/"))
    assert ("Old well" in page, "Add the place" in page, "No longer there" in page) == (True, False, False)


def test_an_empty_list_of_places_promises_nothing(cast, browser_client):
    page = text(browser_client(cast.staff).get(HOME + "places/"))
    assert "No place has been entered. That does not mean there is none." in page


def a_file(document: object) -> SimpleUploadedFile:
    body = document if isinstance(document, bytes) else json.dumps(document).encode()
    return SimpleUploadedFile("farm.geojson", body, content_type="application/geo+json")


def test_the_map_comes_in_from_a_file_and_goes_out_again(cast, browser_client):
    feature = {
        "type": "Feature",
        "geometry": plot(3),
        "properties": {"kind": "block", "field": "River", "name": "North", "code": "R1"},
    }
    document = {"type": "FeatureCollection", "features": [feature]}
    client = browser_client(cast.manager)
    checked = client.post(HOME + "map/", {"document": a_file(document), "only_check": "on"}, follow=True)
    assert "Checked, nothing written: 1 block, 0 places." in text(checked)
    assert Block.objects.for_farm(cast.farm).count() == 0
    with_mark = a_file(b"\xef\xbb\xbf" + json.dumps(document).encode())  # a byte-order mark does no harm
    assert "Brought in: 1 block, 0 places." in text(client.post(HOME + "map/", {"document": with_mark}, follow=True))
    out = client.get(HOME + "map/farm.geojson")
    assert out["Content-Disposition"] == 'attachment; filename="alder-bend.geojson"'
    (back,) = json.loads(out.content)["features"]
    assert (back["geometry"], back["properties"]["code"]) == (plot(3), "R1")


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (b"\xff\xfe\x00", "The file must be text in UTF-8."),
        (b"{", "Must be GeoJSON text"),
        (b"[]", "The file must be a GeoJSON FeatureCollection."),
        (b" " * 2_000_001, "The file must be 2 MB or smaller."),
    ],
    ids=["not text", "not JSON", "not a collection", "too big"],
)
def test_files_that_cannot_be_used(cast, browser_client, body, said):
    answer = browser_client(cast.manager).post(HOME + "map/", {"document": a_file(body)})
    assert (answer.status_code, said in text(answer)) == (400, True)


@pytest.mark.parametrize("role", ["applicator", "staff"])
def test_the_wrong_role_is_told_who_may(cast, browser_client, role):
    block, client = BlockFactory(farm=cast.farm), browser_client(cast.by_role(role))
    for address in (
        "fields/new/",
        f"fields/{block.field_id}/edit/",
        f"fields/{block.field_id}/blocks/new/",
        f"blocks/{block.pk}/edit/",
        "map/",
    ):
        answer = client.get(HOME + address)
        assert (answer.status_code, "This needs one of: manager." in text(answer)) == (403, True)
    assert client.post(f"{HOME}blocks/{block.pk}/archive/").status_code == 403
    assert list(queries.blocks(cast.farm)) == [block]


def test_another_farms_block_is_not_found(cast, browser_client):
    theirs = BlockFactory(farm=cast.other_farm, name="Theirs")
    client = browser_client(cast.manager)
    for answer in (
        client.get(f"{HOME}blocks/{theirs.pk}/edit/"),
        client.get(f"{HOME}fields/{theirs.field_id}/blocks/new/"),
        client.post(f"{HOME}blocks/{theirs.pk}/archive/"),
    ):
        assert (answer.status_code, "Theirs" in text(answer)) == (404, False)


def test_a_form_sent_twice_acts_once(cast, browser_client):
    client = browser_client(cast.manager)
    form = {"name": "River", "note": "", "once_key": "0123456789abcdef"}
    places = [client.post(HOME + "fields/new/", form)["Location"] for _ in range(2)]
    assert places[0] == places[1]
    assert Field.objects.for_farm(cast.farm).count() == 1
