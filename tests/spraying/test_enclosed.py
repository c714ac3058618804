"""Who may stay in a closed building inside the exclusion zone: cases H9, H10 and H12 of the decision table.

Basis: 40 CFR 170.405(a)(2) and 170.601(a)(1) (paragraph from memory); the treatment of doubt and of the edge is a
project rule.
"""

from __future__ import annotations

import pytest
import time_machine

from apps.spraying import around, services
from apps.spraying.models import JobStep
from apps.spraying.rules.enclosed import LAW, Inside, in_buildings
from farmops.errors import BadInput, Refused
from tests.factories.land import SensitivePlaceFactory
from tests.factories.spraying import READINGS, STARTED

FEET_PER_DEGREE = 279_300  # of longitude at 40.2 degrees north (WGS 84: 85.1 km)
HOUSE = ["Farm house"]
CASES = [
    ("H9 the owner's family, handler told", HOUSE, Inside.FAMILY, None),
    ("H10 a hired hand also in the house", HOUSE, Inside.OTHERS, "people_in_building"),
    ("H10 in a house that is on no map", [], Inside.OTHERS, "people_in_building"),
    ("nobody", HOUSE, Inside.NOBODY, None),
    ("not said (project rule: unknown is no)", HOUSE, None, "building_not_asked"),
    ("nothing mapped and not said", [], None, None),
]


@pytest.mark.parametrize(("buildings", "said", "refused"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_who_may_stay(buildings, said, refused):
    found = in_buildings(buildings, said)
    assert [(f.code, f.severity, f.source) for f in found] == ([(refused, "refuse", LAW)] if refused else [])


# ---- through the service, the API and the page ----------------------------------------------


def house(bench, feet: float, kind: str = "house"):
    """A building so many feet east of the bench's first block."""
    west = -86.20 + 0.01 + 0.002 + feet / FEET_PER_DEGREE
    point = {"type": "Point", "coordinates": [round(west, 8), 40.201]}
    return SensitivePlaceFactory(farm=bench.farm, kind=kind, name="Farm house", geometry=point)


def start(bench, job, **more):
    return services.start_spraying(
        member=bench.applicator, job_id=job.pk, readings=READINGS, reason="looked all round", now=STARTED, **more
    )


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("feet", "kind", "asked"),
    [(10, "house", True), (24.9, "house", True), (26, "house", False), (10, "school", True), (10, "well", False),
     (-50, "house", True)],
)  # fmt: skip
def test_a_mapped_building_in_the_zone_must_be_asked_about(bench, feet, kind, asked):
    """H12: what lies within the distance is inside; the bench sprays medium droplets at 20 in: 25 ft."""
    job = bench.assigned()
    house(bench, feet, kind)
    if not asked:
        assert start(bench, job).state == "spraying"
        return
    with pytest.raises(Refused) as caught:
        start(bench, job)
    assert [(f.code, f.numbers) for f in caught.value.findings if f.source == LAW] == [
        ("building_not_asked", {"places": "Farm house"})
    ]
    job.refresh_from_db()
    assert (job.state, JobStep.rows.filter(job=job, step="start").count()) == ("assigned", 0)


@pytest.mark.django_db
def test_h9_with_the_family_told_it_may_start_and_the_step_keeps_what_was_said(bench):
    job = bench.assigned()
    house(bench, 10)
    assert start(bench, job, inside_buildings="family").state == "spraying"
    assert JobStep.rows.get(job=job, step="start").details["inside_buildings"] == "family"


@pytest.mark.django_db
def test_h10_with_a_hired_hand_in_the_house_it_may_not(bench):
    job = bench.assigned()
    for place in (None, house(bench, 10)):
        with pytest.raises(Refused) as caught:
            start(bench, job, inside_buildings="others")
        assert "people_in_building" in {f.code for f in caught.value.findings}, place


@pytest.mark.django_db
def test_a_place_that_cannot_be_measured_counts_as_in_the_zone(bench, monkeypatch):
    job = bench.assigned()
    house(bench, 5000)
    monkeypatch.setattr(around, "distance_ft", None)
    with pytest.raises(Refused) as caught:
        start(bench, job)
    assert "building_not_asked" in {f.code for f in caught.value.findings}


@pytest.mark.django_db
def test_another_word_names_its_field(bench):
    with pytest.raises(BadInput) as caught:
        start(bench, bench.assigned(), inside_buildings="cat")
    assert caught.value.errors == {"inside_buildings": ["Use nobody, family or others."]}


@pytest.mark.django_db
def test_the_api_and_the_page_ask_the_same_rule(bench, api, browser_client, at_the_start):
    job = bench.assigned()
    house(bench, 10)
    api_address = f"/api/v1/farms/{bench.farm.slug}/jobs/{job.pk}/start/"
    page_address = f"/f/{bench.farm.slug}/jobs/{job.pk}/start/"
    typed = {**{k: str(v) for k, v in READINGS.items()}, "reason": "looked all round"}
    answer = api(bench.applicator).post(api_address, typed, format="json")
    assert (answer.status_code, "building_not_asked" in {f["code"] for f in answer.json()["findings"]}) == (409, True)
    wrong = api(bench.applicator).post(api_address, {**typed, "inside_buildings": "cat"}, format="json")
    assert (wrong.status_code, list(wrong.json()["errors"])) == (400, ["inside_buildings"])
    client = browser_client(bench.applicator)
    shown = client.get(page_address).content.decode()
    assert "Who is in closed buildings in the zone?" in shown
    typed["version"] = str(job.version)
    refused = client.post(page_address, {**typed, "inside_buildings": "others"})
    assert (refused.status_code, "Somebody who is not of the owner" in refused.content.decode()) == (409, True)
    assert client.post(page_address, {**typed, "inside_buildings": "family"}).status_code in {302, 303}
    job.refresh_from_db()
    assert job.state == "spraying"


@pytest.fixture
def at_the_start():
    with time_machine.travel(STARTED, tick=False):
        yield
