"""Which days a season limit counts over, and which limits bind a tank. Limits of the invented library."""

from __future__ import annotations

from datetime import date

import pytest

from apps.products.rules import CapPer, YearBasis
from apps.spraying.rules import check
from apps.spraying.rules.caps import caps_for, stretches

from .mixes import changed, facts, past, relabelled

F1 = ("F1", 3)
DAYS = ("2025-08-04", "2025-08-05", "2025-12-31", "2026-01-01", "2026-05-31", "2026-06-01", "2026-12-31", "2027-01-01",
        "2027-08-03", "2027-08-04", "2027-08-05")  # fmt: skip
HISTORY = [past(day, F1) for day in DAYS]
PLANNED = facts([F1], HISTORY)  # on 4 August 2026, pumpkin

STRETCHES = [
    # basis, planted -> (first day, last day, first and last spray that counts) of each stretch
    ("calendar", YearBasis.CALENDAR, None, [("2026-01-01", "2026-12-31", "2026-01-01", "2026-12-31")]),
    ("crop", YearBasis.CROP, "2026-06-01", [("2026-06-01", "2027-08-04", "2026-06-01", "2027-08-04")]),
    ("crop_of_unknown_age", YearBasis.CROP, None, [("2025-08-05", "2027-08-04", "2025-08-05", "2027-08-04")]),
    # ends on the planned day and on each later spray that is less than twelve months away
    ("twelve_months", YearBasis.TWELVE_MONTHS, "2026-06-01", [
        ("2025-08-05", "2026-08-04", "2025-08-05", "2026-06-01"),
        ("2026-01-01", "2026-12-31", "2026-01-01", "2026-12-31"),
        ("2026-01-02", "2027-01-01", "2026-05-31", "2027-01-01"),
        ("2026-08-04", "2027-08-03", "2026-12-31", "2027-08-03"),
    ]),
    ("unknown", YearBasis.UNKNOWN, "2026-06-01", [
        ("2025-08-05", "2026-08-04", "2025-08-05", "2026-06-01"),
        ("2026-01-01", "2026-12-31", "2026-01-01", "2026-12-31"),
        ("2026-01-02", "2027-01-01", "2026-05-31", "2027-01-01"),
        ("2026-08-04", "2027-08-03", "2026-12-31", "2027-08-03"),
        ("2026-06-01", "2027-08-04", "2026-06-01", "2027-08-04"),
    ]),
]  # fmt: skip


@pytest.mark.parametrize(("basis", "planted", "expected"), [r[1:] for r in STRETCHES], ids=[r[0] for r in STRETCHES])
def test_the_days_a_limit_counts_over(basis, planted, expected):
    given = changed(PLANNED, planted_on=planted and date.fromisoformat(planted))
    found = stretches(given, HISTORY, basis)

    assert [
        (str(s.since), str(s.until), str(s.events[0].on_date), str(s.events[-1].on_date)) for s in found
    ] == expected
    assert [list(s.events) for s in found] == [
        [e for e in HISTORY if date.fromisoformat(since) <= e.on_date <= date.fromisoformat(until)]
        for since, until, *_ in expected
    ]


def test_only_this_crop_or_one_nobody_knows_counts_against_a_crop_limit():
    events = [past("2026-07-01", F1), past("2026-07-02", F1, crop="sweet_corn"), past("2026-07-03", F1, crop=None)]
    given = changed(PLANNED, planted_on=date(2026, 6, 1))

    assert [e.on_date.day for e in stretches(given, events, YearBasis.CROP)[0].events] == [1, 3]
    assert [e.on_date.day for e in stretches(given, events, YearBasis.CALENDAR)[0].events] == [1, 2, 3]


def cap(ingredient, pounds, per="year", **more):
    return {"ingredient": ingredient, "pounds": pounds, "per": per, "year_basis": "calendar", **more}


def test_every_ingredient_of_a_label_has_its_own_limit():
    """F2 at 3.2 pt is 2 lb chlorothalonil and 0.2 lb azoxystrobin; both are over."""
    tight = relabelled("F2", "3.2", caps=[cap("azoxystrobin", "0.19"), cap("chlorothalonil", "1.9")])
    found = [f for f in check(changed(facts([]), lines=(tight,))) if f.code == "season_ai"]

    assert [(f.numbers["ingredient"], f.numbers["limit"]) for f in found] == [
        ("azoxystrobin", "0.19 lb"),
        ("chlorothalonil", "1.9 lb"),
    ]


def test_of_two_labels_the_stricter_limit_on_one_application_speaks():
    """F1 at 3 pt and F2 at 3.2 pt: 2.25 + 2 lb chlorothalonil; F1 allows 2.25, F2 here 2."""
    loose = relabelled("F1", 3)
    tight = relabelled("F2", "3.2", caps=[cap("chlorothalonil", 2, "pass")])
    found = [f for f in check(changed(facts([]), lines=(loose, tight))) if f.code == "rate_ai_single"]

    assert [(f.numbers["limit"], f.subject) for f in found] == [("2 lb", "F2")]


SITES = [
    # a limit for the crop stands in for the general one of the same label, whichever is lower
    ("general", "pumpkin", ["5"]),
    ("the_crops_own", "sweet_corn", ["8"]),
    ("nothing_grows", None, ["5"]),
]


@pytest.mark.parametrize(("site", "pounds"), [r[1:] for r in SITES], ids=[r[0] for r in SITES])
def test_a_limit_for_the_crop_stands_in_for_the_general_one(site, pounds):
    caps = [cap("chlorothalonil", 5), cap("chlorothalonil", 8, site_code="sweet_corn"),
            cap("chlorothalonil", 3, site_code="cucumber"), cap("chlorothalonil", 1, "pass")]  # fmt: skip
    given = changed(facts([]), lines=(relabelled("F1", 3, caps=caps),), site_code=site)

    assert [str(row[1].pounds) for row in caps_for(given, CapPer.YEAR)] == pounds
    assert [str(row[1].pounds) for row in caps_for(given, CapPer.PASS)] == ["1"]


def test_limits_of_two_kinds_of_year_both_bind():
    caps = [cap("chlorothalonil", 9), {**cap("chlorothalonil", 8), "year_basis": "twelve_months"}]
    other = [cap("chlorothalonil", 7)]
    given = changed(facts([]), lines=(relabelled("F1", 3, caps=caps), relabelled("F2", "3.2", caps=other)))

    assert [(row[1].year_basis.value, str(row[1].pounds), row[2].name) for row in caps_for(given, CapPer.YEAR)] == [
        ("calendar", "7", "F2"),
        ("twelve_months", "8", "F1"),
    ]
