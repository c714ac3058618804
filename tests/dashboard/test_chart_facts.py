"""From rows to what is drawn: the same numbers as the board, the notices, the check and the shed."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.dashboard import queries
from apps.dashboard.rules import Days, Shade
from apps.safety import queries as board
from apps.spraying import due, services
from tests.factories.crops import PlantingFactory
from tests.factories.land import BlockFactory
from tests.factories.products import LabelFactory, ProductFactory
from tests.factories.spraying import ENDED, NOW, STARTED, WINDOW, line, plot_of, shield_document

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
HOUR = timedelta(hours=1)


def signed_at(bench, at, block, product=None):
    """A spray from plan to signature, its window beginning an hour after ``at``."""
    job = bench.spraying(
        at=at + HOUR,
        now=at,
        blocks=[{"block_id": block.pk}],
        products=[line(product or bench.product)],
        window_starts_at=at + HOUR,
        window_ends_at=at + 4 * HOUR,
    )
    done = bench.done_values(job, started_at=at + HOUR, ended_at=at + 2 * HOUR)
    services.finish_spraying(member=bench.applicator, job_id=job.pk, done=done, now=at + 2 * HOUR)
    job.refresh_from_db()
    return bench.sign(job, now=at + 3 * HOUR)


# ---- closures ------------------------------------------------------------------------------


def shades(bench, now):
    return [(r.shade, r.span.starts_at, r.drawn.ends_at, r.unsure) for r in queries.closure_facts(bench.farm, now)]


def test_an_assigned_job_is_a_planned_closure(bench):
    bench.assigned()
    assert shades(bench, NOW) == [(Shade.PLANNED, *WINDOW, False)]


def test_a_window_nobody_reported_on_has_no_end(bench):
    bench.assigned()
    assert shades(bench, WINDOW[1] + HOUR) == [(Shade.PLANNED, WINDOW[0], None, True)]


def test_spraying_has_no_end(bench):
    bench.spraying()
    assert shades(bench, STARTED + HOUR) == [(Shade.UNDERWAY, STARTED, None, False)]


def test_an_unsigned_spray_has_a_time_that_nobody_vouches_for(bench):
    bench.sprayed()
    (row,) = queries.closure_facts(bench.farm, ENDED + HOUR)
    assert (row.shade, row.unsure, row.drawn.ends_at) == (Shade.UNCONFIRMED, True, None)
    assert row.span.ends_at == ENDED + 12 * HOUR


def test_a_signed_spray_closes_for_twelve_hours_and_three_days(bench):
    """12 h and 3 days are the demo label's own intervals."""
    bench.signed()
    assert shades(bench, ENDED + HOUR) == [
        (Shade.ENTRY, STARTED, ENDED + 12 * HOUR, False),
        (Shade.HARVEST, STARTED, ENDED + 3 * DAY, False),
    ]
    assert shades(bench, ENDED + 12 * HOUR) == [(Shade.HARVEST, STARTED, ENDED + 3 * DAY, False)]
    assert shades(bench, ENDED + 3 * DAY) == []


@pytest.mark.parametrize("hours", [0, 1, 3, 13, 80])
def test_the_chart_says_closed_exactly_where_the_board_does(bench, hours):
    bench.signed()
    bench.assigned(blocks=[{"block_id": bench.blocks[1].pk}])
    now = STARTED + hours * HOUR
    shut = {line.block.code for line in board.board(bench.farm, at=now, now=now) if line.entry.keep_out}
    chart = queries.chart(bench.farm, "closures", now)
    drawn = {
        row[0].text[:2]
        for row in chart.rows
        if row[1].value != "harvest" and datetime.fromisoformat(row[2].value) <= now
    }
    assert drawn == shut
    count = f"{len(shut)} block{'s are' if len(shut) > 1 else ' is'} closed." if shut else "No closure for entry"
    assert chart.answer.startswith(count)


# ---- intervals -----------------------------------------------------------------------------


def test_the_next_window_is_the_one_the_notices_speak_of(bench):
    """Seven to ten days are the farm's usual interval by default; the label asks for at least seven."""
    signed_at(bench, NOW, bench.blocks[0])
    now = NOW + 5 * DAY
    (row,) = queries.interval_facts(bench.farm, now)
    ((block, window),) = due.windows(bench.farm, now)
    assert row.block == str(block)
    assert row.window == Days(first_on=window.opens_on, last_on=window.closes_on)
    assert row.window == Days(first_on=date(2026, 7, 13), last_on=date(2026, 7, 16))
    assert [(m.at, m.done) for m in row.sprays] == [(NOW + HOUR, True)]
    assert row.missed == ()


def test_a_window_that_closed_unsprayed_is_missed(bench):
    signed_at(bench, NOW, bench.blocks[0])
    (row,) = queries.interval_facts(bench.farm, NOW + 11 * DAY)
    assert (row.window, row.missed) == (None, (Days(first_on=date(2026, 7, 13), last_on=date(2026, 7, 16)),))


@pytest.mark.parametrize(("gap", "missed"), [(7, 0), (10, 0), (11, 1)], ids=["first day", "last day", "a day late"])
def test_between_two_sprays_a_window_is_missed_only_when_the_second_came_after_it(bench, gap, missed):
    signed_at(bench, NOW, bench.blocks[0])
    signed_at(bench, NOW + gap * DAY, bench.blocks[0])
    (row,) = queries.interval_facts(bench.farm, NOW + (gap + 1) * DAY)
    assert len(row.missed) == missed
    assert len(row.sprays) == 2


def test_a_booked_spray_is_marked_and_ends_the_waiting(bench):
    signed_at(bench, NOW, bench.blocks[0])
    start = NOW + 8 * DAY
    bench.assigned(window_starts_at=start, window_ends_at=start + 3 * HOUR, now=NOW + DAY)
    (row,) = queries.interval_facts(bench.farm, NOW + 2 * DAY)
    assert [(m.at, m.done) for m in row.sprays] == [(NOW + HOUR, True), (start, False)]
    assert (row.window, row.missed) == (None, ())


# ---- season limits -------------------------------------------------------------------------

POUNDS = Decimal("2.08") * 5 / 128
"""5 fl oz of a product with 2.08 lb per gallon, 128 fl oz to the gallon: 0.08125 lb per acre."""


@pytest.fixture
def guarded(bench):
    """A product whose label allows half a pound of its ingredient in a calendar year."""
    cap = {"ingredient": "quinoxyfen", "pounds": "0.5", "per": "year", "year_basis": "calendar"}
    bench.guard = bench.product_of("Demo Guard", shield_document(caps=[cap]))
    return bench


def test_used_and_booked_are_counted_against_the_labels_limit(guarded):
    signed_at(guarded, NOW, guarded.blocks[0], guarded.guard)
    start = NOW + 8 * DAY
    guarded.assigned(
        products=[line(guarded.guard, "6")], window_starts_at=start, window_ends_at=start + 3 * HOUR, now=NOW + DAY
    )
    (row,) = queries.limit_facts(guarded.farm, NOW + 2 * DAY)
    assert (row.ingredient, row.limit, row.product) == ("quinoxyfen", Decimal("0.5"), "Demo Guard")
    assert row.used == pytest.approx(POUNDS, abs=Decimal("0.0001"))
    assert row.booked == Decimal("0.0975")  # 6 fl oz: 2.08 × 6 / 128
    assert (row.since, row.until) == (date(2026, 1, 1), date(2026, 12, 31))
    assert row.left == row.limit - row.used - row.booked


def test_another_product_with_the_same_ingredient_counts_too(guarded):
    signed_at(guarded, NOW, guarded.blocks[0], guarded.guard)
    signed_at(guarded, NOW + 8 * DAY, guarded.blocks[0])
    (row,) = queries.limit_facts(guarded.farm, NOW + 9 * DAY)
    assert row.used == pytest.approx(2 * POUNDS, abs=Decimal("0.0001"))


def test_an_assigned_job_past_its_window_counts_as_used(guarded):
    guarded.assigned(products=[line(guarded.guard)])
    (row,) = queries.limit_facts(guarded.farm, WINDOW[1] + HOUR)
    assert (row.used, row.booked) == (POUNDS, 0)


def test_a_draft_and_a_label_without_a_limit_count_nothing(guarded):
    guarded.planned(products=[line(guarded.guard)])
    signed_at(guarded, NOW, guarded.blocks[1])
    assert queries.limit_facts(guarded.farm, NOW + DAY) == []


# ---- stock ---------------------------------------------------------------------------------


def test_drafts_need_what_assigned_jobs_hold(bench):
    """5 fl oz an acre on the block's acres, 128 fl oz to the gallon."""
    bench.planned()
    need = (bench.blocks[0].planted_acres * 5 / 128).quantize(Decimal("0.000000001"))
    (row,) = queries.stock_facts(bench.farm, NOW)
    assert (row.product, row.unit, row.on_hand, row.promised) == ("Demo Shield", "gal", 5, 0)
    assert row.drafts == need
    bench.assigned(blocks=[{"block_id": bench.blocks[1].pk}])
    (row,) = queries.stock_facts(bench.farm, NOW)
    assert (row.drafts, row.missing) == (need, 0)
    assert row.promised == pytest.approx(need, abs=Decimal("0.01"))


def test_a_product_the_shed_never_held_is_missing_entirely(bench):
    product = ProductFactory(farm=bench.farm, name="Demo Absent")
    LabelFactory(product=product, document=shield_document())
    bench.planned(products=[line(product)])
    row = next(r for r in queries.stock_facts(bench.farm, NOW) if r.product == "Demo Absent")
    assert (row.on_hand, row.promised, row.unit) == (0, 0, "gal")
    assert row.missing == row.drafts > 0


def test_a_need_in_pounds_of_a_product_kept_in_gallons_without_a_density_cannot_be_counted(bench):
    bench.planned(products=[line(bench.product, "1", "lb")])
    (row,) = queries.stock_facts(bench.farm, NOW)
    assert (row.drafts, row.missing) == (None, None)


def test_a_draft_whose_window_is_over_needs_nothing(bench):
    bench.planned()
    (row,) = queries.stock_facts(bench.farm, WINDOW[1])
    assert row.drafts == 0


# ---- constant query counts -----------------------------------------------------------------


def counted(farm, now) -> dict[str, int]:
    found = {}
    for name in queries.CHARTS:
        with CaptureQueriesContext(connection) as seen:
            queries.chart(farm, name, now)
        found[name] = len(seen)
    return found


def test_the_number_of_queries_does_not_grow_with_the_farm(bench):
    signed_at(bench, NOW, bench.blocks[0])
    now = NOW + 2 * DAY
    ahead = {"window_starts_at": now + HOUR, "window_ends_at": now + 3 * HOUR, "now": NOW + DAY}
    bench.planned(**ahead)
    before = counted(bench.farm, now)
    for number in range(3, 7):
        block = BlockFactory(farm=bench.farm, code=f"N{number}", polygon=plot_of(number))
        PlantingFactory(farm=bench.farm, block=block, crop=bench.crop, sown_on=date(2026, 6, 10))
        signed_at(bench, NOW + DAY, block)
        bench.planned(blocks=[{"block_id": block.pk}], **ahead)
    assert counted(bench.farm, now) == before
    assert max(before.values()) <= 14


def test_another_farms_sprays_are_not_drawn(bench, cast):
    bench.signed()
    now = datetime(2026, 7, 6, 16, tzinfo=UTC)
    assert [queries.chart(cast.other_farm, name, now).rows for name in queries.CHARTS] == [()] * 4
