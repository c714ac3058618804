"""What must hold whatever the numbers: adding history, raising a rate, reordering, changing units."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction
from itertools import permutations

from hypothesis import given, settings
from hypothesis import strategies as st

from apps.crops.rules import NextCrop
from apps.products.rules import CapPer, IngredientCap, YearBasis
from apps.spraying.rules import check, may_plant
from farmops.units import Dimension

from .mixes import LIBRARY, OFTEN, changed, facts, label, line, past, reasons
from .test_check_against_naive import mixes, next_crops

DAY = date(2026, 8, 4)
CODES = sorted(LIBRARY)
BASES = list(YearBasis)
KEPT = {"interval", "interval_ai", "max_apps", "season_product", "season_ai", "season_near", "separation", "plantback"}
RATE_OR_SEASON = {"rate_high", "rate_ai_single", "season_product", "season_ai", "season_near"}


@st.composite
def plans(draw):
    """(planned mix, product codes to make a past of)."""
    codes = draw(st.lists(st.sampled_from(CODES), min_size=1, max_size=4, unique=True))
    return draw(mixes(codes)), codes


@st.composite
def events(draw, codes):
    on = DAY + timedelta(days=draw(st.integers(-400, 60)))
    zone = draw(st.sampled_from(["all", "A", "B"]))
    crop = draw(st.sampled_from(["pumpkin", "sweet_corn", None]))
    return past(str(on), *draw(mixes(codes, 2)), zone=zone, crop=crop, done=on < DAY)


@st.composite
def stories(draw):
    """Planned facts with a past, on any basis of the season."""
    plan, codes = draw(plans())
    crop = draw(st.sampled_from(["pumpkin", "sweet_corn"]))
    history = draw(st.lists(events(codes), max_size=6))
    basis = draw(st.sampled_from(BASES))
    given_ = facts(plan, history, crop=crop, next=draw(next_crops(DAY)))
    lines = tuple(changed(row, label=on_basis(row.label, basis)) for row in given_.lines)
    planted = draw(st.sampled_from([None, date(2026, 5, 20)]))
    return changed(given_, lines=lines, planted_on=planted), draw(events(codes))


def on_basis(of, basis):
    return changed(
        of,
        uses=tuple(changed(use, season_basis=basis) for use in of.uses),
        caps=tuple(changed(cap, year_basis=basis) for cap in of.caps),
    )


def found(given_, kept):
    """(code, product or ingredient) pairs; near the cap and over it are one story."""
    names = {"season_near": "season_ai"}
    said = [f for f in check(given_) if f.code in kept]
    return {(names.get(f.code, f.code), f.numbers.get("ingredient", f.numbers.get("product"))) for f in said}


@settings(max_examples=60 * OFTEN, deadline=None)
@given(stories())
def test_more_history_never_takes_a_finding_away(story):
    given_, more = story

    assert found(given_, KEPT) <= found(changed(given_, history=(*given_.history, more)), KEPT)


@settings(max_examples=60 * OFTEN, deadline=None)
@given(stories(), st.integers(0, 10), st.sampled_from(["1.01", "1.5", "3"]))
def test_a_higher_rate_never_takes_a_rate_or_season_finding_away(story, which, times):
    given_, _ = story
    rows = list(given_.lines)
    row = rows[which % len(rows)]
    more = row.rate.quantity * Decimal(times)
    rows[which % len(rows)] = changed(row, rate=changed(row.rate, quantity=more))

    assert found(given_, RATE_OR_SEASON) <= found(changed(given_, lines=tuple(rows)), RATE_OR_SEASON)


def everything(given_):
    return sorted((f.code, f.severity.value, f.sentence, f.source) for f in check(given_))


@settings(max_examples=25 * OFTEN, deadline=None)
@given(stories())
def test_the_order_of_products_changes_nothing(story):
    given_, _ = story
    answers = [everything(changed(given_, lines=order)) for order in permutations(given_.lines)]

    assert answers == [answers[0]] * len(answers)


@settings(max_examples=25 * OFTEN, deadline=None)
@given(stories(), st.randoms(use_true_random=False))
def test_the_order_of_the_records_changes_nothing(story, random):
    given_, more = story
    history = [*given_.history, more]
    shuffled = random.sample(history, len(history))

    assert everything(changed(given_, history=tuple(history))) == everything(changed(given_, history=tuple(shuffled)))


UNITS = {Dimension.VOLUME: ["floz", "pt", "qt", "gal", "ml", "l"], Dimension.MASS: ["oz", "lb", "g", "kg"]}


@settings(max_examples=60 * OFTEN, deadline=None)
@given(stories(), st.data())
def test_units_do_not_matter(story, data):
    given_, more = story

    def retyped(row):
        unit = data.draw(st.sampled_from(UNITS[row.rate.quantity.dimension]))
        return changed(row, rate=changed(row.rate, quantity=row.rate.quantity.to(unit)))

    history = (*given_.history, more)
    typed = changed(given_, history=history)
    again = changed(
        given_,
        lines=tuple(map(retyped, given_.lines)),
        history=tuple(changed(e, lines=tuple(map(retyped, e.lines))) for e in history),
    )

    assert reasons(typed) == reasons(again)


@settings(max_examples=40 * OFTEN, deadline=None)
@given(plans(), st.lists(st.integers(1, 700), min_size=1, max_size=4))
def test_a_planting_is_refused_exactly_when_its_spray_would_have_been(plan, ahead):
    """Plant-back and pre-plant from both ends: the same pairs of spray and crop."""
    rows, _ = plan
    given_ = facts(rows)
    crops = [next_crop(DAY + timedelta(days=n)) for n in ahead]
    sprayed = [changed(given_.planned_event, done=True)]
    both_ends = {"plantback", "preplant", "plantback_cover"}

    for crop in crops:
        spray_side = {f.code for f in check(changed(given_, next_crops=(crop,)))} & both_ends
        assert {f.code for f in may_plant(sprayed, crop)} == spray_side


def next_crop(on):
    return NextCrop(site_code="winter_squash", planted_on=on, harvested=True)


@settings(max_examples=40 * OFTEN, deadline=None)
@given(st.sampled_from([code for code in CODES if LIBRARY[code]["ais"]]), st.integers(1, 400))
def test_a_cap_holds_to_the_millionth_of_a_pound(code, hundredths):
    """A tank that comes to the cap fits; a cap a hundred-thousandth of a pound lower does not."""
    row = line(code, hundredths / 100)
    tank = changed(facts([]), lines=(row,)).planned_event.pounds

    def refused(pounds):
        caps = tuple(IngredientCap(ingredient=n, pounds=decimal(lb), per=CapPer.YEAR) for n, lb in pounds.items())
        given_ = changed(facts([]), lines=(changed(row, label=changed(label(code), caps=caps)),))
        return [f.numbers["ingredient"] for f in check(given_) if f.code == "season_ai"]

    lower = {name: lb - Fraction(1, 100_000) for name, lb in tank.items() if lb > Fraction(1, 100_000)}
    assert (refused(tank), refused(lower)) == ([], sorted(lower))


def decimal(value):
    return Decimal(value.numerator) / Decimal(value.denominator)
