"""What to do instead: every suggestion, checked again, has no refusal. Limits of the invented library."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.spraying.rules import CertificateFact, Entry, StockFact, Worker, check
from apps.spraying.rules.alternatives import Choices, OnShelf, Turn, ways_out
from apps.spraying.rules.alternatives import alternatives as for_blocks
from apps.spraying.rules.openings import first_start, later_starts
from apps.spraying.rules.turns import _later_harvest
from farmops.errors import refusals
from farmops.units import Quantity

from .mixes import OFTEN, PLACE, ZONE, at, changed, facts, line, mix, nights, past, relabelled
from .test_check_properties import stories

F1, F3 = ("F1", 3), ("F3", 6)
CARD = CertificateFact(number="9", jurisdiction=PLACE, valid_from=date(2020, 1, 1), valid_to=date(2030, 1, 1))


def alternatives(base, choices):
    return for_blocks([base], choices)


def nothing_helps(base, choices):
    return ways_out([base], choices).nothing_helps


def sunset(day: date) -> datetime:
    return at(f"{day}T20:10")


def mover(base):
    """The same job at another start: nights of that day, no weather known, bloom as it is."""

    def moved(start_at):
        local = start_at.astimezone(ZONE)
        length = base.end_at - base.start_at
        return changed(
            base,
            start_at=start_at,
            end_at=start_at + length,
            nights=nights(local.date(), "20:10"),
            weather=None,
        )

    return moved


def choices(base, days=20, **more):
    starts = later_starts(base.start_at, sunset, days, ZONE)
    return Choices(movers=[mover(base)], starts=starts, **more)


def shelf(*rows, gallons="9"):
    """Products in the shed, a good amount of each."""
    liquid = {"floz", "pt", "qt", "gal"}
    return [
        OnShelf(line=r, available=Quantity(Decimal(gallons), "gal" if r.rate.quantity.unit in liquid else "lb"))
        for r in rows
    ]


def offered(base, **more):
    return [[change.sentence for change in s.changes] for s in alternatives(base, choices(base, **more))]


def test_nothing_to_change_where_nothing_is_refused():
    assert offered(facts([F3, F1])) == []


def test_the_earliest_day_after_an_interval():
    """7 days after 3 Aug; the first instant tried on 10 Aug is the planned clock time."""
    given_ = facts([F1], [past("2026-08-03", F1)])

    assert offered(given_) == [["Start at Mon, Aug 10, 7:00 AM EDT instead."]]


def test_the_same_evening_for_the_bees():
    given_ = facts([("I5", 4)], bloom=True, start="2026-08-04T09:30", end="2026-08-04T10:30")

    assert offered(given_) == [["Start at Tue, Aug 4, 8:10 PM EDT instead."]]


def test_the_highest_rate_that_still_fits_the_year():
    """0.3 lb bifenthrin a year, 0.2 lb used: 6.4 fl oz = 0.1 lb is left; 7 fl oz is also above the label."""
    given_ = facts([("I2", 7)], [past("2026-06-01", ("I2", "6.4")), past("2026-07-01", ("I2", "6.4"))])

    assert ["I2 at 6.4 fl oz/acre, the highest that fits."] in offered(given_)


def test_what_is_left_may_be_below_the_label():
    """0.3 lb used up but for 0.02 lb = 1.28 fl oz: less than the lowest rate, so no rate is offered."""
    used = [past("2026-06-01", ("I2", "6.4")), past("2026-06-15", ("I2", "6.4")), past("2026-07-01", ("I2", "5.12"))]
    given_ = facts([("I2", "6.4")], used)

    assert (offered(given_), nothing_helps(given_, choices(given_))) == ([], True)


def test_the_low_tier_of_the_interval():
    """I5 on corn: up to 2.1 oz one day before harvest, above it seven."""
    given_ = facts([("I5", 4)], crop="sweet_corn", harvest="2026-08-06T08:00")

    assert ["I5 at 2.1 oz (weight)/acre, the highest that fits."] in offered(given_)
    assert ["Harvest not before Tue, Aug 11, 8:00 AM EDT."] in offered(given_)


def test_acres_that_fit_the_shed():
    stock = {"F1": StockFact(available=Quantity(Decimal(10), "pt"), needed=Quantity(Decimal(36), "pt"))}
    given_ = changed(facts([F1]), stock=stock)

    assert ["Spray 3.33 acres with what is in the shed."] in offered(given_, acres=Decimal(12))


def test_another_group_from_the_shed():
    given_ = facts([F3, F1], [past("2026-07-20", F3, F1), past("2026-07-27", F3, F1)])
    shed = shelf(line("F4", 8), line("F9", "15.4"), line("H4", "1.5"), line("F3", 5))

    assert offered(given_, shed=shed) == [["F4 at 8 fl oz/acre instead of F3."]]


SHELF = [
    # F4 8 fl oz on 12 acres = 96 fl oz = 0.75 gal
    ("enough", "0.75", Decimal(12), [["F4 at 8 fl oz/acre instead of F3."]]),
    ("too_little", "0.74", Decimal(12), []),
    ("acres_not_known", "9", None, []),
]


@pytest.mark.parametrize(("gallons", "acres", "expected"), [r[1:] for r in SHELF], ids=[r[0] for r in SHELF])
def test_the_other_product_must_be_enough(gallons, acres, expected):
    plenty = {
        "F3": StockFact(available=Quantity(Decimal(5), "gal"), needed=Quantity(Decimal(72), "floz")),
        "F1": StockFact(available=Quantity(Decimal(50), "gal"), needed=Quantity(Decimal(36), "pt")),
    }
    given_ = facts([F3, F1], [past("2026-07-20", F3, F1), past("2026-07-27", F3, F1)])
    given_ = changed(given_, stock=plenty)

    assert offered(given_, shed=shelf(line("F4", 8), gallons=gallons), acres=acres) == expected


def test_a_lower_rate_needs_less_of_the_shed():
    """6 fl oz on 12 acres is 72; 60 is enough for 5 fl oz, within the label's 4-6."""
    stock = {
        "F3": StockFact(available=Quantity(Decimal(60), "floz"), needed=Quantity(Decimal(72), "floz")),
        "F1": StockFact(available=Quantity(Decimal(50), "gal"), needed=Quantity(Decimal(36), "pt")),
    }
    found = offered(changed(facts([F3, F1]), stock=stock), acres=Decimal(12))

    assert found == [["F3 at 5 fl oz/acre, the highest that fits."], ["Spray 10 acres with what is in the shed."]]


def test_nothing_in_the_shed_is_no_area():
    stock = {"F1": StockFact(available=Quantity(Decimal(0), "pt"), needed=Quantity(Decimal(36), "pt"))}

    assert offered(changed(facts([F1]), stock=stock), acres=Decimal(12)) == []


def test_without_a_way_to_move_the_start_the_harvest_can_still_wait():
    given_ = facts([F3, F1], harvest="2026-08-05T08:00")
    found = alternatives(given_, Choices())

    assert [[c.sentence for c in s.changes] for s in found] == [["Harvest not before Fri, Aug 7, 8:00 AM EDT."]]


def test_a_scheduled_picking_waits_as_well():
    picking = Entry(at=at("2026-08-05T08:00"), activity="picking_by_hand", is_harvest=True)
    given_ = changed(facts([F3, F1]), entries=(picking,))
    found = alternatives(given_, Choices())

    assert [e.at for s in found for e in s.facts[0].entries] == [at("2026-08-07T08:00")]


def test_an_interval_nobody_knows_cannot_be_waited_for():
    """F1's entry interval is not on record: no moment can be promised for the harvest."""
    given_ = facts([F3, F1], harvest="2026-08-05T08:00")
    silent = changed(given_, lines=(line(*F3), relabelled("F1", 3, rei_hours=None)))

    assert alternatives(silent, Choices()) == []


def test_a_shed_product_that_is_refused_itself_is_not_offered():
    given_ = facts([F3, F1], [past("2026-07-20", F3, F1), past("2026-07-27", F3, F1)])
    used_up = changed(given_, history=(*given_.history, past("2026-08-01", ("F4", 8))))

    assert offered(used_up, shed=shelf(line("F4", 8))) == []


def test_somebody_who_may():
    given_ = facts([("I1", 3)], cert={"holder": False, "expires": "2020-01-01", "paraquat_trained": None})
    workers = [Worker(name="Bo"), Worker(name="Cleo", certificates=(CARD,))]

    assert offered(given_, workers=workers) == [["Cleo as applicator."]]


def test_more_water():
    assert offered(facts([F3, F1], gpa=15)) == [["Spray 20 gal/acre, with a calibration to match."]]


def test_several_faults_need_several_changes():
    """Interval, pre-harvest days and wind at once: wait for the interval, and pick later."""
    given_ = facts(
        [F3, F1],
        [past("2026-09-10", F3, F1)],
        harvest="2026-09-16T08:00",
        wind=18,
        start="2026-09-14T07:00",
        end="2026-09-14T08:00",
    )
    found = alternatives(given_, choices(given_))

    assert sorted(c.turn for c in found[0].changes) == [Turn.HARVEST, Turn.START]
    assert found[0].answers == ("interval", "phi", "wind_high")
    assert "data_missing_wind" in [f.code for f in found[0].left[0]]


def test_a_change_that_a_later_one_makes_needless_is_undone():
    """More water answers the volume, but the product that answers the run asks for none."""
    given_ = facts([F3], [past("2026-07-20", F3, F1), past("2026-07-27", F3, F1)], gpa=15)
    thin = relabelled("F4", 8, min_spray_gpa=None)

    assert ["F4 at 8 fl oz/acre instead of F3."] in offered(given_, shed=shelf(thin))


def test_each_change_says_what_comes_back_without_it():
    given_ = facts([("I5", 4)], crop="sweet_corn", harvest="2026-08-06T08:00", gpa=10)
    found = alternatives(given_, choices(given_))

    assert {c.turn: c.answers for c in found[0].changes} == {Turn.VOLUME: ("gpa_low",), Turn.RATE: ("phi",)}


def test_a_rate_that_cannot_be_compared_is_not_lowered():
    given_ = changed(facts([F1]), lines=(line("F1", 3, "lb"),))

    assert offered(given_) == []


def test_a_label_that_does_not_name_the_target_is_not_offered():
    run = [past("2026-07-20", F3, F1), past("2026-07-27", F3, F1)]
    given_ = facts([F3, F1], run)
    aimed = tuple(changed(row, targets=("powdery_mildew",)) for row in given_.lines)
    history = tuple(changed(e, lines=tuple(changed(row, targets=("powdery_mildew",)) for row in e.lines)) for e in run)
    given_ = changed(given_, lines=aimed, history=history)
    rust_only = relabelled("F4", 8, use={"targets": ["rust"]})
    mildew = relabelled("F4", 8, use={"targets": ["powdery_mildew"]})

    assert offered(given_, shed=shelf(rust_only)) == []
    assert offered(given_, shed=shelf(mildew)) == [["F4 at 8 fl oz/acre instead of F3."]]


def test_a_product_already_in_the_tank_is_no_other_product():
    given_ = facts([F3, ("F4", 6)], [past("2026-07-20", F3, F1), past("2026-07-27", F3, F1)])

    assert offered(given_, shed=shelf(line("F4", 8))) == []


def test_an_evening_that_is_shorter_says_when_to_be_done():
    base = facts([("I5", 4)], bloom=True, start="2026-08-04T08:00", end="2026-08-04T20:00")

    def moved(start_at):
        return changed(mover(base)(start_at), end_at=start_at + timedelta(hours=9))

    found = for_blocks([base], Choices(movers=[moved], starts=[sunset(date(2026, 8, 4))]))

    assert [[c.sentence for c in s.changes] for s in found] == [
        ["Start at Tue, Aug 4, 8:10 PM EDT instead, and be done by Wed, Aug 5, 5:10 AM EDT."]
    ]


def test_a_label_that_asks_for_no_volume_is_not_given_one():
    silent = changed(facts([F1], [past("2026-08-03", F1)]), lines=(relabelled("F1", 3, min_spray_gpa=None),))

    assert alternatives(silent, Choices()) == []


def test_a_way_out_tells_what_would_still_need_a_reason():
    base = facts([F1], [past("2026-08-03", F1)])
    found = alternatives(base, choices(base))

    assert [f.code for f in found[0].asks] == ["data_missing_wind"]


class TestSeveralBlocks:
    """A suggestion has to hold on every block of the job."""

    def blocks(self):
        clean = changed(facts([F1]), block_name="East 1")
        too_soon = changed(facts([F1], [past("2026-08-03", F1)]), block_name="West 2")
        return [clean, too_soon]

    def test_the_start_that_fits_all(self):
        first, second = self.blocks()
        later = changed(first, history=(past("2026-08-05", F1),))
        both = [later, second]
        starts = later_starts(first.start_at, lambda day: None, 20, ZONE)
        found = for_blocks(both, Choices(movers=[mover(b) for b in both], starts=starts))

        assert [[c.sentence for c in s.changes] for s in found] == [["Start at Wed, Aug 12, 7:00 AM EDT instead."]]
        assert [len(s.facts) for s in found] == [2]

    def test_the_refused_block_may_be_left_out(self):
        found = for_blocks(self.blocks(), Choices(block_acres=[Decimal(6), Decimal(4)]))

        assert [[c.sentence for c in s.changes] for s in found] == [["Leave West 2 out of this job."]]
        assert [f.block_name for f in found[0].facts] == ["East 1"]

    def test_not_when_the_acres_are_not_known_or_every_block_is_refused(self):
        assert for_blocks(self.blocks(), Choices()) == []
        bad = self.blocks()[1]
        stuck = ways_out([bad, changed(bad, block_name="North 3")], Choices(block_acres=[Decimal(6), Decimal(4)]))
        assert (stuck.nothing_helps, [(place, f.code) for place, f in stuck.stuck]) == (
            True,
            [(0, "interval"), (1, "interval")],
        )

    def test_every_refused_block_is_left_out(self):
        clean, bad = self.blocks()
        found = for_blocks([clean, bad, changed(bad, block_name="North 3")], Choices(block_acres=[Decimal(2)] * 3))

        assert [[c.sentence for c in s.changes] for s in found] == [
            ["Leave West 2 out of this job.", "Leave North 3 out of this job."]
        ]

    def test_leaving_a_block_out_leaves_more_of_the_shed(self):
        """36 pt are needed on 10 acres, 22 are there: the 6 acres left need 21.6."""
        stock = {"F1": StockFact(available=Quantity(Decimal(22), "pt"), needed=Quantity(Decimal(36), "pt"))}
        first, second = (changed(b, stock=stock) for b in self.blocks())
        found = for_blocks([first, second], Choices(acres=Decimal(10), block_acres=[Decimal(6), Decimal(4)]))

        assert [[c.sentence for c in s.changes] for s in found][0] == ["Leave West 2 out of this job."]
        assert found[0].facts[0].stock["F1"].needed == Quantity(Decimal("21.6"), "pt")

    def test_the_acres_that_fit_are_those_of_the_blocks_that_stay(self):
        """10 pt in the shed; the 6 acres left need 21.6 pt, at the lowest rate 10.8: 10 / 21.6 x 6 = 2.77 acres."""
        stock = {"F1": StockFact(available=Quantity(Decimal(10), "pt"), needed=Quantity(Decimal(36), "pt"))}
        first, second = (changed(b, stock=stock) for b in self.blocks())
        found = for_blocks([first, second], Choices(acres=Decimal(10), block_acres=[Decimal(6), Decimal(4)]))

        assert [sorted(c.sentence for c in s.changes) for s in found] == [
            ["Leave West 2 out of this job.", "Spray 2.77 acres with what is in the shed."]
        ]

    def test_the_rate_fits_the_strictest_block(self):
        """I5: pumpkins up to 5.3 oz whatever the harvest; corn picked in two days only up to 2.1."""
        squash = facts([("I5", 5)])
        corn = facts([("I5", 5)], crop="sweet_corn", harvest="2026-08-06T08:00")
        found = for_blocks([squash, corn], Choices())

        assert ["I5 at 2.1 oz (weight)/acre, the highest that fits."] in [
            [c.sentence for c in s.changes] for s in found
        ]


def test_a_harvest_nobody_can_date_is_left_alone():
    silent = changed(facts([F3]), lines=(relabelled("F3", 6, rei_hours=None),))

    assert _later_harvest(silent) is silent


HOPELESS = [
    ("crop_not_on_the_label", facts([F3, F1], crop="summer_squash", harvest="2026-08-20T08:00")),
    ("two_that_never_mix", facts([("F10", 4), ("F11", "0.8")])),
]


@pytest.mark.parametrize("given_", [r[1] for r in HOPELESS], ids=[r[0] for r in HOPELESS])
def test_it_is_said_plainly_when_nothing_helps(given_):
    assert (alternatives(given_, choices(given_)), nothing_helps(given_, choices(given_))) == ([], True)


def test_the_first_evening_on_all_blocks():
    """One block was sprayed on 3 Aug, the other on 6 Aug: 7 days after the later one, at sunset."""
    blocks = [
        mover(facts([F1], [past("2026-08-03", F1)])),
        mover(facts([F1], [past("2026-08-06", F1)])),
    ]
    evenings = [sunset(date(2026, 8, 4) + timedelta(days=n)) for n in range(30)]

    assert first_start(blocks, evenings) == at("2026-08-13T20:10")
    assert first_start(blocks, evenings[:5]) is None


def test_instants_worth_trying_keep_the_clock_time_across_a_clock_change():
    start_at = at("2026-10-31T07:00")
    starts = later_starts(start_at, lambda day: None, 2, ZONE)

    assert [s.astimezone(ZONE).strftime("%m-%d %H:%M") for s in starts] == ["11-01 07:00", "11-02 07:00"]
    assert starts[0] - start_at == timedelta(hours=25)


@settings(max_examples=30 * OFTEN, deadline=None)
@given(stories(), st.sampled_from([1, 3, 10]))
def test_every_suggestion_checked_again_has_no_refusal(story, days):
    given_, _ = story
    shed = shelf(*mix(("F4", 8), ("F5", 5), ("I5", 4), ("I4", 4), ("H4", "1.5")))
    found = alternatives(given_, choices(given_, days=days, shed=shed, acres=Decimal(10)))

    assert [s for s in found if refusals(s.left[0]) or not s.changes] == []
    assert all(s.left == (tuple(check(s.facts[0])),) for s in found)
