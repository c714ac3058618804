"""A line beside the use of its label that counts: crop, target and rate choose it; of several the strictest."""

from __future__ import annotations

from decimal import Decimal

from apps.products.rules import Method, Scheme, read_label
from apps.spraying.rules.mix import fights, groups_in, judge, judge_all, total_pounds

from .mixes import LIBRARY, changed, label_document, line

GPA = Decimal(40)


def two_uses(amount, *targets):
    """F3 on pumpkin: 4-6 fl oz against mildew, 1-2 fl oz against rust; on winter squash 9 fl oz whatever the target."""
    body = label_document(LIBRARY["F3"])
    use = body["uses"][0]
    body["uses"] = [
        {**use, "targets": ["powdery_mildew"], "phi_days": 3, "methods": ["ground"]},
        {**use, "targets": ["rust"], "rate_min": 1, "rate_max": 2, "phi_days": 10},
        {**use, "site_code": "winter_squash", "rate_min": 9, "rate_max": 9, "phi_days": 1},
    ]
    return line("F3", amount, label=read_label(body), targets=targets)


def used(row, site="pumpkin"):
    j = judge(row, site, GPA)
    return (j.listed, j.use.rate_min, j.use.rate_max, j.use.phi_days)


def test_the_target_chooses_the_use():
    assert used(two_uses(5, "powdery_mildew")) == (True, 4, 6, 3)
    assert used(two_uses(5, "rust")) == (True, 1, 2, 10)
    assert judge(two_uses(5, "powdery_mildew"), "pumpkin", GPA).use.methods == (Method.GROUND,)


def test_without_a_target_the_rate_chooses_its_range_and_the_rest_is_the_strictest():
    """5 fl oz fits the first range, 1.5 the second; the longer wait before harvest counts for both."""
    assert used(two_uses(5)) == (True, 4, 6, 10)
    assert used(two_uses("1.5")) == (True, 1, 2, 10)


def test_a_target_that_the_label_does_not_name_is_judged_as_none_named():
    assert used(two_uses(5, "anthracnose")) == (True, 4, 6, 10)
    assert used(two_uses("1.5", "anthracnose")) == (True, 1, 2, 10)


def test_the_crop_chooses_and_one_that_is_not_listed_keeps_the_strictest_of_all():
    assert used(two_uses(9, "rust"), "winter_squash") == (True, 9, 9, 1)
    listed, _, most, wait = used(two_uses(5), "okra")
    assert (listed, most, wait) == (False, 2, 10)
    assert judge(two_uses(5), None, GPA).listed is False


def test_a_line_without_a_label_is_not_judged():
    bare = changed(line("F1", 3), label=None)

    assert judge(bare, "pumpkin", GPA) is None
    assert [j.line.name for j in judge_all([bare, line("F3", 6)], "pumpkin", GPA)] == ["F3"]
    assert [j.spray_gpa for gpa in (None, GPA) for j in judge_all([line("F3", 6)], "pumpkin", gpa)] == [None, GPA]
    assert [j.listed for site in ("pumpkin", "okra") for j in judge_all([line("F3", 6)], site, GPA)] == [True, False]


def test_one_ingredient_is_summed_over_a_tank():
    """3 pt of 6 lb/gal and 3.2 pt of 5 lb/gal: 2.25 + 2 lb; 3.2 pt of 0.5 lb/gal: 0.2 lb."""
    tank = judge_all([line("F1", 3), line("F2", "3.2")], "pumpkin", GPA)

    assert total_pounds(tank) == {"chlorothalonil": Decimal("4.25"), "azoxystrobin": Decimal("0.2")}
    assert total_pounds(judge_all([line("F1", 3, "lb")], "pumpkin", GPA)) == {}


def test_what_fights_in_a_scheme():
    """A kind of product in its own scheme, whatever its groups; any product in the scheme of a group it holds."""
    odd = {**label_document(LIBRARY["N1"]), "groups": [{"scheme": "irac", "code": "4A"}]}
    rows = [line("F1", 3), line("I5", 4), line("H4", 1), line("N1", 2), line("N1", 2, label=read_label(odd))]
    schemes = (Scheme.FRAC, Scheme.IRAC, Scheme.HRAC)

    assert [[fights(row, scheme) for scheme in schemes] for row in rows] == [
        [True, False, False],
        [False, True, False],
        [False, False, True],
        [False, False, False],
        [False, True, False],
    ]
    ungrouped = read_label({**label_document(LIBRARY["F1"]), "groups": []})
    assert fights(line("F1", 3, label=ungrouped), Scheme.FRAC)
    assert not fights(changed(rows[0], label=None), Scheme.FRAC)


def test_each_group_of_a_tank_is_named_once():
    rows = [line("F2", 3), changed(line("F3", 6), label=None), line("F1", 3)]

    assert [str(group) for group in groups_in(rows)] == ["FRAC 11", "FRAC M05"]
