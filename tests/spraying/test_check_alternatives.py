"""What to do instead: every suggestion, checked again, has no refusal. Limits of the invented library."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.spraying.rules import CertificateFact, Entry, StockFact, Worker, check
from apps.spraying.rules.alternatives import Choices, OnShelf, Turn, alternatives, nothing_helps
from apps.spraying.rules.openings import first_start, later_starts
from farmops.errors import refusals
from farmops.units import Quantity

from .mixes import PLACE, ZONE, at, changed, facts, line, mix, nights, past, relabelled
from .test_check_properties import stories

F1, F3 = ("F1", 3), ("F3", 6)
CARD = CertificateFact(number="9", jurisdiction=PLACE, valid_from=date(2020, 1, 1), valid_to=date(2030, 1, 1))


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
    return Choices(mover=mover(base), starts=starts, **more)


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

    assert [e.at for s in found for e in s.facts.entries] == [at("2026-08-07T08:00")]


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
    assert "data_missing_wind" in [f.code for f in found[0].left]


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


@settings(max_examples=30, deadline=None)
@given(stories(), st.sampled_from([1, 3, 10]))
def test_every_suggestion_checked_again_has_no_refusal(story, days):
    given_, _ = story
    shed = shelf(*mix(("F4", 8), ("F5", 5), ("I5", 4), ("I4", 4), ("H4", "1.5")))
    found = alternatives(given_, choices(given_, days=days, shed=shed, acres=Decimal(10)))

    assert [s for s in found if refusals(s.left) or not s.changes] == []
    assert all(s.left == tuple(check(s.facts)) for s in found)
