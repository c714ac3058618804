"""The managers' charts as a real browser draws them: in another zone, on a phone, and without scripts."""

from __future__ import annotations

from typing import Any

import pytest

from apps.dashboard import queries
from tests.journeys.conftest import DESK, PHONE, Seat
from tests.journeys.test_pages_in_browser import drawn, faults_at
from tests.journeys.world import SEEN_AT, World

pytestmark = pytest.mark.browser

# Where the script has put each bar and mark, read back from its own reckoning. It holds clock times of an axis
# as if they were UTC, so that is how they are written out.
_DRAWN = """
() => Object.fromEntries([...document.querySelectorAll(".plot")].map((box) => [box.dataset.chart,
  box.calcdata.flatMap((trace) => trace.filter((p) => p.s !== undefined || p.x !== undefined).map((p) => {
    const clock = (ms) => new Date(ms).toISOString().slice(0, 19).replace("T", " ");
    const timed = box._fullLayout.xaxis.type === "date";
    if (p.s === undefined) return timed ? [p.y, clock(p.x), null] : [p.y, p.x, null];
    return timed ? [p.p, clock(p.b), clock(p.b + p.s)] : [p.p, p.b, p.b + p.s];
  }))]))
"""
_SMALLEST = """
() => Math.min(...[...document.querySelectorAll(".plot text")].map((t) => parseFloat(getComputedStyle(t).fontSize)))
"""
_FOCUSABLE = """
() => document.querySelectorAll(".plot a[href], .plot button, .plot input, .plot [tabindex]").length
"""


def charts(world: World, sit: Any, **options: Any) -> Seat:
    seat = sit(world.cast.manager, **options)
    assert seat.go(f"/f/{world.bench.farm.slug}/charts/").status == 200
    return seat


def clock(cell: Any) -> str | None:
    """A table's instant as the farm's clock shows it."""
    return None if cell.value is None else cell.value[:19].replace("T", " ")


def as_tabled(world: World) -> list[list[Any]]:
    """Row, begin and end of every bar as the table has them; an end nobody vouches for is the edge."""
    chart = queries.chart(world.bench.farm, "closures", SEEN_AT)
    layout = chart.as_json()["figure"]["layout"]
    blocks, edge = layout["yaxis"]["ticktext"], layout["xaxis"]["range"][1]
    found = []
    for block, _, since, until, *_ in chart.rows:
        unsure = until.value is None or until.text.startswith("not confirmed")
        found.append([blocks.index(block.value), clock(since), edge if unsure else clock(until)])
    return sorted(found)


def test_what_is_drawn_does_not_depend_on_the_zone_of_the_device(world: World, sit: Any):
    expected = as_tabled(world)
    assert len(expected) == 6
    for zone in ("America/Chicago", "America/Los_Angeles", "Asia/Kolkata"):
        seat = charts(world, sit, timezone_id=zone)
        drawn(seat)
        assert seat.page.evaluate("Intl.DateTimeFormat().resolvedOptions().timeZone") in {zone, "Asia/Calcutta"}
        assert sorted(seat.page.evaluate(_DRAWN)["closures"]) == expected, zone


def test_every_chart_is_drawn_and_nothing_is_stopped(world: World, sit: Any):
    seat = charts(world, sit)
    drawn(seat)
    states = seat.page.evaluate(
        "[...document.querySelectorAll('.plot')].map((b) => [b.dataset.chart, b.dataset.drawn])"
    )
    assert states == [["closures", "yes"], ["intervals", "yes"], ["limits", "yes"], ["stock", "yes"]]
    assert seat.taken() == []
    seat.page.mouse.move(640, 500)
    seat.page.mouse.wheel(0, 600)
    assert seat.taken() == []


def test_a_drawing_has_a_name_holds_nothing_to_focus_and_is_large_enough_to_read(world: World, sit: Any):
    for size in (PHONE, DESK):
        seat = charts(world, sit, size=size)
        drawn(seat)
        names = seat.page.eval_on_selector_all(
            ".plot", "(all) => all.map((b) => [b.getAttribute('role'), b.ariaLabel])"
        )
        assert [role for role, _ in names] == ["img"] * 4
        assert all(label.endswith("The table below it has the same numbers.") for _, label in names)
        assert seat.page.evaluate(_FOCUSABLE) == 0
        assert seat.page.evaluate(_SMALLEST) >= 14
        assert faults_at(seat, "en") == []


def test_without_scripts_the_tables_say_everything_and_no_empty_frame_stands(world: World, sit: Any):
    seat = charts(world, sit, java_script_enabled=False)
    assert seat.page.locator("section.chart table").count() == 4
    assert seat.page.locator(".plot:visible").count() == 0
    shown = seat.page.locator("main").inner_text()
    for chart in queries.charts(world.bench.farm, SEEN_AT):
        assert chart.question in shown
        assert chart.answer in shown


def test_when_the_figures_cannot_be_fetched_the_page_says_so_and_keeps_its_tables(world: World, sit: Any):
    seat = sit(world.cast.manager)
    seat.page.route("**/api/v1/**", lambda route: route.abort())
    seat.go(f"/f/{world.bench.farm.slug}/charts/")
    drawn(seat)
    said = seat.page.locator("figcaption").all_inner_texts()
    assert said == ["The drawing could not be made. The table has the same numbers."] * 4
    assert seat.page.locator(".plot:visible").count() == 0
    assert seat.page.locator("section.chart table:visible").count() == 4
