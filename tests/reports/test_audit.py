"""The trail: who did what, found again by day, person and thing."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.audit import services as audit
from apps.reports.pages import LINES

pytestmark = pytest.mark.django_db
ADDRESS = "/api/v1/farms/alder-bend/audit/"
LATE = datetime(2026, 7, 7, 4, 30, tzinfo=UTC)
"""11:30 PM on July 6 at the farm (America/Chicago)."""


@pytest.fixture
def trail(cast):
    """Four lines: two people, two kinds of things, one of them late in the evening, one by nobody."""
    member, field = cast.person(cast.staff).memberships.get(), cast.farm
    rows = [
        (
            cast.manager,
            "changed roles",
            member,
            datetime(2026, 7, 5, 15, tzinfo=UTC),
            {"roles": ["staff"]},
            {"roles": ["manager"]},
        ),
        (
            cast.manager,
            "changed settings",
            field,
            datetime(2026, 7, 6, 15, tzinfo=UTC),
            {"name": "Old"},
            {"name": "New"},
        ),
        (cast.applicator, "changed settings", field, LATE, {}, {"contact_phone": "555-0100"}),
        (None, "swept", field, LATE + timedelta(hours=1), {}, {}),
    ]
    return [
        audit.record(farm=cast.farm, actor=who, verb=verb, subject=what, before=before, after=after, now=at)
        for who, verb, what, at, before, after in rows
    ]


def found(client, query="") -> list[int]:
    answer = client.get(ADDRESS + query)
    assert answer.status_code == 200, answer.json()
    return [row["id"] for row in answer.json()["results"]]


def test_newest_first_with_before_and_after(cast, api, trail):
    rows = api(cast.manager).get(ADDRESS).json()["results"]
    assert [r["id"] for r in rows] == [e.pk for e in reversed(trail)]
    assert rows[2] == {
        "id": trail[1].pk,
        "at": "2026-07-06T15:00:00Z",
        "actor_id": cast.manager.person_id,
        "actor_name": "Ines Prado",
        "verb": "changed settings",
        "subject_type": "people.farm",
        "subject_id": str(cast.farm.pk),
        "subject_name": "Alder Bend Farm",
        "sentence": "Ines Prado: changed settings – Alder Bend Farm",
        "door": "",
        "address": "",
        "key": "",
        "before": {"name": "Old"},
        "after": {"name": "New"},
    }
    assert (rows[0]["actor_id"], rows[0]["actor_name"]) == (None, "the farm book")


@pytest.mark.parametrize(
    ("query", "places"),
    [
        ("?subject_type=people.membership", [0]),
        ("?subject_type=people.farm", [3, 2, 1]),
        ("?actor={manager}", [1, 0]),
        ("?verb=swept", [3]),
        ("?from=2026-07-06&to=2026-07-06", [2, 1]),
        ("?from=2026-07-07", [3]),
        ("?to=2026-07-05", [0]),
        ("?actor={manager}&from=2026-07-06", [1]),
    ],
)
def test_filters_count_days_of_the_farm(cast, api, trail, query, places):
    query = query.format(manager=cast.manager.person_id)
    assert found(api(cast.manager), query) == [trail[p].pk for p in places]


@pytest.mark.parametrize(
    ("query", "field"), [("?from=x", "from"), ("?to=2026-02-30", "to"), ("?actor=Ines", "actor"), ("?who=1", "who")]
)
def test_a_filter_that_cannot_be_read_is_named(cast, api, trail, query, field):
    answer = api(cast.manager).get(ADDRESS + query)
    assert (answer.status_code, list(answer.json()["errors"])) == (400, [field])


def test_another_farms_trail_is_its_own(cast, api, trail):
    audit.record(farm=cast.other_farm, actor=cast.neighbour, verb="moved", subject=cast.other_farm, now=LATE)
    assert len(found(api(cast.manager))) == 4
    answer = api(cast.neighbour).get("/api/v1/farms/far-side/audit/")
    assert [r["verb"] for r in answer.json()["results"]] == ["moved"]


def cells(html: str) -> list[list[str]]:
    """The rows of the table, tags taken out."""
    rows = re.findall(r"<tr>(.*?)</tr>", html, re.S)[1:]
    return [[re.sub(r"<[^>]+>", "", c).strip() for c in re.findall(r"<td[^>]*>(.*?)</td>", row, re.S)] for row in rows]


def test_the_page_tells_when_who_what_and_the_change(cast, browser_client, trail):
    html = browser_client(cast.manager).get("/f/alder-bend/audit/").content.decode()
    rows = cells(html)
    assert [(row[0], row[1].split(" All about it")[0], row[2]) for row in rows] == [
        ("Tue, Jul 7, 12:30 AM CDT (2026)", "the farm book: swept – Alder Bend Farm", "not by a request"),
        ("Mon, Jul 6, 11:30 PM CDT (2026)", "Luis Mora: changed settings – Alder Bend Farm", "not by a request"),
        ("Mon, Jul 6, 10:00 AM CDT (2026)", "Ines Prado: changed settings – Alder Bend Farm", "not by a request"),
        ("Sun, Jul 5, 10:00 AM CDT (2026)", f"Ines Prado: changed roles – {trail[0].subject_name}", "not by a request"),
    ]
    assert "name: Old → New" in rows[2][3]
    assert "contact_phone: 555-0100" in rows[1][3]
    assert rows[0][3] == "–"


def test_the_page_filters_by_person_thing_and_day_and_keeps_what_was_asked(cast, browser_client, trail):
    client = browser_client(cast.manager)
    query = f"?subject_type=people.farm&actor={cast.manager.person_id}&from=2026-07-06&to=2026-07-06"
    html = client.get("/f/alder-bend/audit/" + query).content.decode()
    assert ["changed settings" in row[1] for row in cells(html)] == [True]
    assert 'value="2026-07-06"' in html
    assert "Show everything" in html


def test_a_wrong_day_on_the_page_is_named_and_shows_nothing(cast, browser_client, trail):
    answer = browser_client(cast.manager).get("/f/alder-bend/audit/?from=soon")
    html = answer.content.decode()
    assert answer.status_code == 400
    assert "<title>Error: Who did what</title>" in html
    assert html.count("Must be a day like 2026-06-03.") == 2
    assert 'value="soon"' in html
    assert cells(html) == []


def test_older_lines_follow_on_the_next_page_and_none_is_lost(cast, browser_client):
    for number in range(LINES + 3):
        audit.record(farm=cast.farm, actor=cast.manager, verb=f"did {number}", subject=cast.farm, now=LATE)
    client = browser_client(cast.manager)
    first = client.get("/f/alder-bend/audit/?subject_type=people.farm").content.decode()
    older = re.search(r'href="(\?[^"]*before=[^"]*)"', first).group(1).replace("&amp;", "&")
    assert "subject_type=people.farm" in older
    second = client.get("/f/alder-bend/audit/" + older).content.decode()
    seen = [re.search(r"did \d+", row[1]).group() for row in cells(first) + cells(second)]
    assert seen == [f"did {n}" for n in reversed(range(LINES + 3))]


def test_the_page_costs_the_same_for_one_line_and_fifty(cast, browser_client, trail):
    client = browser_client(cast.manager)
    client.get("/f/alder-bend/audit/")
    with CaptureQueriesContext(connection) as few:
        client.get("/f/alder-bend/audit/")
    for number in range(50):
        audit.record(farm=cast.farm, actor=cast.applicator, verb=f"did {number}", subject=cast.farm, now=LATE)
    with CaptureQueriesContext(connection) as many:
        client.get("/f/alder-bend/audit/")
    assert len(many) == len(few)


@pytest.mark.parametrize(
    ("words", "places"),
    [("Ines", [1, 0]), ("old new", [1]), ("555-0100", [2]), ("luis settings", [2]), ("Peña", [4]), ("nowhere", [])],
)
def test_words_are_found_in_names_and_in_values(cast, api, browser_client, trail, words, places):
    lines = [*trail]
    lines.append(
        audit.record(farm=cast.farm, actor=None, verb="noted", subject=cast.farm, after={"said": "Peña"}, now=LATE)
    )
    wanted = [lines[p].pk for p in places]
    assert found(api(cast.manager), f"?text={words}") == wanted
    html = browser_client(cast.manager).get(f"/f/alder-bend/audit/?text={words}").content.decode()
    assert len(cells(html)) == len(wanted)
