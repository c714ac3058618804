"""The farm's own advice as data: resistance rules and house limits, each with its source.

Nothing here is law. A label limit refuses; what stands here asks for a written reason.
A farm picks a preset and may edit it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import time
from decimal import Decimal
from fractions import Fraction

from apps.products.rules import Group, Method, Scheme
from apps.weather.rules.air import CALM_MPH
from farmops.errors import Severity

# Target -> the class of targets that one resistance story is told about. Common practice, no source.
# A target that is not listed is a class of its own. Powdery and downy mildew need different fungicides.
TARGET_CLASSES: dict[str, str] = {
    "powdery_mildew": "powdery_mildew",
    "downy_mildew": "oomycetes",
    "phytophthora_blight": "oomycetes",
    "pythium": "oomycetes",
    "gummy_stem_blight": "leaf_fungi",
    "plectosporium_blight": "leaf_fungi",
    "anthracnose": "leaf_fungi",
    "alternaria": "leaf_fungi",
    "bacterial_leaf_spot": "bacteria",
    "angular_leaf_spot": "bacteria",
    "corn_earworm": "caterpillars",
    "fall_armyworm": "caterpillars",
    "european_corn_borer": "caterpillars",
    "squash_vine_borer": "caterpillars",
    "cucumber_beetle": "beetles",
    "squash_bug": "bugs",
    "melon_aphid": "sucking_insects",
    "whitefly": "sucking_insects",
    "spider_mites": "mites",
}


def class_of(target: str) -> str:
    """The class a target belongs to."""
    return TARGET_CLASSES.get(target, target)


@dataclass(frozen=True, kw_only=True)
class GroupRule:
    """Advice on one group (``code`` ``None`` = each group of the scheme that is not exempt).

    ``target_classes`` empty = whatever the target. ``window`` (k, n): at most k in any n sprays in a row.
    ``share`` counts once ``share_from`` sprays are on the books (or planned by a season program); below that, at most
    ``few``. ``rest_equal``: after a run of n, at least n sprays of other groups. ``generation_days``: several
    uses may fall in one stretch of that many days, but not in two such stretches in a row.
    ``carry_over``: a run goes on from one season of the crop into the next.
    """

    scheme: Scheme
    source: str
    code: str | None = None
    target_classes: frozenset[str] = frozenset()
    max_in_a_row: int | None = None
    window: tuple[int, int] | None = None
    max_per_crop: int | None = None
    max_per_year: int | None = None
    share: Fraction | None = None
    share_from: int = 3
    few: int | None = None
    needs_multisite: bool = False
    rest_equal: bool = False
    generation_days: int | None = None
    never_after_failure: bool = False
    carry_over: bool = False

    def covers(self, group: Group, classes: frozenset[str]) -> bool:
        """Whether it speaks about ``group`` against any of ``classes`` (none given = unknown = yes)."""
        if group.scheme is not self.scheme or group.exempt:
            return False
        if self.code is not None and self.code not in (group.code, group.number):
            return False
        return not self.target_classes or not classes or bool(self.target_classes & classes)


@dataclass(frozen=True, kw_only=True)
class BeeHours:
    """When bees keep away from a crop in bloom, if not simply from sunset to sunrise.

    ``from_dusk``: they come back in the evening, so night begins at dusk. ``quiet``: farm-local hours by day.
    """

    from_dusk: bool = False
    quiet: tuple[tuple[time, time], ...] = ()
    source: str = ""


@dataclass(frozen=True, kw_only=True)
class FarmPolicy:
    """House limits. A farm may set its own (``rules.house``), which only ask earlier; ``own_limits`` names those."""

    name: str = "none"
    group_rules: tuple[GroupRule, ...] = ()
    season_near: Fraction = Fraction(9, 10)
    calm_wind_mph: Decimal | None = CALM_MPH
    wind_max_mph: Decimal | None = Decimal(15)
    gpa_tolerance: Fraction = Fraction(5, 100)
    reading_good_minutes: int = 30
    general_use_certificate: Severity = Severity.NOTE
    method_categories: Mapping[Method, str] = field(default_factory=lambda: {Method.AIR: "aerial"})
    bee_hours: Mapping[str, BeeHours] = field(default_factory=dict)
    bee_drift_ft: Decimal | None = Decimal(300)
    hive_notice_ft: Decimal | None = Decimal(5280)
    own_limits: frozenset[str] = frozenset()

    def where(self, limit: str, source: str) -> str:
        """Where a house limit stands: its published source, and whether the farm moved it."""
        return f"{source}; the farm's own number" if limit in self.own_limits else source


PURDUE = "Purdue, Vegetable Crops Hotline, cucurbit powdery mildew: most labels allow two in a row"
CROPLIFE_AU = "CropLife Australia, cucurbit powdery mildew strategy"
CROPLIFE_AU_DM = "CropLife Australia, cucurbit downy mildew strategy"
DELAWARE = "University of Delaware, Weekly Crop Update, 10 Jul 2009: a multi-site product in every mobile spray"
FRAC_SDHI = "FRAC, SDHI working group, 2022; numbers from the CropLife Australia almond strategy"
FRAC_49 = "FRAC, OSBPI working group, Jan 2024"
UCONN = "University of Connecticut, pumpkin fungicide program"
IRAC = "IRAC, mode of action rotation; 30 days where the generation is not known, from memory"
QOI = "FRAC, QoI working group: about a third of the sprays when used alone, from memory, unverified"
WEEDS = "Purdue, Vegetable Crops Hotline: do not rely on one site of action; two in a row from memory"
TURF = "CropLife Australia, turf strategy: after n in a row at least n of other groups"
MILDEW = frozenset({"powdery_mildew"})
OOMYCETES = frozenset({"oomycetes"})


def _frac(code: str | None, source: str, **limits: object) -> GroupRule:
    return GroupRule(scheme=Scheme.FRAC, code=code, source=source, **limits)  # type: ignore[arg-type]


MILDEW_RULES = (
    _frac("3", PURDUE, max_in_a_row=2, target_classes=MILDEW),
    _frac("7", FRAC_SDHI, max_in_a_row=2, max_per_crop=3, rest_equal=True),
    _frac("11", CROPLIFE_AU, max_in_a_row=1, window=(1, 3), max_per_crop=2, target_classes=MILDEW),
    _frac("13", PURDUE, max_in_a_row=2, target_classes=MILDEW),
    _frac("50", PURDUE, max_in_a_row=2, target_classes=MILDEW),
    _frac("U06", CROPLIFE_AU, max_in_a_row=1, max_per_crop=2, target_classes=MILDEW),
    *(_frac(c, DELAWARE, needs_multisite=True, target_classes=MILDEW) for c in ("3", "7", "11", "13", "50", "U06")),
)
DOWNY_RULES = (
    _frac("49", FRAC_49, max_in_a_row=2, max_per_crop=4, max_per_year=6, share=Fraction(1, 3), few=1,
          target_classes=OOMYCETES),
    _frac("4", CROPLIFE_AU_DM, max_in_a_row=2, max_per_crop=4, needs_multisite=True, target_classes=OOMYCETES),
    _frac("40", CROPLIFE_AU_DM, max_per_crop=4, target_classes=OOMYCETES),
    *(_frac(c, CROPLIFE_AU_DM, max_in_a_row=2, max_per_crop=2, target_classes=OOMYCETES) for c in ("28", "43", "45")),
)  # fmt: skip
INSECT_RULES = (GroupRule(scheme=Scheme.IRAC, source=IRAC, generation_days=30, never_after_failure=True),)
HIGH_RISK_RULES = tuple(_frac(c, TURF, rest_equal=True) for c in ("1", "2", "4", "7", "11", "21"))

OTHER_PUBLISHED_RULES = (
    _frac("11", QOI, share=Fraction(1, 3), few=2),
    _frac("11", CROPLIFE_AU_DM, max_in_a_row=2, max_per_crop=2, target_classes=OOMYCETES),
    _frac("21", CROPLIFE_AU, window=(1, 3), max_per_crop=3, target_classes=MILDEW),
    _frac("49", CROPLIFE_AU_DM, max_in_a_row=2, max_per_crop=3, needs_multisite=True, target_classes=OOMYCETES),
    GroupRule(scheme=Scheme.HRAC, source=WEEDS, max_in_a_row=2, carry_over=True),
)

CORN_BEES = BeeHours(
    from_dusk=True,
    quiet=((time(11), time(15)),),
    source="University of Delaware, Weekly Crop Update, sweet corn 2022: late morning to mid-afternoon or after dusk",
)

PRESETS: dict[str, FarmPolicy] = {
    "labels_only": FarmPolicy(name="labels_only"),
    "extension": FarmPolicy(
        name="extension",
        group_rules=(*MILDEW_RULES, *DOWNY_RULES, *INSECT_RULES, *HIGH_RISK_RULES),
        bee_hours={"sweet_corn": CORN_BEES},
    ),
    "all_published": FarmPolicy(
        name="all_published",
        group_rules=(*MILDEW_RULES, *DOWNY_RULES, *INSECT_RULES, *HIGH_RISK_RULES, *OTHER_PUBLISHED_RULES),
        bee_hours={"sweet_corn": CORN_BEES},
    ),
    "once_a_season": FarmPolicy(
        name="once_a_season",
        group_rules=(
            _frac(None, UCONN, max_in_a_row=1, max_per_crop=1, needs_multisite=True),
            *DOWNY_RULES,
            *INSECT_RULES,
        ),
        bee_hours={"sweet_corn": CORN_BEES},
    ),
}
