"""A label as facts: what the paper says, nothing added.

``None`` means the label does not say, or nobody has read it off yet; no limit is ever
filled in. Empty ``methods`` means any method.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from decimal import Decimal

from apps.products.rules.codes import (
    BeeClass,
    CapPer,
    ContentBasis,
    Group,
    IntervalScope,
    Kind,
    Method,
    MixingStage,
    RateBasis,
    YearBasis,
)

EVERY_CROP = "*"


@dataclass(frozen=True, kw_only=True)
class Ingredient:
    """An active ingredient (ISO common name, lower case) and how much of it is in the product."""

    name: str
    amount: Decimal
    basis: ContentBasis


@dataclass(frozen=True, kw_only=True)
class IngredientCap:
    """At most ``pounds`` of an ingredient per acre, from all products; only for ``site_code`` when one is named."""

    ingredient: str
    pounds: Decimal
    per: CapPer
    year_basis: YearBasis = YearBasis.UNKNOWN
    site_code: str | None = None


@dataclass(frozen=True, kw_only=True)
class GroupRunLimit:
    """The label's own limit on sprays of one group in a row."""

    group: Group
    max_in_a_row: int


@dataclass(frozen=True, kw_only=True)
class Separation:
    """Days to keep from an ingredient, before and after; never in one tank."""

    ingredient: str
    days: int


@dataclass(frozen=True, kw_only=True)
class PlantBack:
    """Calendar months before ``site_code`` (``*`` = every crop not listed) may be planted."""

    site_code: str
    months: int


@dataclass(frozen=True, kw_only=True)
class Ppe:
    """Protective gear by task, in the label's words."""

    mixing: tuple[str, ...] = ()
    applying: tuple[str, ...] = ()
    early_entry: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class PhiTier:
    """Pre-harvest days for rates up to and including ``up_to_rate`` (in the use's rate unit)."""

    up_to_rate: Decimal
    days: int


@dataclass(frozen=True, kw_only=True)
class ActivityRei:
    """A restricted-entry interval of its own for one activity."""

    activity: str
    hours: Decimal


@dataclass(frozen=True, kw_only=True)
class LabelUse:
    """What the label allows on one site. Amounts are in ``rate_unit`` and per *treated* acre."""

    site_code: str
    targets: tuple[str, ...] = ()
    rate_min: Decimal | None
    rate_max: Decimal
    rate_unit: str
    rate_basis: RateBasis
    phi_days: int | None = None
    phi_tiers: tuple[PhiTier, ...] = ()
    rei_hours: Decimal | None = None
    activity_rei: tuple[ActivityRei, ...] = ()
    min_interval_days: int | None = None
    interval_scope: IntervalScope = IntervalScope.PRODUCT
    max_uses: int | None = None
    season_max_product: Decimal | None = None
    season_max_unit: str | None = None
    season_basis: YearBasis = YearBasis.UNKNOWN
    stage_from: str | None = None
    stage_before: str | None = None
    crop_height_max_in: Decimal | None = None
    methods: tuple[Method, ...] = ()
    min_spray_gpa: Decimal | None = None
    conditions: str = ""


@dataclass(frozen=True, kw_only=True)
class Label:
    """One version of a product's label."""

    kind: Kind
    restricted_use: bool
    ingredients: tuple[Ingredient, ...]
    groups: tuple[Group, ...]
    uses: tuple[LabelUse, ...]
    formulation_code: str | None = None
    signal_word: str = ""
    ppe: Ppe = Ppe()
    caps: tuple[IngredientCap, ...] = ()
    group_run_limits: tuple[GroupRunLimit, ...] = ()
    separations: tuple[Separation, ...] = ()
    plantback: tuple[PlantBack, ...] = ()
    cover_crop_any_time: bool = False
    preplant_days: Mapping[str, int] = field(default_factory=dict)
    bee_class: BeeClass | None = None
    bee_statement: str = ""
    methods: tuple[Method, ...] = ()
    min_spray_gpa: Decimal | None = None
    recommended_gpa: Decimal | None = None
    wind_max_mph: Decimal | None = None
    wind_min_mph: Decimal | None = None
    buffer_ft: Decimal | None = None
    temperature_max_f: Decimal | None = None
    temperature_caution_f: Decimal | None = None
    solution_ph_min: Decimal | None = None
    surfactant_caution: bool = False
    rain_free_hours: Decimal | None = None
    mix_cautions: tuple[str, ...] = ()
    supervised_use_allowed: bool | None = None
    training_topic: str | None = None
    training_months: int | None = None
    double_notification: bool = False
    condition_release: str = ""
    density_lb_per_gal: Decimal | None = None
    contains_oil: bool | None = None
    mixing_stage: MixingStage | None = None
    rei_hours: Decimal | None = None
    activity_rei: tuple[ActivityRei, ...] = ()
    sections: Mapping[str, str] = field(default_factory=dict)

    @property
    def ingredient_names(self) -> frozenset[str]:
        """The active ingredients, by ISO common name."""
        return frozenset(i.name for i in self.ingredients)
