"""Season limits and resistance rules: each finding in full. Limits of the invented library."""

from __future__ import annotations

from datetime import date

import pytest

from apps.products.rules import Group, RateBasis, Scheme
from apps.spraying.rules import FarmPolicy, GroupRule, check
from apps.spraying.rules.resistance import Sequence, classes_for

from .mixes import changed, line, past, relabelled
from .whole import PAGES, given, paged, stated, whole

F1, F3, F4, F8, F13, I5 = ("F1", 3), ("F3", 6), ("F4", 6), ("F8", "3.4"), ("F13", 4), ("I5", 4)
YEAR = "Thu, Jan 1, 2026 to Thu, Dec 31, 2026"
ADVICE = "advice stated with the worked cases"


def after(tank, *history, **more):
    return given(tank, history=history, **more)


def spoken(story):
    return [f.code for f in check(story)]


def first_of_months(months, *mix):
    return [past(f"2026-{month:02}-02", *mix) for month in months]


def advice(code, scheme=Scheme.FRAC, **limits):
    return FarmPolicy(group_rules=(GroupRule(scheme=scheme, code=code, source="advice", **limits),))


def cap(name, pounds, **more):
    return {"ingredient": name, "pounds": pounds, "per": "year", "year_basis": "calendar", **more}


SIX_F1 = [past(f"2026-{month}-{day}", F1) for month in ("05", "06") for day in ("02", "12", "22")]  # 6 x 2.25 lb
SMALL_CAP = relabelled("I3", 10, caps=[cap("lambda-cyhalothrin", "0.05")], use={"site_code": "pumpkin"}, sections=PAGES)
UNREAD = tuple(changed(line(*row), label=None) for row in (F4, F1))
OWN_NEAR = FarmPolicy(own_limits=frozenset({"season_near"}))
NEAR = (
    f"chlorothalonil: 15 lb per acre with this spray, 95.2 % of the 15.75 lb allowed on Long Field 2 ({YEAR}; F1).",
    "label of F1, label 1, chlorothalonil in a season, all products together, page 2; project rule",
)

SEASON = [
    ("uses", after(paged("F3", 4), *first_of_months((4, 5, 6, 7), ("F3", 4))), "max_apps", "refuse",
     f"F3: this would be use 5 of at most 4 on Long Field 2 ({YEAR}).",
     "label of F3, label 1, number of applications, page 14", "", "F3"),
    ("product", after(paged("F3", "4.5"), *first_of_months((4, 5, 6, 7), ("F3", 5))), "season_product", "refuse",
     f"F3: 24.5 fl oz per acre with this spray, 24 fl oz allowed on Long Field 2 ({YEAR}).",
     "label of F3, label 1, season total of the product, page 15", "rate", "F3"),
    ("product_near", after(paged("F3", 4), *first_of_months((4, 5, 6), F3)), "season_product_near", "note",
     f"F3: 22 fl oz per acre with this spray of 24 fl oz allowed on Long Field 2 ({YEAR}).",
     "label of F3, label 1, season total of the product, page 15", "rate", "F3"),
    ("ingredient", after(paged("F1", 3), *SIX_F1, past("2026-07-02", F1)), "season_ai", "refuse",
     f"chlorothalonil: 18 lb per acre with this spray, 15.75 lb allowed on Long Field 2 ({YEAR}; F1).",
     "label of F1, label 1, chlorothalonil in a season, all products together, page 2", "rate", "F1"),
    ("ingredient_near", after(paged("F1", 2), *SIX_F1), "season_near", "justify", *NEAR, "rate", "F1"),
    ("near_by_the_farm", after(paged("F1", 2), *SIX_F1, policy=OWN_NEAR), "season_near", "justify",
     NEAR[0], f"{NEAR[1]}; the farm's own number", "rate", "F1"),
    # 3 fl oz of 1 lb/gal and 10 fl oz of 0.417 lb/gal: 0.0234 + 0.0326 lb
    ("limit_of_a_label_used_before", after(paged("I1", 3, caps=[]), past("2026-05-01", lines=(SMALL_CAP,))),
     "season_ai_other_label", "justify",
     "lambda-cyhalothrin: 0.056 lb per acre with this spray; I3, used before, allows 0.05 lb on Long Field 2 "
     f"({YEAR}).",
     "label of I3, label 1, page 2", "rate", "I3"),
    ("unread", after(paged("F3", 6), past("2026-05-01", lines=UNREAD)), "history_unread", "justify",
     "Past sprays on Long Field 2 cannot be counted: no label or no comparable rate for F1, F4.",
     "project rule", "", ""),
    ("what_is_a_year", given(paged("I2", "6.4", caps=[cap("bifenthrin", "0.3", year_basis="unknown")])),
     "year_basis_unknown", "note",
     "I2: the label does not say what it means by a season, so the strictest reading is used: any 12 months, and the "
     "crop.", "label of I2, label 1, page 2; project rule", "", "I2"),
    ("records_begin_late", given(paged("F3", 6), history_known_from=date(2026, 1, 2)), "history_unknown", "justify",
     "Limits here look back to Thu, Jan 1, 2026; sprays on Long Field 2 are on record from Fri, Jan 2, 2026.",
     "project rule", "", ""),
    ("records_unknown", given(paged("F3", 6), history_known_from=None), "history_unknown", "justify",
     "Limits here look back to Thu, Jan 1, 2026; sprays on Long Field 2 are on record from ?.",
     "project rule", "", ""),
]  # fmt: skip

TWICE_F4 = [past("2026-07-01", F4), past("2026-07-08", F4), past("2026-07-15", F1)]
GROUPS = [
    ("label_run", after(paged("F3", 6), past("2026-07-20", F3), past("2026-07-27", F3)), "group_consec_label",
     "refuse", "FRAC 13: this would be 3 sprays in a row on Long Field 2; the label of F3 allows 2.",
     "label of F3, label 1, sprays of one group in a row, page 16", "", "F3"),
    ("run", after(paged("F5", 5), past("2026-07-20", F4), past("2026-07-27", F4)), "group_consec", "justify",
     "FRAC 3: this would be 3 sprays in a row on Long Field 2; advised is at most 2.", ADVICE, "", ""),
    ("window", after(paged("F2", 3), past("2026-07-20", ("F6", 15)), past("2026-07-27", F1)), "group_window",
     "justify", "FRAC 11: 2 of 3 sprays in a row on Long Field 2; advised is at most 1.", ADVICE, "", ""),
    ("crop", after(paged(*F8), past("2026-06-20", F8), past("2026-07-01", F8)), "group_max_crop", "justify",
     "FRAC U06: this would be spray 3 in this crop on Long Field 2; advised is at most 2.", ADVICE, "", ""),
    ("year", after(paged("F4", 6), past("2026-03-20", F4), policy=advice("3", max_per_year=1)), "group_max_year",
     "justify", "FRAC 3: this would be spray 2 this year on Long Field 2; advised is at most 1.", "advice", "", ""),
    ("rest", after(paged("F4", 6), *TWICE_F4, policy=advice("3", rest_equal=True)), "group_rest", "justify",
     "FRAC 3: 2 in a row on Long Field 2, then only 1 sprays of other groups since.", "advice", "", ""),
    ("share", after(paged("F13", 4), past("2026-07-01", F13), past("2026-07-08", F1)), "group_share", "justify",
     "FRAC 49: 2 of 3 sprays on Long Field 2; advised is a share of at most 1/3.", ADVICE, "", ""),
    ("few", after(paged("F13", 4), past("2026-07-01", F13), policy=advice("49", few=1)), "group_share", "justify",
     "FRAC 49: 2 of 2 sprays on Long Field 2; advised is a share of at most 1/2.", "advice", "", ""),
    # 30 June is the first day of the first 30; 4 August lies in the second
    ("generation", after(paged(*I5), past("2026-06-30", I5), policy=advice(None, Scheme.IRAC, generation_days=30)),
     "group_generation", "justify",
     "IRAC 4A: also sprayed on Tue, Jun 30, 2026 on Long Field 2, in the neighbouring stretch of 30 days; the next "
     "generation of the pest should not meet the same group.", "advice", "", ""),
    ("failure", after(paged(*I5), past("2026-07-30", I5, failed=True),
                      policy=advice(None, Scheme.IRAC, never_after_failure=True)), "group_after_failure", "justify",
     "IRAC 4A: the spray of Thu, Jul 30, 2026 on Long Field 2 failed; do not follow a failure with the same group.",
     "advice", "", ""),
    ("partner", given(paged("F6", 15), paged("F3", 5)), "no_multisite_partner", "justify",
     "FRAC 11, FRAC 13, FRAC 7 without a multi-site product in the same tank.", ADVICE, "products", ""),
]  # fmt: skip
WHOLE = [*SEASON, *GROUPS]


@pytest.mark.parametrize(("story", "code", "expected"), [(r[1], r[2], r[3:]) for r in WHOLE], ids=[r[0] for r in WHOLE])
def test_the_whole_finding(story, code, expected):
    assert whole(story, code) == [expected]


THIRTY = advice(None, Scheme.IRAC, generation_days=30)
STRETCHES = [
    # the first spray of the story opens the first stretch; day 30 after it is the first of the second
    ("day_29_is_the_same", ["2026-07-06"], []),
    ("day_30_is_the_next", ["2026-07-05"], ["Sun, Jul 5, 2026"]),
    ("day_59_is_the_next", ["2026-06-06"], ["Sat, Jun 6, 2026"]),
    ("day_60_is_the_one_after", ["2026-06-05"], []),
    ("one_of_each_other_stretch", ["2026-06-05", "2026-07-10"], ["Fri, Jul 10, 2026"]),
]


@pytest.mark.parametrize(("days", "told"), [r[1:] for r in STRETCHES], ids=[r[0] for r in STRETCHES])
def test_stretches_of_a_generation(days, told):
    rows = whole(after(paged(*I5), *(past(day, I5) for day in days), policy=THIRTY), "group_generation")

    assert [row[1].split(" also sprayed on ")[1].split(" on Long")[0] for row in rows] == told


def test_a_generation_of_another_group_in_the_neighbouring_stretch_does_not_matter():
    story = after(paged(*I5), past("2026-06-20", ("I1", 3)), past("2026-07-30", I5), policy=THIRTY)

    assert "group_generation" not in spoken(story)


def three(*mixes):
    """A story whose middle spray is the planned one."""
    return Sequence(tuple((past(f"2026-07-{n:02}", *mix),) for n, mix in enumerate(mixes, 1)), 1)


def test_runs_reach_both_ways_and_to_both_ends():
    group = Group(Scheme.FRAC, "3")

    assert [three((F4,), (F4,), (F4,)).run(group), three((F4,), (F4,), (F1,)).run(group)] == [3, 2]
    assert three((F1,), (F4,), (F4,)).run(group) == 2
    assert [three((F4,), (F4,), (F4,)).most_in(group, 2), three((F1,), (F4,), (F1,)).most_in(group, 3)] == [2, 1]
    assert three((F1,), (F4,), (F4,)).most_in(group, 9) == 2


def test_a_rest_is_owed_for_the_last_run_alone():
    """(length of the last run before, sprays since): three, one without, then the planned one."""
    group = Group(Scheme.FRAC, "3")
    days = [past(f"2026-06-{n:02}", F4 if n < 4 else F1) for n in range(1, 6)]
    story = Sequence(tuple((day,) for day in days), 4)

    assert (story.owed_rest(group), three((F1,), (F4,), (F1,)).owed_rest(group)) == ((3, 1), (0, 1))


def test_the_fullest_stretch_of_an_unknown_year_speaks():
    """Any 12 months hold the sprays of last autumn, the crop planted on 1 June holds none of them."""
    counted = paged("F3", 4, use={"season_basis": "unknown"})
    history = [past(day, ("F3", 4)) for day in ("2025-09-01", "2025-09-10", "2025-09-20", "2025-10-01")]

    assert whole(after(counted, *history, planted_on=date(2026, 6, 1)), "max_apps")[0][1] == (
        "F3: this would be use 5 of at most 4 on Long Field 2 (Tue, Aug 5, 2025 to Tue, Aug 4, 2026)."
    )


BACK = [
    # nothing that counts a season: the longest days between sprays look back; the spray is on 4 Aug
    ("interval_of_seven_days", {"use": {"min_interval_days": 7}}, "Tue, Jul 28, 2026", date(2026, 7, 28)),
    (
        "kept_apart_for_fourteen",
        {"separations": [{"ingredient": "sulfur", "days": 14}]},
        "Tue, Jul 21, 2026",
        date(2026, 7, 21),
    ),
]


@pytest.mark.parametrize(("doc", "since", "day"), [r[1:] for r in BACK], ids=[r[0] for r in BACK])
def test_how_far_back_the_records_must_reach(doc, since, day):
    story = given(paged("F4", 6, **{**doc, "use": {"season_max_product": None, **doc.get("use", {})}}))

    assert [row[1] for row in whole(changed(story, history_known_from=None), "history_unknown")] == [
        f"Limits here look back to {since}; sprays on Long Field 2 are on record from ?."
    ]
    assert "history_unknown" not in spoken(changed(story, history_known_from=day))


def test_nothing_looks_back_where_no_limit_does():
    free = paged("F4", 6, use={"season_max_product": None, "min_interval_days": None})

    assert "history_unknown" not in spoken(given(free, history_known_from=None))


def test_unread_sprays_of_last_year_count_older_ones_do_not():
    """The year before is looked at since twelve months may reach into it (project rule)."""
    stories = [after(paged("F3", 6), past(day, lines=UNREAD)) for day in ("2025-01-01", "2024-12-31", "2026-07-01")]

    assert ["history_unread" in spoken(s) for s in stories] == [True, False, True]


def test_a_rate_that_is_no_amount_counts_as_nothing_and_breaks_nothing():
    """1 % v/v without a spray volume: the past alone is summed, and that the rate is unknown is said elsewhere."""
    caps = [cap("mineral oil", "8")]
    oil = paged("F11", 1, rate=stated("1", "%vv", RateBasis.PERCENT_VV), caps=caps, use={"season_max_product": "1.5"})
    story = after(oil, past("2026-06-01", ("F11", 1)), spray_gpa=None)  # 1 gal, 7 lb: 87.5 % of the cap

    assert {"rate_unknown"} <= set(spoken(story))
    assert not {"season_product", "season_product_near", "season_ai", "season_near"} & set(spoken(story))


def test_past_sprays_without_the_ingredient_add_nothing():
    history = [past(f"2026-06-{day:02}", F3) for day in (1, 8, 15)]

    assert not {"season_ai", "season_near"} & set(spoken(after(paged("I2", "6.4"), *history)))


def test_past_amounts_of_another_measure_are_named_not_added():
    solid = relabelled("F3", 5, "lb")
    story = after(paged("F3", 6), past("2026-06-01", lines=(solid,)))

    assert ("history_unread" in spoken(story), "season_product" in spoken(story)) == (True, False)


OTHER = [
    ("a_year_and_a_day_before", "2025-08-03", True),
    ("the_day_before_that", "2025-08-02", False),
]


@pytest.mark.parametrize(("day", "told"), [r[1:] for r in OTHER], ids=[r[0] for r in OTHER])
def test_how_old_a_label_may_be_whose_limit_still_asks(day, told):
    """366 days (project rule); 6.4 fl oz of 1 lb/gal = 0.05 lb: the tank alone is over 0.04 lb."""
    strict = relabelled("I3", 10, caps=[cap("lambda-cyhalothrin", "0.04")], use={"site_code": "pumpkin"})
    story = after(paged("I1", "6.4", caps=[]), past(day, lines=(strict,)))

    assert ("season_ai_other_label" in spoken(story)) is told


def test_a_limit_for_another_crop_on_a_label_used_before_does_not_ask():
    """The label limits sweet corn to 0.04 lb and everything else to 1 lb."""
    caps = [cap("lambda-cyhalothrin", "1"), cap("lambda-cyhalothrin", "0.04", site_code="sweet_corn")]
    before = past("2026-06-01", lines=(relabelled("I3", 10, caps=caps),), crop="sweet_corn")
    here, corn = (after(paged("I1", "6.4", caps=[]), before, site_code=s) for s in ("pumpkin", "sweet_corn"))

    assert ["season_ai_other_label" in spoken(s) for s in (here, corn)] == [False, True]


def test_the_year_of_the_crops_own_limit_is_what_is_said_to_be_unknown():
    caps = [
        cap("bifenthrin", "0.3"),
        cap("bifenthrin", "0.3", site_code="pumpkin", year_basis="unknown"),
    ]
    here, corn = (given(paged("I2", "6.4", caps=caps), site_code=s) for s in ("pumpkin", "sweet_corn"))

    assert ["year_basis_unknown" in spoken(s) for s in (here, corn)] == [True, False]


def looks_back(story):
    return [f.numbers["since"] for f in check(changed(story, history_known_from=None)) if f.code == "history_unknown"]


def test_each_kind_of_limit_looks_back_as_far_as_it_counts():
    """Twelve months before 4 August 2026 begin on 5 August 2025; the crop was planted on 1 June."""
    only_uses = paged("F4", 6, use={"max_uses": 3, "season_max_product": None, "season_basis": "twelve_months"})
    per_crop = paged("I2", "6.4", caps=[{"ingredient": "bifenthrin", "pounds": "0.3", "per": "crop"}])

    assert looks_back(given(only_uses)) == ["2025-08-05"]
    assert looks_back(given(per_crop, planted_on=date(2026, 6, 1))) == ["2026-06-01"]
    assert looks_back(given()) == []


def test_a_window_holds_the_planned_spray():
    later = Sequence(tuple((past(f"2026-07-{n:02}", mix),) for n, mix in enumerate((F1, F4, F4), 1)), 0)

    before = Sequence(tuple((past(f"2026-07-{n:02}", mix),) for n, mix in enumerate((F4, F4, F1), 1)), 2)

    assert [story.most_in(Group(Scheme.FRAC, "3"), 2) for story in (later, before)] == [1, 1]


def test_only_the_lines_of_a_group_say_what_it_is_aimed_at():
    mildew = changed(paged("F4", 6), targets=("powdery_mildew",))
    downy, silent = changed(paged("F13", 4), targets=("downy_mildew",)), paged("F5", 5)
    three, forty_nine = Group(Scheme.FRAC, "3"), Group(Scheme.FRAC, "49")

    assert classes_for(given(mildew, downy), three) == {"powdery_mildew"}
    assert classes_for(given(mildew, downy), forty_nine) == {"oomycetes"}
    assert classes_for(given(mildew, silent), three) == frozenset()


def limited(code, amount, most, name):
    row = paged(code, amount, group_run_limits=[{"scheme": "frac", "code": "3", "max_in_a_row": most}])
    return changed(row, name=name)


LIMITED = [
    ("the_stricter_label", [("F4", 6, 3, "A"), ("F5", 5, 1, "B")], "the label of B allows 1."),
    ("of_equals_the_first_by_name", [("F5", 5, 1, "B"), ("F4", 6, 1, "A")], "the label of A allows 1."),
]


@pytest.mark.parametrize(("rows", "words"), [r[1:] for r in LIMITED], ids=[r[0] for r in LIMITED])
def test_of_two_labels_that_limit_a_run_the_stricter_speaks(rows, words):
    story = given(*(limited(*row) for row in rows), history=(past("2026-07-27", F4),))

    assert [row[1].split("; ")[1] for row in whole(story, "group_consec_label")] == [words]


def test_one_rule_broken_in_two_ways_says_both():
    rule = advice(None, Scheme.IRAC, generation_days=30, max_per_year=1)
    codes = spoken(after(paged(*I5), past("2026-06-30", I5), policy=rule))

    assert [c for c in codes if c.startswith("group_")] == ["group_max_year", "group_generation"]


def test_one_of_few_is_not_too_many():
    assert "group_share" not in spoken(after(paged(*F13), past("2026-07-01", F1), policy=advice("49", few=1)))


def test_a_partner_is_asked_for_only_against_the_target_it_is_meant_for():
    rule = advice("13", needs_multisite=True, target_classes=frozenset({"powdery_mildew"}))
    aimed = [given(changed(paged(*F3), targets=(name,)), policy=rule) for name in ("rust", "powdery_mildew")]

    assert ["no_multisite_partner" in spoken(s) for s in aimed] == [False, True]
