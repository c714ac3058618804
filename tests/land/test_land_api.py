"""The ground over HTTP: whole walks, exact answers."""

from __future__ import annotations

import json
from decimal import Decimal

import pytest

from apps.land.models import Block
from tests.factories.land import BlockFactory, FieldFactory, SensitivePlaceFactory, plot, square
from tests.land.shapes import SQUARE_10, point, polygon

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("only_land")]
HOME = "/api/v1/farms/alder-bend/"


def test_a_field_and_its_block_from_nothing(cast, api):
    client = api(cast.manager)
    field = client.post(HOME + "fields/", {"name": "River"}, format="json")
    assert (field.status_code, field.json()) == (
        201,
        {"id": field.json()["id"], "name": "River", "note": "", "version": 1},
    )
    asked = {"field_id": field.json()["id"], "name": "North", "code": "R1", "polygon": polygon(SQUARE_10[::-1])}
    made = client.post(HOME + "blocks/", {**asked, "planted_acres": 8}, format="json")
    assert (made.status_code, made["ETag"]) == (201, '"v1"')
    body = made.json()
    assert (body["polygon"], body["mapped_acres"], body["planted_acres"], body["planted_stated"]) == (
        polygon(SQUARE_10),
        "10.000137",
        "8.0000",
        True,
    )
    assert [n["code"] for n in body["notes"]] == ["winding_rewritten", "planted_acres_differ"]
    read = client.get(f"{HOME}blocks/{body['id']}/").json()
    assert read["acres_note"]["sentence"] == (
        "Planted acres (8 ac) and mapped acres (10 ac) differ by 20 %. Check the outline and the figure."
    )
    edit = client.patch(
        f"{HOME}blocks/{body['id']}/", {"planted_acres": None}, format="json", headers={"If-Match": made["ETag"]}
    )
    assert (edit["ETag"], edit.json()["planted_acres"], edit.json()["planted_stated"]) == ('"v2"', "10.0001", False)


def test_a_bow_tie_is_refused_at_the_field_and_nothing_is_written(cast, api):
    field = FieldFactory(farm=cast.farm)
    bow_tie = polygon([[-86.25, 40.25], [-86.248, 40.252], [-86.248, 40.25], [-86.25, 40.252], [-86.25, 40.25]])
    answer = api(cast.manager).post(
        HOME + "blocks/", {"field_id": field.pk, "name": "x", "code": "x", "polygon": bow_tie}, format="json"
    )
    assert (answer.status_code, answer["Content-Type"]) == (400, "application/problem+json")
    assert answer.json()["errors"] == {
        "polygon": [
            "The outline crosses itself near longitude -86.24900, latitude 40.25100. "
            "Draw it again without crossing lines."
        ]
    }
    assert Block.objects.for_farm(cast.farm).count() == 0


def test_shared_ground_is_a_refusal_with_its_finding(cast, api):
    there = BlockFactory(farm=cast.farm, code="OLD", polygon=polygon(SQUARE_10))
    asked = {"field_id": there.field_id, "name": "x", "code": "x", "polygon": polygon(SQUARE_10)}
    answer = api(cast.manager).post(HOME + "blocks/", asked, format="json")
    assert (answer.status_code, [f["code"] for f in answer.json()["findings"]]) == (409, ["ground_shared"])


def test_an_edit_without_or_with_an_old_version_changes_nothing(cast, api):
    block, client = BlockFactory(farm=cast.farm, name="Old name"), api(cast.manager)
    address = f"{HOME}blocks/{block.pk}/"
    assert client.patch(address, {"name": "x"}, format="json").status_code == 428
    assert client.patch(address, {"name": "x"}, format="json", headers={"If-Match": "v9"}).status_code == 412
    assert client.get(address).json()["name"] == "Old name"


def test_lists_are_filtered_and_hold_only_ones_own(cast, api):
    first, second = BlockFactory(farm=cast.farm, code="A1"), BlockFactory(farm=cast.farm, code="B2")
    client = api(cast.manager)
    client.post(f"{HOME}blocks/{second.pk}/archive/")
    BlockFactory(farm=cast.other_farm, code="A1")

    def found(query: str) -> list[int]:
        return [row["id"] for row in client.get(f"{HOME}blocks/?{query}").json()["results"]]

    assert found("") == [second.pk, first.pk]
    assert found("archived=false") == [first.pk]
    assert found("archived=true") == [second.pk]
    assert found("code=a1") == [first.pk]
    assert found(f"field={second.field_id}") == [second.pk]
    assert client.get(HOME + "blocks/?archivd=1").json()["errors"] == {
        "archivd": ["Not a filter here. Use: archived, code, field, page_size."]
    }


def test_fields_are_read_listed_and_renamed(cast, api):
    row, client = FieldFactory(farm=cast.farm, name="River"), api(cast.manager)
    FieldFactory(farm=cast.other_farm)
    shown = {"id": row.pk, "name": "River", "note": "", "version": 1}
    address = f"{HOME}fields/{row.pk}/"
    assert client.get(address).json() == shown
    assert client.get(HOME + "fields/").json()["results"] == [shown]
    saved = client.patch(address, {"note": "wet in May"}, format="json", headers={"If-Match": "v1"})
    assert saved.json() == {**shown, "note": "wet in May", "version": 2}


def test_archive_and_restore(cast, api):
    block, client = BlockFactory(farm=cast.farm), api(cast.manager)
    gone = client.post(f"{HOME}blocks/{block.pk}/archive/")
    assert (gone.status_code, gone.json()["archived_at"] is None) == (200, False)
    again = client.post(f"{HOME}blocks/{block.pk}/archive/")
    assert (again.status_code, again.json()["findings"][0]["code"]) == (409, "block_archived")
    back = client.post(f"{HOME}blocks/{block.pk}/restore/")
    assert (back.json()["archived_at"], back.json()["version"]) == (None, 3)


def test_surroundings_within_the_feet_asked_for(cast, api):
    block = BlockFactory(farm=cast.farm, code="ME", polygon=square(-86.25, 40.25))
    other = BlockFactory(farm=cast.farm, code="N", name="Next", polygon=square(-86.2475, 40.25))
    SensitivePlaceFactory(farm=cast.farm, kind="well", name="Well", geometry=point(-86.249, 40.251))
    client = api(cast.staff)
    near = client.get(f"{HOME}blocks/{block.pk}/surroundings/?within_ft=200").json()
    assert near == {
        "within_ft": 200,
        "neighbours": [{"id": other.pk, "code": "N", "name": "Next"}],
        "sensitive": [{"kind": "well", "name": "Well", "distance_ft": "0.0"}],
    }
    assert client.get(f"{HOME}blocks/{block.pk}/surroundings/?within_ft=100").json()["neighbours"] == []


@pytest.mark.parametrize(
    ("query", "errors"),
    [
        ("within_ft=-1", {"within_ft": ["Must be 0 or more."]}),
        ("within_ft=1.5", {"within_ft": ["Must be whole feet."]}),
        ("within_ft=30000", {"within_ft": ["Must be 26400 or less."]}),
        ("within_ft=near", {"within_ft": ["“near” must be a number, like 1.5."]}),
        ("feet=3", {"feet": ["Not a filter here. Use: within_ft."]}),
    ],
)
def test_surroundings_refuse_what_they_do_not_know(cast, api, query, errors):
    block = BlockFactory(farm=cast.farm)
    assert api(cast.staff).get(f"{HOME}blocks/{block.pk}/surroundings/?{query}").json()["errors"] == errors


def test_a_sensitive_place_from_adding_to_removal(cast, api):
    client = api(cast.manager)
    asked = {"kind": "hives", "name": "Lindholm's hives", "geometry": point(-86.25, 40.26)}
    made = client.post(HOME + "sensitive-places/", asked, format="json")
    assert (made.status_code, made.json()["notes"], made.json()["geometry"]) == (201, [], asked["geometry"])
    address = f"{HOME}sensitive-places/{made.json()['id']}/"
    edit = client.patch(address, {"note": "call ahead"}, format="json", headers={"If-Match": "v1"})
    assert (edit.json()["note"], edit["ETag"]) == ("call ahead", '"v2"')
    assert client.get(HOME + "sensitive-places/?kind=water").json()["results"] == []
    assert len(client.get(HOME + "sensitive-places/?kind=hives").json()["results"]) == 1
    assert client.post(address + "remove/").json()["removed_at"] is not None
    assert client.get(address).status_code == 404


def test_the_map_goes_out_and_comes_in_on_another_farm(cast, api):
    field = FieldFactory(farm=cast.farm, name="River")
    BlockFactory(farm=cast.farm, field=field, code="R1", name="North", polygon=plot(5), planted_stated=True)
    SensitivePlaceFactory(farm=cast.farm, name="Hives", geometry=point(-86.25, 40.26))
    out = api(cast.staff).get(HOME + "map/")
    assert out["Content-Type"] == "application/geo+json"
    document = json.loads(out.content)
    there = "/api/v1/farms/far-side/map/"
    client = api(cast.neighbour)
    checked = client.post(there + "import/", {"document": document, "only_check": True}, format="json")
    assert (checked.status_code, checked.json()) == (
        200,
        {"fields_made": 1, "blocks": 1, "places": 1, "notes": [], "only_checked": True},
    )
    assert json.loads(client.get(there).content)["features"] == []
    done = client.post(there + "import/", {"document": document}, format="json")
    assert (done.status_code, done.json()["only_checked"]) == (201, False)
    assert json.loads(client.get(there).content) == document


def test_a_map_with_faults_names_every_feature(cast, api):
    features = [{"type": "Feature", "geometry": None, "properties": {"field": "A", "name": "a", "code": "a"}}, 7]
    answer = api(cast.manager).post(
        HOME + "map/import/", {"document": {"type": "FeatureCollection", "features": features}}, format="json"
    )
    assert answer.json()["errors"] == {
        "features[0].polygon": ["Must be a GeoJSON object with a type and coordinates."],
        "features[1]": ["Must be a GeoJSON Feature."],
    }


def test_another_farms_block_is_not_found_by_any_door(cast, api):
    theirs = BlockFactory(farm=cast.other_farm, name="Theirs", planted_acres=Decimal(5))
    client = api(cast.manager)
    for answer in (
        client.get(f"{HOME}blocks/{theirs.pk}/"),
        client.patch(f"{HOME}blocks/{theirs.pk}/", {"name": "x"}, format="json", headers={"If-Match": "v1"}),
        client.post(f"{HOME}blocks/{theirs.pk}/archive/"),
        client.get(f"{HOME}blocks/{theirs.pk}/surroundings/"),
        client.post(
            HOME + "blocks/",
            {"field_id": theirs.field_id, "name": "x", "code": "x", "polygon": plot(50)},
            format="json",
        ),
    ):
        assert (answer.status_code, answer.json()["title"]) == (404, "Not found")
        assert "Theirs" not in answer.content.decode()
    theirs.refresh_from_db()
    assert (theirs.name, theirs.archived_at) == ("Theirs", None)


@pytest.mark.parametrize("role", ["applicator", "staff"])
def test_the_wrong_role_is_told_who_may(cast, api, role):
    block, client = BlockFactory(farm=cast.farm), api(cast.by_role(role))
    for answer in (
        client.post(HOME + "fields/", {"name": "x"}, format="json"),
        client.patch(f"{HOME}blocks/{block.pk}/", {"name": "x"}, format="json", headers={"If-Match": "v1"}),
        client.post(f"{HOME}blocks/{block.pk}/archive/"),
        client.post(HOME + "map/import/", {}, format="json"),
    ):
        assert (answer.status_code, answer.json()["detail"]) == (403, "This needs one of: manager.")
    assert client.get(f"{HOME}blocks/{block.pk}/").json()["code"] == block.code


def test_the_same_block_sent_twice_is_added_once(cast, api):
    field, client = FieldFactory(farm=cast.farm), api(cast.manager)
    asked = {"field_id": field.pk, "name": "North", "code": "R1", "polygon": polygon(SQUARE_10)}
    sent = [
        client.post(HOME + "blocks/", asked, format="json", headers={"Idempotency-Key": "add-r1-once"})
        for _ in range(2)
    ]
    assert sent[0].json() == sent[1].json()
    assert Block.objects.for_farm(cast.farm).count() == 1
