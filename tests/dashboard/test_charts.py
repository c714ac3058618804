"""What is drawn equals what stands in the table, to the last number and at every clock change."""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from decimal import Decimal

import pytest
from django.utils import translation

from apps.dashboard.charts import closures, intervals, limits, stock
from apps.dashboard.rules import MOST_DRAWN, Shade
from tests.dashboard import facts

MOMENTS = [pytest.param(at, id=name) for name, at in facts.MOMENTS.items()]


def table(chart) -> list[dict[str, str | None]]:
    """The rows of a chart as machines read them."""
    return [{key: cell["value"] for key, cell in row.items()} for row in chart.as_json()["rows"]]


def figure(chart) -> dict:
    """The figure as it goes over the wire."""
    return chart.as_json()["figure"]


def local(value: str) -> str:
    """A table's instant as the farm's clock shows it."""
    return datetime.fromisoformat(value).replace(tzinfo=None).isoformat(sep=" ", timespec="seconds")


def drawn_end(base: str, length_ms: float) -> str:
    """Where a bar ends on an axis that knows no zones."""
    return str(datetime.fromisoformat(base) + timedelta(milliseconds=length_ms))


def bars(drawing: dict) -> list[tuple[int, str, str, str]]:
    """(row, name of the trace, begin, end) of every bar."""
    found = []
    for trace in drawing["data"]:
        if trace["type"] == "bar":
            found += [
                (row, trace["name"], base, drawn_end(base, length))
                for row, base, length in zip(trace["y"], trace["base"], trace["x"], strict=True)
            ]
    return found


@pytest.mark.parametrize("now", MOMENTS)
def test_closures_are_drawn_as_the_table_has_them(now):
    chart = closures.chart(facts.closures(now), facts.frame(now))
    drawing, names = figure(chart), {s.value: n for s, n in closures.SHADE_NAMES.items()}
    blocks = drawing["layout"]["yaxis"]["ticktext"]
    edge = drawing["layout"]["xaxis"]["range"][1]
    open_ended = {"underway", "unconfirmed", "posted"}
    expected = []
    for row in table(chart):
        unsure = row["state"] in open_ended or row["until"] is None
        end = edge if unsure else local(row["until"])
        expected.append((blocks.index(row["block"]), names[row["state"]], local(row["from"]), end))
    assert sorted(bars(drawing)) == sorted(expected)


@pytest.mark.parametrize("now", MOMENTS)
def test_an_end_nobody_vouches_for_runs_to_the_edge_and_says_so(now):
    drawing = figure(closures.chart(facts.closures(now), facts.frame(now)))
    edge = drawing["layout"]["xaxis"]["range"][1]
    blocks = drawing["layout"]["yaxis"]["ticktext"]
    said = {blocks[round(a["y"])] for a in drawing["layout"]["annotations"] if a["text"].startswith("no end time")}
    assert said == {"B2 South", "C3 Hill", "E5 Yard", "F6 Lane"}
    assert {a["x"] for a in drawing["layout"]["annotations"] if a["text"].startswith("no end time")} == {edge}


@pytest.mark.parametrize("now", MOMENTS)
def test_windows_and_marks_are_drawn_as_the_table_has_them(now):
    chart = intervals.chart(facts.intervals(now), facts.frame(now))
    drawing = figure(chart)
    blocks = drawing["layout"]["yaxis"]["ticktext"]
    marks = [
        (trace["meta"], blocks[row], at)
        for trace in drawing["data"]
        if trace["type"] == "scatter"
        for row, at in zip(trace["y"], trace["x"], strict=True)
    ]
    windows = [(blocks[row], begin, end) for row, _, begin, end in bars(drawing)]
    lines = table(chart)
    assert sorted(marks) == sorted((r["what"], r["block"], local(r["from"])) for r in lines if r["to"] is None)
    assert sorted(windows) == sorted(
        (r["block"], f"{r['from']} 00:00:00", str(datetime.fromisoformat(r["to"]) + timedelta(days=1)))
        for r in lines
        if r["to"] is not None
    )


def _named(drawing: dict, kind: str) -> list[dict]:
    return [t for t in drawing["data"] if t.get("meta") == kind]


def test_limits_are_drawn_as_the_table_has_them():
    chart = limits.chart(facts.limits(), facts.frame(facts.MOMENTS["summer"]))
    drawing, rows = figure(chart), table(chart)
    (used,), (booked,), (limit,) = (_named(drawing, kind) for kind in ("used", "booked", "limit"))
    assert [Decimal(str(x)) for x in used["x"]] == [Decimal(r["used_percent"]) for r in rows]
    assert [Decimal(str(x)) for x in booked["x"]] == [Decimal(r["booked_percent"]) for r in rows]
    assert booked["base"] == used["x"]
    assert limit["x"] == [100.0] * len(rows)
    assert [c[0] for c in used["customdata"]] == [r["used"] for r in rows]
    assert [c[0] for c in booked["customdata"]] == [r["booked"] for r in rows]
    assert [c[0] for c in limit["customdata"]] == [r["limit"] for r in rows]
    assert drawing["layout"]["yaxis"]["ticktext"] == [f"{r['block']}<br>{r['ingredient']}" for r in rows]


def test_what_is_left_of_a_limit_is_said_beside_its_bar():
    """15.75 − 14.9 − 1.54 = −0.69; 15.75 − 6.18 − 1.54 = 8.03 (arithmetic)."""
    chart = limits.chart(facts.limits(), facts.frame(facts.MOMENTS["summer"]))
    assert [a["text"] for a in figure(chart)["layout"]["annotations"]] == [
        "0.69 lb/acre over",
        "8.03 lb/acre left",
        "7.6667 lb/acre left",
    ]
    assert chart.answer == "1 limit is passed: chlorothalonil (B2 South)."


def test_stock_is_drawn_as_the_table_has_it():
    chart = stock.chart(facts.stock(), facts.frame(facts.MOMENTS["summer"]))
    drawing = figure(chart)
    layout = drawing["layout"]
    found = {}
    for kind in ("on_hand", "promised", "drafts"):
        for trace in _named(drawing, kind):
            names = layout["yaxis2" if trace.get("yaxis") == "y2" else "yaxis"]["ticktext"]
            found |= {(names[y], kind): x for y, x in zip(trace["y"], trace["x"], strict=True)}
    expected = {
        (r["product"], kind): 0.0 if r[kind] is None else float(r[kind])
        for r in table(chart)
        for kind in ("on_hand", "promised", "drafts")
    }
    assert found == expected
    assert found["Demo Fungicide", "on_hand"] == 2.1235
    for trace, below in zip(_named(drawing, "drafts"), _named(drawing, "promised"), strict=True):
        assert trace["base"] == below["x"]


def test_gallons_and_pounds_never_share_a_scale():
    drawing = figure(stock.chart(facts.stock(), facts.frame(facts.MOMENTS["summer"])))
    titles = {drawing["layout"][axis]["title"]["text"] for axis in ("xaxis", "xaxis2")}
    assert titles == {"gal", "lb"}


def test_what_is_missing_or_cannot_be_counted_is_said():
    """1.5 + 0.75 − 2.123456789 = 0.126543211 (arithmetic), shown at four places."""
    chart = stock.chart(facts.stock(), facts.frame(facts.MOMENTS["summer"]))
    assert chart.answer == (
        "1 product is short: Demo Fungicide (0.1265 gal). The need of Demo Paste cannot be counted in the shed's unit."
    )
    assert [a["text"] for a in figure(chart)["layout"]["annotations"]] == ["cannot be counted", "0.1265 gal missing"]


def test_a_drawing_over_the_autumn_change_is_an_hour_short_and_the_table_is_not():
    """48 elapsed hours over November 1 end an hour earlier on the wall (IANA time zone database)."""
    now = facts.MOMENTS["autumn back"]
    row = facts.closure("A1 North", Shade.ENTRY, now - timedelta(hours=30), 48)
    chart = closures.chart([row], facts.frame(now))
    (line,) = table(chart)
    elapsed = datetime.fromisoformat(line["until"]) - datetime.fromisoformat(line["from"])
    assert elapsed == timedelta(hours=48)
    assert (line["from"][-6:], line["until"][-6:]) == ("-05:00", "-06:00")
    ((_, _, begin, end),) = bars(figure(chart))
    assert datetime.fromisoformat(end) - datetime.fromisoformat(begin) == timedelta(hours=47)


def _texts(value) -> list[str]:
    if isinstance(value, dict):
        return [t for inner in value.values() for t in _texts(inner)]
    if isinstance(value, list):
        return [t for inner in value for t in _texts(inner)]
    return [value] if isinstance(value, str) else []


def all_charts(now):
    frame = facts.frame(now)
    return [
        closures.chart(facts.closures(now), frame),
        intervals.chart(facts.intervals(now), frame),
        limits.chart(facts.limits(), frame),
        stock.chart(facts.stock(), frame),
    ]


def test_no_time_in_a_figure_carries_an_offset_and_the_axis_names_the_zone():
    for chart in all_charts(facts.MOMENTS["summer"])[:2]:
        axis = figure(chart)["layout"]["xaxis"]
        assert axis["title"]["text"] == "Farm time (America/Chicago)"
        moments = [t for t in _texts(figure(chart)) if t[:4] == "2026" and t[4:5] == "-"]
        assert moments
        assert [t for t in moments if len(t) != 19 or t[10] != " "] == []


@pytest.mark.parametrize("place", range(4), ids=["closures", "intervals", "limits", "stock"])
def test_every_series_has_a_pattern_shape_or_fill_of_its_own(place):
    """In a grey copy two series may share neither filling nor mark."""
    drawing = figure(all_charts(facts.MOMENTS["summer"])[place])
    looks = []
    for trace in drawing["data"]:
        if trace.get("showlegend") is False:
            continue
        marker = trace["marker"]
        pattern = marker.get("pattern", {}).get("shape", "")
        solid = "" if pattern else ("hollow" if marker["color"] == "#FFFFFF" else "solid")
        looks.append((trace["type"], pattern, solid, marker.get("symbol", "")))
    assert len(looks) == len(set(looks))


def test_text_is_large_enough_and_nothing_in_it_can_be_dragged():
    for chart in all_charts(facts.MOMENTS["summer"]):
        layout = figure(chart)["layout"]
        assert layout["font"]["size"] >= 14
        assert (layout["dragmode"], layout["xaxis"]["fixedrange"], layout["yaxis"]["fixedrange"]) == (False, True, True)


def test_a_name_cannot_bring_markup_into_a_figure():
    now = facts.MOMENTS["summer"]
    name = '<a href="https://example.org">A&B</a>'
    chart = closures.chart([facts.closure(name, Shade.ENTRY, now - timedelta(hours=2), 12)], facts.frame(now))
    assert figure(chart)["layout"]["yaxis"]["ticktext"] == ['&lt;a href="https://example.org"&gt;A&amp;B&lt;/a&gt;']
    assert "<a " not in json.dumps(figure(chart))
    assert table(chart)[0]["block"] == name


def test_eight_rows_are_drawn_and_all_stand_in_the_table():
    now = facts.MOMENTS["summer"]
    rows = [facts.closure(f"Block {n:02}", Shade.ENTRY, now - timedelta(hours=1), n + 2) for n in range(11)]
    chart = closures.chart(rows, facts.frame(now))
    assert len(bars(figure(chart))) == MOST_DRAWN == 8
    assert len(table(chart)) == 11
    assert "The drawing shows the first 8 of 11 rows; the table shows all." in chart.notes


def test_with_nothing_to_show_there_is_no_empty_frame():
    frame = facts.frame(facts.MOMENTS["summer"])
    made = [module.chart([], frame) for module in (closures, intervals, limits, stock)]
    assert [chart.as_json()["figure"] for chart in made] == [None] * 4
    assert [chart.answer for chart in made] == [
        "No closure for entry is on record now. Ask the board before anybody goes in.",
        "No block has a next window on record.",
        "No ingredient with a season limit has been sprayed or booked.",
        "Nothing is in the shed and no open job needs a product.",
    ]


def test_the_answer_counts_blocks_and_names_the_first_to_open():
    now = facts.MOMENTS["summer"]
    chart = closures.chart(facts.closures(now), facts.frame(now))
    assert chart.answer == ("5 blocks are closed. Next to open: A1 North, not before Thu, Jun 4, 3:00 AM CDT.")


def test_a_block_with_one_sure_and_one_unsure_closure_is_not_promised_an_opening():
    now = facts.MOMENTS["summer"]
    rows = [
        facts.closure("A1", Shade.ENTRY, now - timedelta(hours=3), 12),
        facts.closure("A1", Shade.UNDERWAY, now - timedelta(hours=1)),
    ]
    answer = closures.chart(rows, facts.frame(now)).answer
    assert answer == "1 block is closed. No opening time is known for any of them."


def test_the_harvest_wait_alone_closes_no_block_for_entry():
    now = facts.MOMENTS["summer"]
    chart = closures.chart([facts.closure("A1", Shade.HARVEST, now - timedelta(hours=3), 72)], facts.frame(now))
    assert chart.answer == "No closure for entry is on record now. Ask the board before anybody goes in."
    assert [r["state"] for r in table(chart)] == ["harvest"]


def test_days_on_the_axis_are_in_the_readers_language():
    now = facts.MOMENTS["summer"]
    with translation.override("es"):
        ticks = figure(intervals.chart(facts.intervals(now), facts.frame(now)))["layout"]["xaxis"]["ticktext"]
    assert ticks == ["11 may", "17 may", "23 may", "29 may", "4 jun"]
