"""What a manager does with the ground: written, refused, audited, all or nothing."""

from __future__ import annotations

from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import pytest

from apps.audit.models import AuditEvent
from apps.land import map_import, queries, services
from apps.land.models import Block, Field, SensitivePlace
from apps.land.rules import write_farm_file
from farmops.errors import BadInput, Finding, NotYourRole, Refused, Severity, Stale, Unknown
from tests.factories.land import BlockFactory, FieldFactory, SensitivePlaceFactory, plot, square
from tests.land.shapes import SQUARE_10, SQUARE_40, point, polygon

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("only_land")]
NOW = datetime(2026, 6, 3, 14, 30, tzinfo=UTC)


def codes(findings: list[Finding]) -> list[str]:
    return [f.code for f in findings]


def a_block(cast: Any, **more: Any) -> tuple[Block, list[Finding]]:
    field_id = more.pop("field_id", None) or FieldFactory(farm=cast.farm).pk
    asked = {"name": "North half", "code": "R1", "polygon": polygon(SQUARE_10), "planted_acres": "9.5"} | more
    return services.add_block(member=cast.manager, field_id=field_id, now=NOW, **asked)


def test_a_block_is_written_with_its_acres_and_corners(cast):
    row, notes = a_block(cast)
    row.refresh_from_db()
    assert (row.code, row.mapped_acres, row.planted_acres, row.planted_stated) == (
        "R1",
        Decimal("10.000137"),
        Decimal("9.5000"),
        True,
    )
    assert (row.min_lon, row.min_lat, row.max_lon, row.max_lat) == (-86.25, 40.25, -86.2476355, 40.2518117)
    assert row.polygon == polygon(SQUARE_10)
    assert notes == []


def test_adding_is_audited_with_who_and_what(cast):
    row, _ = a_block(cast)
    line = AuditEvent.objects.get(subject_type="land.block", subject_id=str(row.pk))
    assert (line.actor_name, line.verb, line.subject_name) == ("Ines Prado", "added", "R1 North half")
    assert (line.after["code"], line.after["planted_acres"]) == ("R1", "9.5000")


def test_repairs_and_differing_acres_come_back_as_notes(cast):
    _row, notes = a_block(cast, polygon=polygon(SQUARE_10[::-1]), planted_acres="8")
    assert codes(notes) == ["winding_rewritten", "planted_acres_differ"]


def test_acres_not_stated_follow_the_map_until_they_are(cast):
    row, notes = a_block(cast, planted_acres=None)
    assert (row.planted_acres, row.planted_stated, notes) == (Decimal("10.0001"), False, [])
    wider = {"polygon": polygon(SQUARE_40)}
    row, _ = services.edit_block(member=cast.manager, block_id=row.pk, expected_version=1, changes=wider, now=NOW)
    assert (row.planted_acres, row.planted_stated) == (Decimal("40.0004"), False)
    stated = {"planted_acres": "38"}
    row, _ = services.edit_block(member=cast.manager, block_id=row.pk, expected_version=2, changes=stated, now=NOW)
    assert (row.planted_acres, row.planted_stated) == (Decimal("38"), True)
    unstated = {"planted_acres": ""}
    row, _ = services.edit_block(member=cast.manager, block_id=row.pk, expected_version=3, changes=unstated, now=NOW)
    assert (row.planted_acres, row.planted_stated) == (Decimal("40.0004"), False)


def test_everything_wrong_with_a_block_is_said_at_once(cast):
    with pytest.raises(BadInput) as refused:
        a_block(cast, name=" ", code="x" * 13, polygon=polygon(SQUARE_10[:2]), planted_acres="1,5")
    assert refused.value.errors == {
        "polygon": ["Ring 1: needs at least four positions, the last equal to the first; it has 3."],
        "name": ["Enter the name of the block."],
        "code": ["Must be 12 characters or fewer."],
        "planted_acres": ["Use a point for decimals, like 1.5, and no thousands mark."],
    }
    assert Block.objects.for_farm(cast.farm).count() == 0


def test_a_swapped_outline_is_refused_because_the_farm_is_elsewhere(cast):
    with pytest.raises(BadInput) as refused:
        a_block(cast, polygon=polygon([[y, x] for x, y in SQUARE_10]))
    assert refused.value.errors["polygon"][0].startswith("Latitude and longitude look swapped")


def test_codes_are_one_block_each_whatever_the_case(cast):
    a_block(cast)
    with pytest.raises(BadInput) as refused:
        a_block(cast, code="r1", polygon=plot(30))
    assert refused.value.errors == {"code": ["Another block has this code; choose another."]}


def test_a_block_cannot_take_anothers_code_by_an_edit_but_may_keep_its_own(cast):
    BlockFactory(farm=cast.farm, code="R1")
    row = BlockFactory(farm=cast.farm, code="R2")
    with pytest.raises(BadInput) as refused:
        services.edit_block(
            member=cast.manager, block_id=row.pk, expected_version=1, changes={"code": "r1", "name": ""}, now=NOW
        )
    assert refused.value.errors == {
        "name": ["Enter the name of the block."],
        "code": ["Another block has this code; choose another."],
    }
    kept, _ = services.edit_block(
        member=cast.manager, block_id=row.pk, expected_version=1, changes={"code": "r2"}, now=NOW
    )
    assert kept.code == "r2"


def test_the_same_code_and_ground_on_another_farm_is_nobodys_business(cast):
    BlockFactory(farm=cast.other_farm, code="R1", polygon=polygon(SQUARE_10))
    assert a_block(cast)[0].code == "R1"


def test_ground_cannot_lie_in_two_blocks(cast):
    BlockFactory(farm=cast.farm, code="OLD", polygon=polygon(SQUARE_40))
    with pytest.raises(Refused) as refused:
        a_block(cast)
    assert [(f.code, f.subject, f.severity) for f in refused.value.findings] == [
        ("ground_shared", "OLD", Severity.REFUSE)
    ]
    assert Block.objects.for_farm(cast.farm).count() == 1


def test_a_sliver_along_the_edge_is_only_noted(cast):
    BlockFactory(farm=cast.farm, code="OLD", polygon=square(-86.2476456, 40.25))
    assert codes(a_block(cast)[1]) == ["edge_overlaps"]


def test_another_farms_field_is_unknown(cast):
    with pytest.raises(Unknown):
        a_block(cast, field_id=FieldFactory(farm=cast.other_farm).pk)


@pytest.mark.parametrize("role", ["applicator", "staff"])
def test_only_managers_change_the_ground(cast, role):
    member = cast.by_role(role)
    field, block = FieldFactory(farm=cast.farm), BlockFactory(farm=cast.farm)
    place = SensitivePlaceFactory(farm=cast.farm)
    tries = [
        lambda: services.add_field(member=member, name="x", now=NOW),
        lambda: services.edit_field(member=member, field_id=field.pk, expected_version=1, changes={}, now=NOW),
        lambda: services.add_block(
            member=member, field_id=field.pk, name="x", code="x", polygon=polygon(SQUARE_10), now=NOW
        ),
        lambda: services.edit_block(member=member, block_id=block.pk, expected_version=1, changes={}, now=NOW),
        lambda: services.archive_block(member=member, block_id=block.pk, now=NOW),
        lambda: services.restore_block(member=member, block_id=block.pk, now=NOW),
        lambda: services.add_place(member=member, kind="water", name="x", geometry=point(-86.25, 40.25), now=NOW),
        lambda: services.edit_place(member=member, place_id=place.pk, expected_version=1, changes={}, now=NOW),
        lambda: services.remove_place(member=member, place_id=place.pk, now=NOW),
        lambda: map_import.import_geojson(member=member, document={}, now=NOW),
    ]
    for attempt in tries:
        with pytest.raises(NotYourRole):
            attempt()
    assert AuditEvent.objects.filter(farm=cast.farm).count() == 0


def test_an_edit_needs_the_version_read(cast):
    row = BlockFactory(farm=cast.farm)
    with pytest.raises(Stale):
        services.edit_block(member=cast.manager, block_id=row.pk, expected_version=7, changes={"name": "New"}, now=NOW)
    row.refresh_from_db()
    assert (row.name, row.version) != ("New", 2)


def test_a_block_can_move_to_another_field(cast):
    row, other = BlockFactory(farm=cast.farm), FieldFactory(farm=cast.farm, name="Hill")
    saved, _ = services.edit_block(
        member=cast.manager, block_id=row.pk, expected_version=1, changes={"field_id": other.pk}, now=NOW
    )
    assert queries.block(cast.farm, row.pk).field.name == "Hill"
    assert saved.version == 2


def a_guard(block: Block, now: datetime) -> list[Finding]:
    return [
        Finding(code="closed", severity=Severity.REFUSE, template="{code} is closed.", numbers={"code": block.code})
    ]


def test_what_is_not_over_keeps_a_block_where_it_is(cast, settings):
    """Other subjects say so through BLOCK_GUARDS; here a guard of the test's own."""
    row = BlockFactory(farm=cast.farm, code="N1")
    settings.BLOCK_GUARDS = ["tests.land.test_land_services.a_guard"]
    with pytest.raises(Refused, match="N1 is closed"):
        services.archive_block(member=cast.manager, block_id=row.pk, now=NOW)
    moved = {"polygon": plot(77)}
    with pytest.raises(Refused, match="N1 is closed"):
        services.edit_block(member=cast.manager, block_id=row.pk, expected_version=1, changes=moved, now=NOW)
    renamed, _ = services.edit_block(
        member=cast.manager, block_id=row.pk, expected_version=1, changes={"name": "New name"}, now=NOW
    )
    assert (renamed.name, renamed.archived_at) == ("New name", None)


def test_archived_blocks_free_their_code_and_ground_and_can_come_back_while_both_are_free(cast):
    row, _ = a_block(cast)
    services.archive_block(member=cast.manager, block_id=row.pk, now=NOW)
    assert queries.block(cast.farm, row.pk).archived_at == NOW
    assert list(queries.blocks(cast.farm)) == []
    services.restore_block(member=cast.manager, block_id=row.pk, now=NOW)
    services.archive_block(member=cast.manager, block_id=row.pk, now=NOW)
    newer, _ = a_block(cast)
    with pytest.raises(Refused) as refused:
        services.restore_block(member=cast.manager, block_id=row.pk, now=NOW)
    assert codes(refused.value.findings) == ["code_taken"]
    changes = {"code": "R2"}
    services.edit_block(member=cast.manager, block_id=newer.pk, expected_version=1, changes=changes, now=NOW)
    with pytest.raises(Refused) as refused:
        services.restore_block(member=cast.manager, block_id=row.pk, now=NOW)
    assert codes(refused.value.findings) == ["ground_shared"]


@pytest.mark.parametrize(
    ("act", "code"), [("archive_block", "block_archived"), ("restore_block", "block_in_use")], ids=["twice", "in use"]
)
def test_nothing_is_archived_or_restored_twice(cast, act, code):
    row = BlockFactory(farm=cast.farm, archived_at=NOW if act == "archive_block" else None)
    with pytest.raises(Refused) as refused:
        getattr(services, act)(member=cast.manager, block_id=row.pk, now=NOW)
    assert codes(refused.value.findings) == [code]


def test_an_archived_block_is_not_changed(cast):
    row = BlockFactory(farm=cast.farm, archived_at=NOW)
    with pytest.raises(Refused) as refused:
        services.edit_block(member=cast.manager, block_id=row.pk, expected_version=1, changes={"name": "x"}, now=NOW)
    assert codes(refused.value.findings) == ["block_archived"]


def test_fields_have_one_name_each(cast):
    row = services.add_field(member=cast.manager, name=" River  field ", now=NOW)
    assert (row.name, row.version) == ("River field", 1)
    with pytest.raises(BadInput) as refused:
        services.add_field(member=cast.manager, name="river field", now=NOW)
    assert refused.value.errors == {"name": ["Another field has this name; choose another."]}
    other = services.add_field(member=cast.manager, name="Hill", now=NOW)
    with pytest.raises(BadInput):
        services.edit_field(
            member=cast.manager, field_id=other.pk, expected_version=1, changes={"name": "RIVER FIELD"}, now=NOW
        )
    noted = services.edit_field(
        member=cast.manager, field_id=other.pk, expected_version=1, changes={"note": "wet in May"}, now=NOW
    )
    assert (noted.name, noted.note, noted.version) == ("Hill", "wet in May", 2)


def test_places_are_added_changed_and_removed_but_never_lost(cast):
    row, notes = services.add_place(
        member=cast.manager, kind="Hives", name="Lindholm's hives", geometry=point(-86.2476, 40.253), now=NOW
    )
    assert (row.kind, row.min_lon, row.max_lat, notes) == ("hives", -86.2476, 40.253, [])
    drawn = {"kind": "water", "geometry": square(-86.246, 40.25)}
    row, _ = services.edit_place(member=cast.manager, place_id=row.pk, expected_version=1, changes=drawn, now=NOW)
    assert (row.kind, row.name, row.max_lon) == ("water", "Lindholm's hives", -86.244)
    services.remove_place(member=cast.manager, place_id=row.pk, now=NOW)
    assert list(queries.sensitive_places(cast.farm)) == []
    assert SensitivePlace.objects.for_farm(cast.farm).get().removed_at == NOW
    with pytest.raises(Unknown):
        services.remove_place(member=cast.manager, place_id=row.pk, now=NOW)


def test_everything_wrong_with_a_place_is_said_at_once(cast):
    with pytest.raises(BadInput) as refused:
        services.add_place(
            member=cast.manager, kind="pond", name="", geometry={"type": "Point"}, note="x" * 401, now=NOW
        )
    assert sorted(refused.value.errors) == ["geometry", "kind", "name", "note"]


def feature(shape: dict[str, Any], **properties: object) -> dict[str, Any]:
    return {"type": "Feature", "geometry": shape, "properties": properties}


def a_map(*features: dict[str, Any]) -> dict[str, Any]:
    return {"type": "FeatureCollection", "features": list(features)}


GOOD = [
    feature(plot(0), field="River", name="North", code="R1", planted_acres="9"),
    feature(plot(1), field="river", name="South", code="R2"),
    feature(plot(12), field="Hill", name="Top", code="H1"),
    feature(point(-86.251, 40.25), kind="house", name="Old house"),
]


def counts(cast: Any) -> tuple[int, int, int]:
    return (
        Field.objects.for_farm(cast.farm).count(),
        Block.objects.for_farm(cast.farm).count(),
        SensitivePlace.objects.for_farm(cast.farm).count(),
    )


def test_a_whole_map_comes_in(cast):
    FieldFactory(farm=cast.farm, name="Hill")
    done = map_import.import_geojson(member=cast.manager, document=a_map(*GOOD), now=NOW)
    assert (done.fields, done.blocks, done.places, done.only_checked) == (1, 3, 1, False)
    assert counts(cast) == (2, 3, 1)
    assert [(b.field.name, b.code, b.planted_stated) for b in queries.blocks(cast.farm)] == [
        ("Hill", "H1", False),
        ("River", "R1", True),
        ("River", "R2", False),
    ]


def test_a_map_that_goes_out_comes_in_on_another_farm_unchanged(cast):
    map_import.import_geojson(member=cast.manager, document=a_map(*GOOD), now=NOW)
    out = queries.farm_file(cast.farm)
    map_import.import_geojson(member=cast.neighbour, document=out, now=NOW)
    assert queries.farm_file(cast.other_farm) == out


def test_only_checking_writes_nothing(cast):
    done = map_import.import_geojson(member=cast.manager, document=a_map(*GOOD), only_check=True, now=NOW)
    assert (done.fields, done.blocks, done.places, done.only_checked) == (2, 3, 1, True)
    assert counts(cast) == (0, 0, 0)
    assert AuditEvent.objects.filter(farm=cast.farm).count() == 0


def test_one_bad_feature_stops_the_whole_map(cast):
    bad = feature(polygon(SQUARE_10[:2]), field="Hill", name="x", code="H2")
    with pytest.raises(BadInput) as refused:
        map_import.import_geojson(member=cast.manager, document=a_map(*GOOD, bad), now=NOW)
    assert list(refused.value.errors) == ["features[4].polygon"]
    assert counts(cast) == (0, 0, 0)


def test_the_same_map_twice_is_refused_by_its_codes(cast):
    map_import.import_geojson(member=cast.manager, document=a_map(*GOOD), now=NOW)
    with pytest.raises(BadInput) as refused:
        map_import.import_geojson(member=cast.manager, document=a_map(*GOOD), now=NOW)
    assert list(refused.value.errors) == ["features[0].code", "features[1].code", "features[2].code"]
    assert counts(cast) == (2, 3, 1)


def test_ground_in_two_blocks_stops_the_whole_map_and_every_clash_is_named(cast):
    BlockFactory(farm=cast.farm, code="OLD", polygon=plot(1))
    twice = feature(plot(0), field="Hill", name="Again", code="H2")
    with pytest.raises(Refused) as refused:
        map_import.import_geojson(member=cast.manager, document=a_map(*GOOD, twice), now=NOW)
    assert [(f.code, f.subject) for f in refused.value.findings] == [("ground_shared", "OLD"), ("ground_shared", "R1")]
    assert counts(cast) == (1, 1, 0)


def test_the_writer_and_the_query_tell_the_same_map(cast):
    assert queries.farm_file(cast.farm) == write_farm_file([], [])
