"""Each screw that can be turned: the whole change, as a page and a form take it over. Limits are invented."""

from __future__ import annotations

from decimal import Decimal

import pytest

from apps.products.rules import RateBasis
from apps.spraying.rules import Entry, StockFact, Worker
from apps.spraying.rules.alternatives import Choices, Turn, alternatives
from apps.spraying.rules.attempt import Attempt, Case
from apps.spraying.rules.turns import TURNS, _later_harvest, _smaller, _with_line
from farmops.units import Quantity

from .mixes import at, changed, facts, line, past, relabelled
from .test_check_alternatives import CARD, choices, shelf
from .whole import stated

F1, F3, RUP = ("F1", 3), ("F3", 6), ("I1", "3.84")


def q(amount, unit):
    return Quantity(Decimal(amount), unit)


def held(available, needed, unit="pt"):
    return StockFact(available=q(available, unit), needed=q(needed, unit))


def turned(turn, base, chosen, *, blocks=None):
    """Every attempt of one screw, told: (sentence, value, unit, product)."""
    attempt = Attempt(Case(blocks or [base], chosen))
    found = []
    for candidate in TURNS[turn](attempt, chosen):
        facts_now = candidate.facts()
        for edit in candidate.edits:
            change = edit.tell(facts_now)
            assert (change.turn, edit.turn) == (turn, turn)
            found.append((change.sentence, change.value, change.unit, change.product_id))
    return found


BOB = Worker(name="Bob", person_id=7, certificates=(CARD,))
KIM = Worker(name="Kim", certificates=(CARD,))
UNCERTIFIED = changed(facts([RUP]), applicator=Worker(name="Ana"))
SHORT = changed(facts([F1]), stock={"F1": held(20, 36)})
PER_WATER = line("F4", 6, rate=stated("0.1", "gal", RateBasis.PER_100_GAL))
OIL = line("F11", 1, rate=stated("5", "%vv", RateBasis.PERCENT_VV))
OUNCES, PINTS = (
    relabelled("F3", 8, use={"rate_unit": unit, "rate_min": "0.1", "rate_max": "0.5"}) for unit in ("floz", "pt")
)
TOO_SOON = facts([F1], [past("2026-08-03", F1)])
SOON_PICKED = facts([("F3", 6), F1], harvest="2026-08-05T08:00")

CHANGES = [
    ("volume", Turn.VOLUME, facts([F1, ("I1", 3)], gpa=8), Choices(),
     [("Spray 20 gal/acre, with a calibration to match.", "20", "gal", None)]),
    ("rate", Turn.RATE, facts([("F3", "8"), F1]), Choices(),
     [("F3 at 6 fl oz/acre, the highest that fits.", "6.00", "floz", "F3")]),
    ("applicators", Turn.APPLICATOR, UNCERTIFIED, Choices(workers=(BOB, KIM)),
     [("Bob as applicator.", "7", "", None), ("Kim as applicator.", "Kim", "", None)]),
    ("one_rate_only", Turn.RATE, facts([("F8", "3.5")]), Choices(),
     [("F8 at 3.4 fl oz/acre, the highest that fits.", "3.40", "floz", "F8")]),
    ("a_rate_beside_one_against_water", Turn.RATE, changed(facts([]), lines=(OIL, line("F3", 8))), Choices(),
     [("F3 at 6 fl oz/acre, the highest that fits.", "6.00", "floz", "F3")]),
    ("a_little_of_a_little", Turn.AREA, changed(SHORT, stock={"F1": held("0.25", "0.5")}), Choices(acres=Decimal(10)),
     [("Spray 5 acres with what is in the shed.", "5", "ac", None)]),
    ("less_than_an_acre", Turn.AREA, changed(SHORT, stock={"F1": held(1, 36)}), Choices(acres=Decimal(10)),
     [("Spray 0.27 acres with what is in the shed.", "0.27", "ac", None)]),
    # 20 of 36 pt for 10 acres are enough for 5.555 acres, rounded down to a hundredth
    ("area", Turn.AREA, SHORT, Choices(acres=Decimal(10)),
     [("Spray 5.55 acres with what is in the shed.", "5.55", "ac", None)]),
    ("product", Turn.PRODUCT, facts([F3]), Choices(shed=shelf(line("F4", 6)), acres=Decimal(10)),
     [("F4 at 6 fl oz/acre instead of F3.", "F4", "", "F3")]),
    # three days after 8:00 AM of 4 August
    ("harvest", Turn.HARVEST, SOON_PICKED, Choices(),
     [("Harvest not before Fri, Aug 7, 8:00 AM EDT.", "2026-08-07T12:00:00+00:00", "", None)]),
]  # fmt: skip


@pytest.mark.parametrize(("turn", "base", "chosen", "told"), [r[1:] for r in CHANGES], ids=[r[0] for r in CHANGES])
def test_the_whole_change(turn, base, chosen, told):
    assert turned(turn, base, chosen) == told


def test_the_start_is_told_in_full():
    found = alternatives([TOO_SOON], choices(TOO_SOON))[0].changes[0]

    assert (found.turn, found.sentence, found.unit, found.product_id, found.answers) == (
        Turn.START,
        "Start at Mon, Aug 10, 7:00 AM EDT instead.",
        "",
        None,
        ("interval",),
    )
    assert found.value == "2026-08-10T11:00:00+00:00"


def test_a_block_left_out_is_told_in_full():
    clean = changed(facts([F1]), block_name="East 1")
    found = alternatives([clean, changed(TOO_SOON, block_name="West 2")], Choices(block_acres=[Decimal(6), Decimal(4)]))

    change = found[0].changes[0]
    assert (change.turn, change.sentence, change.value) == (Turn.BLOCK, "Leave West 2 out of this job.", "West 2")


NOTHING = [
    ("no_volume_asked", Turn.VOLUME, facts([]), Choices()),
    ("enough_in_the_shed", Turn.AREA, changed(SHORT, stock={"F1": held(36, 36)}), Choices(acres=Decimal(10))),
    ("acres_not_known", Turn.AREA, SHORT, Choices()),
    ("no_acres", Turn.AREA, SHORT, Choices(acres=Decimal(0))),
    ("shed_not_looked_at", Turn.AREA, facts([F1]), Choices(acres=Decimal(10))),
    ("a_product_not_in_the_shed", Turn.AREA, changed(facts([F1, F3]), stock={"F1": held(12, 36)}),
     Choices(acres=Decimal(10))),
    ("another_measure", Turn.AREA, changed(SHORT, stock={"F1": StockFact(available=q(12, "lb"), needed=q(36, "pt"))}),
     Choices(acres=Decimal(10))),
    ("nothing_asked_of_one", Turn.AREA, changed(facts([F1, F3]), stock={"F1": held(20, 36), "F3": held(1, 0)}),
     Choices(acres=Decimal(10))),
    ("hardly_any", Turn.AREA, changed(SHORT, stock={"F1": held("0.001", 36)}), Choices(acres=Decimal(10))),
    ("nobody_else", Turn.APPLICATOR, UNCERTIFIED, Choices()),
    ("no_way_to_move", Turn.START, TOO_SOON, Choices(starts=(at("2026-08-10T07:00"),))),
    ("in_the_tank_already", Turn.PRODUCT, facts([F3, ("F4", 6)]), Choices(shed=shelf(line("F4", 6)))),
    ("another_kind", Turn.PRODUCT, facts([F3]), Choices(shed=shelf(line("I5", 4)))),
    ("the_same_group", Turn.PRODUCT, facts([("F4", 6)]), Choices(shed=shelf(line("F5", 5)))),
    ("no_label", Turn.PRODUCT, facts([F3]), Choices(shed=shelf(changed(line("F4", 6), label=None)))),
    ("not_on_this_crop", Turn.PRODUCT, facts([F1], crop="sweet_corn"), Choices(shed=shelf(line("F4", 6)))),
    ("one_block_only", Turn.BLOCK, TOO_SOON, Choices(block_acres=[Decimal(4)])),
    ("another_basis", Turn.RATE, changed(facts([]), lines=(OIL,)), Choices()),
    ("a_lower_rate_helps_nothing", Turn.RATE, TOO_SOON, Choices()),
]  # fmt: skip


@pytest.mark.parametrize(("turn", "base", "chosen"), [r[1:] for r in NOTHING], ids=[r[0] for r in NOTHING])
def test_where_a_screw_cannot_be_turned_nothing_is_offered(turn, base, chosen):
    assert turned(turn, base, chosen) == []


def test_the_harvest_waits_for_the_longest_interval_of_the_tank_and_no_earlier_plan_moves_back():
    """F12 closes the block for 48 hours; F3 waits 3 days. What is planned later stays where it is."""
    both = facts([("F12", 1), F3], harvest="2026-08-05T08:00")
    early, late = (Entry(at=at(t), is_harvest=True) for t in ("2026-08-05T06:00", "2026-08-09T06:00"))
    work = Entry(at=at("2026-08-05T06:00"), activity="hand_labor")
    after = _later_harvest(changed(both, entries=(early, late, work)))

    assert after.harvest_at == at("2026-08-07T08:00")
    assert [e.at for e in after.entries] == [at("2026-08-07T08:00"), late.at, work.at]
    assert _later_harvest(changed(both, harvest_at=at("2026-09-01T08:00"))).harvest_at == at("2026-09-01T08:00")
    assert _later_harvest(changed(both, harvest_at=None)).harvest_at is None


def test_entry_may_be_the_longer_of_the_two():
    """F12: no days before harvest, 48 hours of entry."""
    assert _later_harvest(facts([("F12", 1)], harvest="2026-08-04T09:00")).harvest_at == at("2026-08-06T08:00")


def test_a_lower_rate_asks_the_shed_for_less_and_of_that_product_only():
    """From 3 to 1.5 pt: half of 36 pt; in fl oz 24 is the same."""
    base = changed(facts([F1, F3]), stock={"F1": held(9, 36), "F3": held(9, 9)})
    half = line("F1", "1.5").rate
    ounces = line("F1", 24, "floz").rate
    solid = line("F1", 1, "lb").rate
    needed = [
        _with_line(base, "F1", lambda row, rate=rate: changed(row, rate=rate)).stock for rate in (half, ounces, solid)
    ]

    assert [stock["F1"].needed for stock in needed] == [q(18, "pt"), q(18, "pt"), q(36, "pt")]
    assert [stock["F3"].needed for stock in needed] == [q(9, "pt")] * 3
    assert _with_line(facts([F1]), "F1", lambda row: changed(row, rate=half)).stock is None


def test_fewer_acres_need_less_of_every_product():
    base = changed(facts([F1, F3]), stock={"F1": held(9, 36), "F3": held(9, 8)})
    half = _smaller(base, Decimal("0.5")).stock

    assert [half[p] for p in ("F1", "F3")] == [held(9, 18), held(9, 4)]
    assert _smaller(facts([F1]), Decimal("0.5")).stock is None


def test_whoever_takes_over_is_not_supervised():
    attempt = Attempt(Case([changed(UNCERTIFIED, supervised=True, supervisor=KIM)], Choices()))
    [other] = TURNS[Turn.APPLICATOR](attempt, Choices(workers=(BOB,)))
    [after] = other.facts()

    assert (after.applicator, after.supervised, after.supervisor) == (BOB, False, None)


def test_a_product_taken_instead_aims_at_the_same_and_asks_the_shed():
    """6 fl oz an acre on 10 acres are 60 fl oz; what was asked of the old product is asked no more."""
    aimed = changed(facts([F3]), lines=(changed(line(*F3), targets=("powdery_mildew",)),), stock={"F3": held(0, 60)})
    chosen = Choices(shed=shelf(line("F4", 6)), acres=Decimal(10))
    [other] = TURNS[Turn.PRODUCT](Attempt(Case([aimed], chosen)), chosen)
    [after] = other.facts()

    assert [(row.name, row.targets) for row in after.lines] == [("F4", ("powdery_mildew",))]
    assert after.stock == {"F4": StockFact(available=q(9, "gal"), needed=q(60, "floz"))}


def test_the_rate_that_fits_lies_within_the_label_of_every_block_and_on_a_hundredth():
    """0.3 lb of bifenthrin a year, 0.2333 lb behind it on one block: 0.0667 lb of 2 lb/gal are 4.26 fl oz."""
    behind = [past(day, ("I2", amount)) for day, amount in (("2026-06-01", "6.4"), ("2026-06-20", "6.4"))]
    third = past("2026-07-05", ("I2", "2.133"))
    fresh, used = facts([("I2", "6.4")]), facts([("I2", "6.4")], [*behind, third])

    assert turned(Turn.RATE, None, Choices(), blocks=[fresh, used]) == [
        ("I2 at 4.26 fl oz/acre, the highest that fits.", "4.26", "floz", "I2")
    ]


def test_labels_that_count_in_other_units_get_no_common_rate():
    here, there = (changed(facts([]), lines=(row,)) for row in (OUNCES, changed(PINTS, rate=OUNCES.rate)))

    assert turned(Turn.RATE, None, Choices(), blocks=[here, there]) == []
    assert turned(Turn.RATE, here, Choices())[0][1:3] == ("0.50", "floz")


def test_more_water_is_what_the_job_then_has():
    attempt = Attempt(Case([facts([F1], gpa=8)], Choices()))

    assert [c.facts()[0].spray_gpa for c in TURNS[Turn.VOLUME](attempt, Choices())] == [Decimal(20)]


def test_of_starts_that_do_not_help_enough_one_is_offered():
    """Two days more are still within the seven: the first of the equal ones, for others to build on."""
    chosen = choices(TOO_SOON, days=2)
    attempt = Attempt(Case([TOO_SOON], chosen))

    assert [c.start_at for c in TURNS[Turn.START](attempt, chosen)] == [chosen.starts[0]]


def test_only_the_one_line_is_exchanged_with_the_shed_or_without():
    """0.1 gal per 100 gal at 40 gal/acre is 0.04 gal an acre, 0.4 gal on 10 acres."""
    chosen = Choices(shed=shelf(PER_WATER), acres=Decimal(10))
    for stock, asked in ((None, None), ({"F1": held(99, 30)}, {"F1": held(99, 30), "F4": held(9, "0.4", "gal")})):
        base = changed(facts([F3, F1]), stock=stock)
        other = next(iter(TURNS[Turn.PRODUCT](Attempt(Case([base], chosen)), chosen)))
        [after] = other.facts()

        assert ([row.name for row in after.lines], after.stock) == (["F4", "F1"], asked)


def test_a_change_of_one_product_is_told_from_the_same_change_of_another():
    """Both to 6 fl oz: what is judged once for a change is judged anew for the other product."""
    attempt = Attempt(Case([facts([("F3", 8), ("F4", 9)])], Choices()))
    keys = [edit.key for c in TURNS[Turn.RATE](attempt, Choices()) for edit in c.edits]

    assert keys == [("rate", "F3", "6.00"), ("rate", "F4", "8.00")]
