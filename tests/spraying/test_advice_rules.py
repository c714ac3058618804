"""Which groups and targets a rule of advice speaks about. Group codes: FRAC and IRAC code lists."""

from __future__ import annotations

import pytest

from apps.products.rules import Group, Scheme
from apps.spraying.rules import GroupRule
from apps.spraying.rules.policies import FarmPolicy, class_of

MILDEW, RUST = frozenset({"powdery_mildew"}), frozenset({"rust"})


def test_a_target_that_is_not_listed_is_a_class_of_its_own():
    assert [class_of(name) for name in ("downy_mildew", "pythium", "rust")] == ["oomycetes", "oomycetes", "rust"]


COVERS = [
    ("its_group", ("frac", "3"), {"code": "3"}, MILDEW, True),
    ("another_group", ("frac", "7"), {"code": "3"}, MILDEW, False),
    ("the_same_number_elsewhere", ("irac", "3"), {"code": "3"}, MILDEW, False),
    ("each_group_of_the_scheme", ("frac", "7"), {"code": None}, MILDEW, True),
    ("but_not_one_of_low_risk", ("frac", "M05"), {"code": None}, MILDEW, False),
    ("a_rule_against_this_class", ("frac", "3"), {"code": "3", "target_classes": MILDEW}, MILDEW, True),
    ("a_rule_against_another", ("frac", "3"), {"code": "3", "target_classes": MILDEW}, RUST, False),
    ("one_of_two_classes", ("frac", "3"), {"code": "3", "target_classes": MILDEW}, MILDEW | RUST, True),
    ("nobody_knows_the_target", ("frac", "3"), {"code": "3", "target_classes": MILDEW}, frozenset(), True),
]


@pytest.mark.parametrize(("group", "rule", "classes", "covered"), [r[1:] for r in COVERS], ids=[r[0] for r in COVERS])
def test_what_a_rule_covers(group, rule, classes, covered):
    made = GroupRule(scheme=Scheme.FRAC, source="advice", **rule)

    assert made.covers(Group(Scheme(group[0]), group[1]), classes) is covered


def test_a_sub_group_is_covered_by_its_number_and_by_its_own_code():
    """IRAC 4A stands in group 4."""
    group = Group(Scheme.IRAC, "4A")
    rules = [GroupRule(scheme=Scheme.IRAC, source="advice", code=code) for code in ("4", "4A", "4D")]

    assert [rule.covers(group, frozenset()) for rule in rules] == [True, True, False]


def test_a_number_the_farm_moved_says_so():
    policy = FarmPolicy(own_limits=frozenset({"wind_max_mph"}))

    assert (policy.where("wind_max_mph", "law"), policy.where("calm_wind_mph", "law")) == (
        "law; the farm's own number",
        "law",
    )
