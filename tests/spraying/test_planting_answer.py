"""May this crop be planted here? The plant-back rule from the planting side, by API and page."""

from __future__ import annotations

from datetime import date

import pytest
import time_machine

from apps.crops.models import Planting
from apps.crops.rules import NextCrop
from apps.spraying.models import SpraySettings
from apps.spraying.planting.queries import planned_answers, planting_answer
from farmops.errors import BadInput
from tests.factories.crops import CropFactory, PlantingFactory
from tests.factories.land import BlockFactory
from tests.factories.spraying import SIGNED, line, plot_of, shield_document

pytestmark = pytest.mark.django_db
SPRAYED_ON = date(2026, 7, 6)


def pumpkin(on: date, *, harvested: bool = True) -> NextCrop:
    return NextCrop(site_code="pumpkin", planted_on=on, harvested=harvested)


@pytest.fixture
def keeping(bench):
    """A signed spray of a product that keeps pumpkins off the ground for 18 months; covers may follow."""
    document = shield_document(plantback=[{"site_code": "pumpkin", "months": 18}], cover_crop_any_time=True)
    SpraySettings.rows.filter(farm=bench.farm).update(history_known_from=date(2020, 1, 1))
    bench.signed(products=[line(bench.product_of("Demo Keeper", document))])
    return bench


ANSWERS = [
    # 6 July 2026 + 18 months = 6 January 2028
    ("too_early", date(2027, 6, 1), True, "no", ["plantback"], date(2028, 1, 6)),
    ("in_time", date(2028, 1, 6), True, "yes", [], date(2028, 1, 6)),
    ("a_cover", date(2027, 6, 1), False, "yes", ["plantback_cover"], date(2027, 6, 1)),
]


@pytest.mark.parametrize(
    ("on", "harvested", "answer", "codes", "opens"), [r[1:] for r in ANSWERS], ids=[r[0] for r in ANSWERS]
)
def test_the_answer(keeping, on, harvested, answer, codes, opens):
    found = planting_answer(keeping.farm, keeping.blocks[0], pumpkin(on, harvested=harvested))
    assert (found.answer, [f.code for f in found.findings], found.opens_on) == (answer, codes, opens)


def test_ground_that_was_never_sprayed_and_whose_past_is_known(keeping):
    assert planting_answer(keeping.farm, keeping.blocks[1], pumpkin(date(2027, 6, 1))).answer == "yes"


def test_a_past_nobody_knows_is_not_a_yes(keeping):
    SpraySettings.rows.filter(farm=keeping.farm).update(history_known_from=date(2025, 1, 1))
    found = planting_answer(keeping.farm, keeping.blocks[1], pumpkin(date(2027, 6, 1)))
    assert (found.answer, [f.code for f in found.findings]) == ("unknown", ["history_unknown"])
    SpraySettings.rows.filter(farm=keeping.farm).delete()
    assert planting_answer(keeping.farm, keeping.blocks[1], pumpkin(date(2027, 6, 1))).answer == "unknown"


def test_what_is_planned_is_answered_the_next_first(keeping):
    block = keeping.blocks[0]
    crop = CropFactory(farm=keeping.farm, code="pumpkin", name="Pumpkin")
    for day in (date(2028, 6, 1), date(2027, 6, 1)):
        PlantingFactory(farm=keeping.farm, block=block, crop=crop, planned_on=day, sown_on=None)
    rows = planned_answers(keeping.farm, block, SIGNED)
    assert [(r.planted_on, r.answer, r.planned) for r in rows] == [
        (date(2027, 6, 1), "no", True),
        (date(2028, 6, 1), "yes", True),
    ]
    assert Planting.rows.filter(block=block).count() == 3  # the one that stands there is not asked about


@pytest.mark.parametrize(
    ("query", "fields"),
    [
        ({}, {"crop", "on"}),
        ({"crop": "Pumpkin!", "on": "2027-06-01"}, {"crop"}),
        ({"crop": "pumpkin", "on": "June"}, {"on"}),
        ({"crop": "pumpkin", "on": "1800-06-01"}, {"on"}),
        ({"crop": "pumpkin", "on": "2027-06-01", "use": "graze"}, {"use"}),
    ],
)
def test_what_cannot_be_asked(query, fields):
    from apps.spraying.planting.asking import asked

    with pytest.raises(BadInput) as caught:
        asked(query)
    assert set(caught.value.errors) == fields


class TestDoors:
    @pytest.fixture(autouse=True)
    def clock(self):
        with time_machine.travel(SIGNED, tick=False):
            yield

    def test_api(self, keeping, api):
        block = keeping.blocks[0].pk
        client = api(keeping.applicator)
        where = f"/api/v1/farms/alder-bend/blocks/{block}"
        body = client.get(f"{where}/planting-check/?crop=pumpkin&on=2027-06-01").json()
        assert (body["answer"], body["opens_on"], body["harvested"], body["planned"]) == (
            "no",
            "2028-01-06",
            True,
            False,
        )
        assert body["findings"][0]["sentence"].startswith("Demo Keeper, sprayed Mon, Jul 6, 2026: 18 months")
        cover = client.get(f"{where}/planting-check/?crop=pumpkin&on=2027-06-01&use=cover").json()
        assert cover["answer"] == "yes"
        assert client.get(f"{where}/planting-answers/").json() == []
        wrong = client.get(f"{where}/planting-check/?crop=pumpkin")
        assert (wrong.status_code, list(wrong.json()["errors"])) == (400, ["on"])

    def test_page(self, keeping, browser_client):
        client = browser_client(keeping.applicator)
        CropFactory(farm=keeping.farm, code="pumpkin", name="Pumpkin")
        where = f"/f/alder-bend/blocks/{keeping.blocks[0].pk}/"
        assert f'href="{where}planting/"' in client.get(where).content.decode()
        words = client.get(f"{where}planting/?crop=pumpkin&on=2027-06-01&use=harvest").content.decode()
        assert "Pumpkin, Tue, Jun 1, 2027: No" in words
        assert "first day that nothing on record refuses: Thu, Jan 6, 2028" in words
        wrong = client.get(f"{where}planting/?crop=pumpkin&on=")
        assert (wrong.status_code, "Enter a day like 2027-06-01." in wrong.content.decode()) == (400, True)

    def test_another_farms_block(self, keeping, api, cast):
        other = BlockFactory(farm=cast.other_farm, code="Z", polygon=plot_of(50))
        answer = api(keeping.manager).get(f"/api/v1/farms/alder-bend/blocks/{other.pk}/planting-answers/")
        assert answer.status_code == 404
