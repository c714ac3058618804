"""The interface says what the pages say."""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from pathlib import Path

import plotly
import pytest

from apps.dashboard import queries
from tests.factories.spraying import ENDED, NOW, WINDOW
from tests.factories.work import TaskFactory

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)
SEEN_AT = WINDOW[1] + HOUR


@pytest.fixture(autouse=True)
def _now(monkeypatch):
    monkeypatch.setattr("farmops.clock.now", lambda: SEEN_AT)


def test_today_in_one_answer(bench, api):
    bench.signed()
    late = bench.assigned(blocks=[{"block_id": bench.blocks[1].pk}])
    body = api(bench.manager).get("/api/v1/farms/alder-bend/today/").json()
    assert body["as_of"] == "2026-07-06T17:00:00Z"
    assert [(c["block"], c["answer"], c["opens_at"]) for c in body["closed"]] == [
        ("N2 North 2", "unknown", None),
        ("N1 North 1", "no", "2026-07-07T02:40:00Z"),
    ]
    assert [(n["urgency"], n["path"]) for n in body["needs"]] == [("now", f"/f/alder-bend/jobs/{late.pk}/")]
    assert [(j["number"], j["state"], j["blocks"]) for j in body["jobs"]] == [
        (1, "signed", ["N1 North 1"]),
        (2, "assigned", ["N2 North 2"]),
    ]


def test_ones_own_day(bench, api, cast):
    job = bench.sprayed()
    task = TaskFactory(farm=bench.farm, block=bench.blocks[0], assigned_to=cast.person(cast.applicator))
    body = api(bench.applicator).get("/api/v1/farms/alder-bend/my-day/").json()
    assert (body["job"]["id"], body["job"]["state"], body["more_jobs"]) == (job.pk, "sprayed", 0)
    assert body["certificate"] == {"number": "12345", "jurisdiction": "IN", "valid_to": "2026-12-31"}
    assert [t["id"] for t in body["tasks"]] == [task.pk]


def test_a_chart_comes_with_its_table_and_says_from_when(bench, api):
    bench.signed()
    body = api(bench.manager).get("/api/v1/farms/alder-bend/charts/closures/").json()
    assert (body["name"], body["as_of"], body["time_zone"]) == (
        "closures",
        "2026-07-06T17:00:00Z",
        "America/Chicago",
    )
    assert [c["key"] for c in body["columns"]] == ["block", "state", "from", "until", "products", "set_by"]
    entry = body["rows"][0]
    assert entry["until"] == {"value": "2026-07-06T21:40:00-05:00", "text": "Mon, Jul 6, 9:40 PM CDT"}
    assert {t["name"] for t in body["figure"]["data"]} == {"Keep out", "Do not pick yet"}
    assert body["figure"]["layout"]["xaxis"]["title"]["text"] == "Farm time (America/Chicago)"


def test_the_list_of_charts_answers_each_question(bench, api):
    body = api(bench.manager).get("/api/v1/farms/alder-bend/charts/").json()
    assert [c["name"] for c in body] == list(queries.CHARTS) == ["closures", "intervals", "limits", "stock"]
    assert body[3]["answer"] == "Every open job is covered by what is on hand."


def test_a_chart_that_is_not_there(bench, api):
    answer = api(bench.manager).get("/api/v1/farms/alder-bend/charts/pies/")
    assert answer.status_code == 404
    assert answer.json()["detail"] == "There is no such chart. Use one of: closures, intervals, limits, stock."


def test_the_table_of_a_chart_as_a_file(bench, browser_client):
    bench.signed()
    answer = browser_client(bench.manager).get("/f/alder-bend/charts/closures/csv/")
    text = b"".join(answer.streaming_content).decode("utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert [(r["block"], r["state"], r["until"], r["as_of"]) for r in rows] == [
        ("N1 North 1", "entry", "2026-07-06T21:40:00-05:00", "2026-07-06T17:00:00+00:00"),
        ("N1 North 1", "harvest", "2026-07-09T09:40:00-05:00", "2026-07-06T17:00:00+00:00"),
    ]


def test_the_page_shows_every_table_without_a_script(bench, browser_client):
    bench.signed()
    html = browser_client(bench.manager).get("/f/alder-bend/charts/").content.decode()
    for chart in queries.charts(bench.farm, SEEN_AT):
        assert chart.question in html
        for row in chart.rows:
            assert [cell.text for cell in row if f">{cell.text}<" not in html] == []
    assert html.count("<table") == sum(bool(c.rows) for c in queries.charts(bench.farm, SEEN_AT))


def test_the_page_keeps_the_map_styles_of_the_plotting_script_out(bench, browser_client):
    """The script adds a style sheet unless an element with this id is there; the policy would stop it."""
    html = browser_client(bench.manager).get("/f/alder-bend/charts/").content.decode()
    script = (Path(plotly.__file__).parent / "package_data" / "plotly.min.js").read_text()
    asked = script.split('document.createElement("style");e.id="')
    assert len(asked) == 2
    assert f'id="{asked[1].split(chr(34))[0]}"' in html


def test_only_the_charts_page_loads_the_plotting_script(bench, browser_client):
    client = browser_client(bench.manager)
    loads = {p: b"plotly" in client.get(f"/f/alder-bend/{p}").content for p in ("", "charts/", "board/", "audit/")}
    assert loads == {"": False, "charts/": True, "board/": False, "audit/": False}
    assert ENDED > NOW
