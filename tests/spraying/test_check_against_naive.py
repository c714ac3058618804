"""The check against a second judge (``naive``) on generated cases of the worked kind."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from . import naive
from .mixes import CASES, LIBRARY, OFTEN, facts, history_of, reasons

CODES = sorted(LIBRARY)
CROPS = ["pumpkin", "pumpkin", "winter_squash", "sweet_corn", "cucumber", "summer_squash", "fallow_cover"]


@st.composite
def rows(draw, codes):
    """One product at a rate around its label range, in hundredths."""
    code = draw(st.sampled_from(codes))
    product = LIBRARY[code]
    low, high = int(product["rmin"] * 50), int(product["rmax"] * 110)
    edges = st.sampled_from([product["rmin"], product["rmax"]])
    return code, draw(st.one_of(edges, edges, st.integers(max(low, 1), high).map(lambda n: n / 100)))


def mixes(codes, most=3):
    return st.lists(rows(codes), min_size=1, max_size=most, unique_by=lambda row: row[0])


@st.composite
def cases(draw):
    """A plan, a past of the same few products, and a context that only says what the plain judge reads."""
    codes = draw(st.lists(st.sampled_from(CODES), min_size=2, max_size=5, unique=True))
    day = date(2026, 8, 4) + timedelta(days=draw(st.integers(-60, 60)))
    hour = draw(st.sampled_from(["07:00", "09:30", "20:09", "20:10", "21:40"]))
    start = f"{day}T{hour}"
    crop = draw(st.sampled_from(CROPS))
    past = draw(
        st.lists(
            st.tuples(
                st.integers(1, 120).map(lambda back: str(day - timedelta(days=back))),
                mixes(codes, 2),
                st.sampled_from(["all", "all", "A", "B"]),
                st.sampled_from([crop, crop, "sweet_corn"]),
            ),
            max_size=9,
        )
    )
    harvest_in = draw(st.one_of(st.none(), st.integers(1, 60 * 24)))
    entry_in = draw(st.one_of(st.none(), st.integers(-5, 60)))
    end = day_time(start) + timedelta(hours=1)
    ctx = {
        "crop": crop,
        "start": start,
        "end": end.isoformat(timespec="minutes"),
        "harvest": harvest_in and (end + timedelta(hours=harvest_in)).isoformat(timespec="minutes"),
        "entry": None if entry_in is None else (end + timedelta(hours=entry_in)).isoformat(timespec="minutes"),
        "bloom": draw(st.booleans()),
        "wind": draw(st.sampled_from([None, 0, 2, 3, 6, 10, 11, 15, 16])),
        "temp": draw(st.sampled_from([70, 85, 86, 90, 91])),
        "gpa": draw(st.sampled_from([5, 10, 15, 20, 39, 40])),
        "dist": draw(st.sampled_from([0, 24, 25, 65, 66, 200])),
        "method": draw(st.sampled_from(["ground", "ground", "chemigation"])),
        "cert": {
            "holder": draw(st.booleans()),
            "expires": str(day + timedelta(days=draw(st.integers(-1, 1)))),
            "paraquat_trained": draw(st.sampled_from([None, "2023-08-04", "2025-02-10"])),
        },
        "supervised": draw(st.booleans()),
        "stage": draw(st.sampled_from(["vegetative", "first_female_flower", "fruit_set"])),
        "ph": draw(st.sampled_from([5.5, 6.4, 6.5, 7])),
        "surfactant": draw(st.booleans()),
        "rain_h": draw(st.sampled_from([0, 3, 4, 24])),
        "zone": draw(st.sampled_from(["all", "A", "B"])),
        "next": draw(next_crops(day)),
        "plantdate": draw(plant_dates(day)),
    }
    return draw(mixes(codes)), past, ctx


def day_time(text):
    return datetime.fromisoformat(text)


def next_crops(day):
    """Only crops that every plant-back list of the library names, or a list with a rest row: see the ground tests."""
    soon = st.integers(1, 700).map(lambda ahead: str(day + timedelta(days=ahead)))
    return st.one_of(
        st.none(),
        st.tuples(st.sampled_from(["pumpkin", "winter_squash", "sweet_corn"]), soon, st.just("harvest")).map(list),
    )


def plant_dates(day):
    soon = st.integers(0, 5).map(lambda ahead: str(day + timedelta(days=ahead)))
    return st.one_of(st.none(), st.tuples(st.sampled_from(["pumpkin", "sweet_corn"]), soon).map(list))


# What the check says beyond the plain judge, and why it may: rules of their own, tested in their own files.
BEYOND = {"duplicate"}


@settings(max_examples=200 * OFTEN, deadline=None)
@given(cases())
def test_both_judges_agree(case):
    plan, past, ctx = case
    if ctx["zone"] == "all":  # the plain judge knows no pieces of a whole block: give the past one piece
        past = [(row[0], row[1], past[0][2], row[3]) for row in past]
    refusing, asking = reasons(facts(plan, history_of(past, ctx["crop"]), **ctx))
    refuse, warn = naive.judge(plan, past, ctx)

    assert (set(refusing) - BEYOND, set(asking) - BEYOND) == (
        {code.lower() for code in refuse},
        {code.lower() for code in warn},
    )


@pytest.mark.parametrize("case", CASES["cases"], ids=[case["id"] for case in CASES["cases"]])
def test_the_plain_judge_knows_the_worked_cases(case):
    crop = case["ctx"].get("crop", "pumpkin")
    past = [(r[0], r[1], r[2] if len(r) > 2 else "all", r[3] if len(r) > 3 else crop) for r in case["hist"]]

    assert naive.judge(case["plan"], past, case["ctx"]) == (set(case["refuse"]), set(case["warn"]))
