"""Which advice a farm follows: a shipped table, or its own."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from django.db.models import QuerySet

from apps.people.models import Farm
from apps.people.queries import one
from apps.spraying.models import AdviceRule, SpraySettings
from apps.spraying.policies.rules import COUNTS, FLAGS, Told, about, rule_from, told
from apps.spraying.rules.house import BY_NAME, CERTIFICATE, LIMITS, with_limits
from apps.spraying.rules.policies import PRESETS, FarmPolicy, GroupRule
from farmops.units import show

COLUMNS = ("scheme", "code", "target_classes", *COUNTS, *FLAGS, "source")


@dataclass(frozen=True, kw_only=True)
class RuleShown:
    """A rule as it is listed; ``id`` and ``version`` only for rows of the farm's own table."""

    rule: GroupRule
    id: int | None = None
    version: int | None = None
    preset: str = ""
    edited: bool = False

    @property
    def group(self) -> str:
        return about(self.rule)

    @property
    def limits(self) -> list[Told]:
        return told(self.rule)

    @property
    def target_classes(self) -> list[str]:
        return sorted(self.rule.target_classes)

    @property
    def source(self) -> str:
        return self.rule.source


def own_rules(farm: Farm) -> QuerySet[AdviceRule]:
    """The rows of the farm's own table, by group."""
    return AdviceRule.objects.for_farm(farm).order_by("scheme", "code", "pk")


def own_rule(farm: Farm, rule_id: int) -> AdviceRule:
    """One row, or ``Unknown``."""
    row: AdviceRule = one(own_rules(farm).filter(pk=rule_id))
    return row


def values_of(row: AdviceRule) -> dict[str, Any]:
    """A row as the rules read it."""
    return {name: getattr(row, name) for name in COLUMNS}


def policy_of(house: SpraySettings) -> FarmPolicy:
    """The advice the check goes by: the shipped table picked, with the farm's own numbers, and its own rows in place
    of the table's rules if it follows its own. One query in that case, none otherwise."""
    shipped = with_limits(PRESETS[house.preset], {name: getattr(house, name) for name in (*BY_NAME, CERTIFICATE)})
    if not house.own_advice:
        return shipped
    rules = tuple(rule_from(values_of(row)) for row in own_rules(house.farm))
    return replace(shipped, name=f"own, from {house.preset}", group_rules=rules)


@dataclass(frozen=True, kw_only=True)
class LimitShown:
    """A number of the house as it is listed, as texts in ``unit``."""

    name: str
    words: str
    value: str
    shipped: str
    unit: str
    least: str
    most: str
    source: str
    own: bool


def limits_shown(house: SpraySettings) -> list[LimitShown]:
    """Every number of the house: what holds, what is shipped, and the bounds an edit stays within."""
    return [
        LimitShown(
            name=limit.name,
            words=limit.words,
            value=show(limit.shipped if (own := getattr(house, limit.name)) is None else own),
            shipped=show(limit.shipped),
            unit=limit.unit,
            least=show(limit.least),
            most=show(limit.most),
            source=limit.source,
            own=own is not None,
        )
        for limit in LIMITS
    ]


def shown(house: SpraySettings) -> list[RuleShown]:
    """Every rule the farm follows now."""
    if not house.own_advice:
        return [RuleShown(rule=rule, preset=house.preset) for rule in PRESETS[house.preset].group_rules]
    return [
        RuleShown(rule=rule_from(values_of(r)), id=r.pk, version=r.version, preset=r.preset, edited=r.edited)
        for r in own_rules(house.farm)
    ]
