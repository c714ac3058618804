"""The plan and the board read one label alike: which kind of work an entry interval binds, and for how long.

40 CFR 170.407 for the interval; label text for intervals by activity; the treatment of doubt is a project rule.
"""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

import pytest

from apps.safety.rules import Activity, about_work
from apps.spraying.rules import Entry
from apps.spraying.rules.harvest_entry import longest_rei
from apps.spraying.rules.outcome import entry_intervals

from .mixes import at, changed, facts, reasons, relabelled
from .whole import placed, whole

# General 12 h; the hours of one kind of work beside it. The job ends at 08:00 on 4 August.
LONG_PICKING = [{"activity": "picking_by_hand", "hours": 120}]
LONG_WEEDING = [{"activity": "hand_labor", "hours": 120}]
SHORT_SCOUTING = [{"activity": "scouting_on_foot", "hours": 4}]
UNHEARD_OF = [{"activity": "detasseling", "hours": 120}]


def base(rows, **doc):
    return changed(facts([]), lines=(relabelled("F1", 3, activity_rei=rows, **doc),))


HOURS = [
    ("no_row_for_it", LONG_PICKING, "scouting_on_foot", 12),
    ("its_own_row", LONG_PICKING, "picking_by_hand", 120),
    ("nobody_said_what", LONG_PICKING, None, 120),
    ("something_else_is_judged_by_the_strictest", LONG_PICKING, "other", 120),
    ("a_code_nobody_knows", LONG_PICKING, "juggling", 120),
    ("a_shorter_row_never_shortens", SHORT_SCOUTING, "scouting_on_foot", 12),
    ("a_row_for_work_the_board_does_not_know_binds_all", UNHEARD_OF, "irrigation", 120),
    ("no_rows", [], "irrigation", 12),
]


@pytest.mark.parametrize(("rows", "activity", "hours"), [r[1:] for r in HOURS], ids=[r[0] for r in HOURS])
def test_hours_of_a_kind_of_work(rows, activity, hours):
    given = base(rows)

    assert longest_rei(given, activity) == (Decimal(hours), given.judged[0])


@pytest.mark.parametrize("activity", [*Activity, None])
@pytest.mark.parametrize("rows", [LONG_PICKING, LONG_WEEDING, SHORT_SCOUTING, UNHEARD_OF, []])
def test_the_plan_never_asks_for_less_than_the_board(rows, activity):
    """The statements that the board hangs at the end, each that binds the work."""
    given = base(rows)
    hung = entry_intervals(given.lines, given.site_code, given.spray_gpa)
    binding = [i.hours for i in hung if about_work(i.activities, activity)]

    assert longest_rei(given, activity)[0] == max(binding)


def test_hours_of_one_kind_of_work_count_where_the_general_ones_are_not_on_record():
    given = base(LONG_PICKING, rei_hours=None)
    told = [longest_rei(given, work) for work in ("picking_by_hand", "hand_labor")]

    assert told == [(Decimal(120), given.judged[0]), None]
    assert reasons(changed(given, harvest_at=at("2026-08-05T08:00"))) == (["rei_harvest"], ["rei_unknown"])


PICKINGS = [
    # the fifth day is 9 August, 08:00
    ("by_hand_a_minute_early", LONG_PICKING, "picking_by_hand", "2026-08-09T07:59", ["rei_harvest"]),
    ("by_hand_to_the_minute", LONG_PICKING, "picking_by_hand", "2026-08-09T08:00", []),
    ("a_harvest_that_is_other_work", LONG_WEEDING, "hand_labor", "2026-08-09T07:59", ["rei_harvest"]),
    ("a_harvest_that_is_other_work_to_the_minute", LONG_WEEDING, "hand_labor", "2026-08-09T08:00", []),
    ("a_harvest_nobody_named", LONG_WEEDING, "other", "2026-08-09T07:59", ["rei_harvest"]),
    ("by_hand_where_only_weeding_waits", LONG_WEEDING, "picking_by_hand", "2026-08-04T20:00", []),
    ("in_a_cab_counts_like_the_harvest", LONG_PICKING, "driving_closed_cab", "2026-08-09T07:59", ["rei_harvest"]),
]


@pytest.mark.parametrize(("rows", "work", "when", "refusing"), [r[1:] for r in PICKINGS], ids=[r[0] for r in PICKINGS])
def test_a_scheduled_harvest_waits_for_its_own_work_and_for_picking(rows, work, when, refusing):
    picking = Entry(at=at(when), activity=work, is_harvest=True)

    assert reasons(changed(base(rows), entries=(picking,), harvest_at=None)) == (refusing, [])


def test_the_first_harvest_that_is_held_is_named_not_the_first_of_all():
    """By hand after 12 h is free; the weeding crew that harvests on the fifth day a minute early is not."""
    label = placed("F1", 3, "rei_hours", activity_rei=LONG_WEEDING)
    fine = Entry(at=at("2026-08-04T20:00"), activity="picking_by_hand", is_harvest=True)
    held = Entry(at=at("2026-08-09T07:59"), activity="hand_labor", is_harvest=True)
    later = changed(held, at=held.at + timedelta(seconds=30))
    given = changed(facts([]), lines=(label,), entries=(later, held, fine), harvest_at=None)

    assert whole(given, "rei_harvest") == [
        ("refuse", "F1: entry is restricted for 120 h, until Sun, Aug 9, 8:00 AM EDT; harvest is planned for "
         "Sun, Aug 9, 7:59 AM EDT.", "label of F1, label 1, restricted-entry interval; 40 CFR 170.407, page 7",
         "start_at", "F1"),
    ]  # fmt: skip


def test_two_harvests_at_one_hour_of_which_one_names_no_work():
    """No work named waits for the longest that the label says of any."""
    crews = [Entry(at=at("2026-08-09T07:59"), activity=work, is_harvest=True) for work in ("picking_by_hand", None)]

    for entries in (tuple(crews), tuple(reversed(crews))):
        assert reasons(changed(base(LONG_WEEDING), entries=entries, harvest_at=None))[0] == ["rei_harvest"]


def test_of_two_products_that_wait_as_long_the_one_that_holds_picking_is_named():
    by_picking = relabelled("F4", 8, activity_rei=LONG_PICKING)
    by_weeding = relabelled("F1", 3, activity_rei=LONG_WEEDING)
    crew = Entry(at=at("2026-08-09T07:59"), activity="hand_labor", is_harvest=True)
    given = changed(facts([]), lines=(by_weeding, by_picking), entries=(crew,), harvest_at=None)

    assert [row[4] for row in whole(given, "rei_harvest")] == ["F4"]


def test_the_stated_harvest_is_picking_unless_something_else_is_said():
    """Hand labor waits 120 h, picking 12: noon of the next day is late enough for picking alone."""
    given = changed(base(LONG_WEEDING), harvest_at=at("2026-08-05T12:00"))

    assert [reasons(changed(given, harvest_activity=work))[0] for work in ("picking_by_hand", "hand_labor", None)] == [
        [],
        ["rei_harvest"],
        ["rei_harvest"],
    ]


def test_other_work_is_asked_about_by_the_strictest_hours():
    given = changed(base(LONG_PICKING), entries=(Entry(at=at("2026-08-09T07:59"), activity="other"),))

    assert reasons(given) == ([], ["rei_entry"])
