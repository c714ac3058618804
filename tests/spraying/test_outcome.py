"""What a spray leaves behind: intervals from labels, rates really used, times people claim. Plain rules."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from fractions import Fraction

import pytest

from apps.products.rules import Rate, RateBasis, read_label
from apps.safety.rules import EntryInterval, HarvestWait, Reason
from apps.spraying.rules import MixLine
from apps.spraying.rules.outcome import (
    Claim,
    achieved_gpa,
    agree,
    check_times,
    deviation,
    early_start,
    entry_intervals,
    harvest_waits,
    higher_rate,
    off_plan,
    per_acre,
    percent_text,
    product_needed,
)
from farmops.errors import BadInput
from farmops.units import Quantity
from tests.factories.products import label_document

SQUASH = "winter_squash"
NOW = datetime(2026, 7, 6, 15, tzinfo=UTC)


def q(amount: str, unit: str = "floz") -> Quantity:
    return Quantity(Decimal(amount), unit)


def line(name: str = "P", rate: str = "5", **changes: object) -> MixLine:
    document = label_document()
    use = {k: changes.pop(k) for k in list(changes) if k in {"phi_days", "phi_tiers", "use_rei"}}
    if "use_rei" in use:
        use["rei_hours"] = use.pop("use_rei")
    document["uses"][0] |= use
    label = read_label({**document, **changes})
    return MixLine(product_id=name, name=name, rate=Rate(quantity=q(rate)), label=label)


NO_LABEL = MixLine(product_id="X", name="X", rate=Rate(quantity=q("5")), label=None)


@pytest.mark.parametrize(
    ("lines", "expected"),
    [
        pytest.param([line(rei_hours="12")], [EntryInterval(product="P", hours=Decimal(12))], id="label"),
        pytest.param(
            [line(rei_hours="12", use_rei="48")], [EntryInterval(product="P", hours=Decimal(48))], id="the use's own"
        ),
        pytest.param([line(rei_hours=None)], [EntryInterval(product="P")], id="not on the label: unknown"),
        pytest.param([NO_LABEL], [EntryInterval(product="X")], id="no label: unknown"),
        pytest.param(
            [line("A", rei_hours="4"), line("B", rei_hours="24")],
            [EntryInterval(product="A", hours=Decimal(4)), EntryInterval(product="B", hours=Decimal(24))],
            id="each of a mix",
        ),
        pytest.param(
            [line(rei_hours="24", activity_rei=[{"activity": "picking_by_hand", "hours": "120"}])],
            [
                EntryInterval(product="P", hours=Decimal(24)),
                EntryInterval(product="P", hours=Decimal(120), activities=frozenset({"picking_by_hand"})),
            ],
            id="an activity's own, beside the general one",
        ),
        pytest.param(
            [line(rei_hours="4", condition_release="Keep out until sprays have dried.")],
            [EntryInterval(product="P", hours=Decimal(4), condition=Reason.UNTIL_DRY)],
            id="until dry",
        ),
        pytest.param(
            [line(rei_hours=None, condition_release="until the air level is below 1 ppm")],
            [EntryInterval(product="P", condition=Reason.UNTIL_LEVEL)],
            id="until a level",
        ),
    ],
)
def test_entry_intervals(lines, expected):
    assert list(entry_intervals(lines, SQUASH, Decimal(30))) == expected


def tiers(*rows: tuple[str, int]) -> dict:
    return {"phi_days": None, "phi_tiers": [{"up_to_rate": rate, "days": days} for rate, days in rows]}


@pytest.mark.parametrize(
    ("lines", "site", "expected"),
    [
        pytest.param([line()], SQUASH, [HarvestWait(product="P", days=3)], id="label"),
        pytest.param([line(phi_days=0)], SQUASH, [HarvestWait(product="P", days=0)], id="none, said so"),
        pytest.param([line(phi_days=None)], SQUASH, [HarvestWait(product="P", days=None)], id="blank is not zero"),
        pytest.param(
            [line()], "sweet_corn", [HarvestWait(product="P", days=None)], id="a crop the label does not name"
        ),
        pytest.param([line()], None, [HarvestWait(product="P", days=None)], id="nothing on record"),
        pytest.param([NO_LABEL], SQUASH, [HarvestWait(product="X", days=None)], id="no label"),
        pytest.param([line()], "fallow_cover", None, id="only a cover crop"),
        pytest.param(
            [line(rate="4", **tiers(("4", 1), ("6", 7)))], SQUASH, [HarvestWait(product="P", days=1)], id="low rate"
        ),
        pytest.param(
            [line(rate="4.1", **tiers(("4", 1), ("6", 7)))], SQUASH, [HarvestWait(product="P", days=7)], id="high rate"
        ),
        pytest.param(
            [line(rate="9", **tiers(("4", 1), ("6", 7)))], SQUASH, [HarvestWait(product="P", days=7)], id="above all"
        ),
    ],
)
def test_harvest_waits(lines, site, expected):
    found = harvest_waits(lines, site, Decimal(30))
    assert (None if found is None else list(found)) == expected


@pytest.mark.parametrize(
    ("planned", "actual", "off", "said"),
    [
        (q("2", "pt"), q("2", "pt"), False, "0 %"),
        (q("2", "pt"), q("2.1", "pt"), False, "+5 %"),
        (q("2", "pt"), q("2.11", "pt"), True, "+5.5 %"),
        (q("2", "pt"), q("1.9", "pt"), False, "-5 %"),
        (q("2", "pt"), q("1.8", "pt"), True, "-10 %"),
        (q("2", "pt"), q("32"), False, "0 %"),  # 32 fl oz are 2 pt
        (q("2", "pt"), q("1", "gal"), True, "+300 %"),
        (q("2", "pt"), q("2.01", "pt"), False, "+0.5 %"),
        (q("2", "pt"), q("2.15024", "pt"), True, "+7.5 %"),
    ],
    ids=str,
)
def test_how_far_off_the_plan(planned, actual, off, said):
    assert (off_plan(planned, actual), percent_text(deviation(planned, actual))) == (off, said)


def test_an_amount_over_its_acres():
    assert per_acre(q("24.8", "pt"), Decimal("12.4")) == q("2", "pt")


@pytest.mark.parametrize(
    ("planned", "actual", "expected"),
    [
        (q("5"), None, "5"),
        (q("5"), q("4"), "5"),
        (q("5"), q("6"), "6"),
        (q("5"), q("5"), "5"),
        (q("5"), q("1", "lb"), "5"),
    ],
    ids=["nothing reported", "less", "more", "the same", "another kind of measure"],
)
def test_the_larger_rate_counts_while_nobody_has_signed(planned, actual, expected):
    found = higher_rate(Rate(quantity=planned), Rate(quantity=actual) if actual else None, Decimal(30))
    assert found.quantity.amount == Decimal(expected)


@pytest.mark.parametrize(
    ("rate", "acres", "gpa", "expected"),
    [
        (Rate(quantity=q("2", "pt")), "12.4", "20", q("24.8", "pt")),
        (Rate(quantity=q("8"), basis=RateBasis.PER_100_GAL), "10", "25", q("20")),
        (Rate(quantity=q("0.25", "%vv"), basis=RateBasis.PERCENT_VV), "10", "20", q("0.5", "gal")),
        (Rate(quantity=q("1"), basis=RateBasis.PER_ACRE), "0.33333", "20", q("0.3334")),
        (Rate(quantity=q("8"), basis=RateBasis.PER_100_GAL), "10", None, None),
    ],
    ids=["per acre", "per 100 gal", "share", "rounded up", "no volume"],
)
def test_what_a_job_needs(rate, acres, gpa, expected):
    found = product_needed(rate, acres=Decimal(acres), spray_gpa=Decimal(gpa) if gpa else None)
    assert found == expected


def minutes(n: int) -> datetime:
    return NOW - timedelta(hours=2) + timedelta(minutes=n)


@pytest.mark.parametrize(
    ("claims", "expected"),
    [
        ([(1, 0, 60)], (0, 60, False)),
        ([(1, 0, 60), (1, 5, 50)], (5, 50, False)),
        ([(1, 0, 60), (2, 0, 75)], (0, 75, True)),
        ([(1, 5, 60), (2, 0, 60)], (0, 60, False)),
        ([(1, 0, 60), (2, 0, 75), (1, 0, 75)], (0, 75, False)),
        ([(1, 0, 60), (2, 0, 75), (1, 0, 80)], (0, 80, True)),
    ],
    ids=["one", "a second thought", "two ends", "two starts", "settled", "still two"],
)
def test_which_times_count(claims, expected):
    """Two people, two ends: the later counts (project rule)."""
    found = agree([Claim(person_id=p, started_at=minutes(a), ended_at=minutes(b)) for p, a, b in claims])
    assert (found.started_at, found.ended_at, found.disputed) == (
        minutes(expected[0]),
        minutes(expected[1]),
        expected[2],
    )


@pytest.mark.parametrize(
    ("start", "end", "fields"),
    [
        (-60, 0, []),
        (-60, 2, []),
        (-60, 3, ["ended_at"]),
        (3, 10, ["ended_at", "started_at"]),
        (-60, -60, ["ended_at"]),
        (-60, -61, ["ended_at"]),
        (-36 * 60, 0, []),
        (-36 * 60 - 1, 0, ["ended_at"]),
    ],
    ids=str,
)
def test_times_that_cannot_be(start, end, fields):
    """B20: end before start, or in the future: rejected."""
    times = (NOW + timedelta(minutes=start), NOW + timedelta(minutes=end))
    if not fields:
        check_times(*times, now=NOW)
        return
    with pytest.raises(BadInput) as error:
        check_times(*times, now=NOW)
    assert sorted(error.value.errors) == fields


def test_nobody_sprays_before_the_window():
    assert [f.code for f in early_start(NOW, NOW - timedelta(seconds=1), "x")] == ["too_early"]
    assert early_start(NOW, NOW, "x") == []


def test_before_the_window_the_whole_finding_is_said():
    found = early_start(NOW, NOW - timedelta(seconds=1), "at three")
    assert [(f.severity.value, f.sentence, f.source, f.field) for f in found] == [
        (
            "refuse",
            "The window begins at three. Until then people may have been told that they can be in the block.",
            "project rule: no spraying before the window that the board announced",
            "start_at",
        )
    ]


@pytest.mark.parametrize(
    ("start", "end", "said"),
    [
        (3, 10, {"started_at": "The start cannot be later than now.", "ended_at": "The end cannot be later than now."}),
        (-60, -60, {"ended_at": "The end must be after the start."}),
        (-36 * 60 - 1, 0, {"ended_at": "More than 36 hours after the start: check the date."}),
        (2, 2, {"ended_at": "The end must be after the start."}),
    ],
    ids=["ahead", "no time", "a slip in the date", "clocks may differ by two minutes"],
)
def test_what_is_said_of_times_that_cannot_be(start, end, said):
    with pytest.raises(BadInput) as error:
        check_times(NOW + timedelta(minutes=start), NOW + timedelta(minutes=end), now=NOW)
    assert error.value.errors == {field: [words] for field, words in said.items()}


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("until dry", Reason.UNTIL_DRY),
        ("Wait until the spray DRIES", Reason.UNTIL_DRY),
        ("until sprays have dried", Reason.UNTIL_DRY),
        ("no drying agent, below 1 ppm", Reason.UNTIL_LEVEL),
        ("hydrant flushed", Reason.UNTIL_LEVEL),
        ("  ", None),
    ],
)
def test_dryness_is_a_word_of_its_own(text, reason):
    """Words that labels use for it; from memory. Part of another word is not dryness."""
    assert entry_intervals([line(condition_release=text)], SQUASH, Decimal(30))[0].condition == reason


def test_an_activity_of_the_label_and_one_of_the_use_each_have_their_own():
    """In the order of their names; the use's hours count for what it names (40 CFR 170.407: label text)."""
    made = line(
        rei_hours="24",
        activity_rei=[{"activity": "scouting", "hours": "30"}, {"activity": "hand_labor", "hours": "48"}],
    )
    found = entry_intervals([made], SQUASH, Decimal(30))
    assert [(sorted(i.activities), i.hours) for i in found] == [
        ([], Decimal(24)),
        (["hand_labor"], Decimal(48)),
        (["scouting"], Decimal(30)),
    ]


def test_the_interval_is_that_of_the_crop_that_stands_here():
    document = label_document(rei_hours="12")
    other = {**document["uses"][0], "site_code": "sweet_corn", "rei_hours": "96"}
    made = replace(line(), label=read_label({**document, "uses": [*document["uses"], other]}))
    found = [entry_intervals([made], site, Decimal(30))[0].hours for site in (SQUASH, "sweet_corn")]
    assert found == [Decimal(12), Decimal(96)]


def test_a_rate_against_water_waits_by_what_it_is_per_acre():
    """20 fl oz per 100 gal at 20 gal/acre is 4 fl oz per acre, at 30 gal/acre 6."""
    rate = Rate(quantity=q("20"), basis=RateBasis.PER_100_GAL)
    made = replace(line(**tiers(("4", 1), ("6", 7))), rate=rate)
    assert [harvest_waits([made], SQUASH, Decimal(gpa))[0].days for gpa in (20, 30)] == [1, 7]


def test_a_planned_rate_against_water_is_compared_per_acre():
    """8 fl oz per 100 gal at 25 gal/acre is 2 fl oz per acre; what is just as much stays the planned one."""
    planned = Rate(quantity=q("8"), basis=RateBasis.PER_100_GAL)
    more, same = Rate(quantity=q("3")), Rate(quantity=q("2"))
    assert higher_rate(planned, more, Decimal(25)) is more
    assert higher_rate(planned, same, Decimal(25)) is planned


def test_gallons_over_acres():
    assert achieved_gpa(Decimal(248), Decimal("12.4")) == Decimal(20)


def test_a_rate_against_water_that_nobody_knows_stays_the_planned_one():
    planned = Rate(quantity=q("8"), basis=RateBasis.PER_100_GAL)
    assert higher_rate(planned, Rate(quantity=q("99")), None) is planned


def test_a_reported_rate_in_another_unit_is_compared_by_what_it_is():
    """A pint is 16 fl oz: more than 5, less than 17."""
    pint = Rate(quantity=q("1", "pt"))
    assert higher_rate(Rate(quantity=q("5")), pint, Decimal(30)) is pint
    assert higher_rate(Rate(quantity=q("17")), pint, Decimal(30)).quantity == q("17")


def test_a_ten_thousandth_and_a_hair_more_of_the_plan():
    """5 % is the limit; what a measuring jug leaves behind, a millionth, is not counted (project rule)."""
    assert [off_plan(q("2"), q(actual)) for actual in ("2.100002", "2.1000021", "1.9", "1.8999979")] == [
        False,
        True,
        False,
        True,
    ]


def test_exact_shares_have_no_rounding_of_their_own():
    assert deviation(q("3"), q("1")) == Fraction(-2, 3)
