"""The thresholds that come with the book: when to act, on which sample, by whose word.

They are advice and start proposals; none of them stops or forces anything. A farm may change each of them or add its
own. Values that nobody could look up are marked ``FROM_MEMORY``. Ranges are taken at their lower end.
"""

from __future__ import annotations

from decimal import Decimal

from apps.crops.rules.counting import Measure, Surety, Threshold, Unit
from farmops.errors import gettext_noop

PUMPKINS = ("pumpkin", "winter_squash", "summer_squash", "zucchini", "gourd")
CUCURBITS = (*PUMPKINS, "watermelon", "muskmelon", "cucumber")
CORN = ("sweet_corn",)

PURDUE_CPM = "Purdue, Vegetable Crops Hotline (McGrath); Penn State 2012; Delaware 10 Jul 2009: one leaf of 45 to 50"
OHIO_2021 = "Ohio State, VegNet, 7 May 2021"
PURDUE_SCB = "Purdue, Vegetable Crops Hotline, striped cucumber beetles"
DELAWARE_SVB = "University of Delaware, Weekly Crop Update, cucurbit insects (?p=24619)"
NEW_HAMPSHIRE = "University of New Hampshire, squash vine borer scouting; Michigan State knows no moth threshold"
PURDUE_CEW = "Purdue, insect trapping updates, corn earworm at silk"
DELAWARE_CORN = "University of Delaware, Weekly Crop Update, sweet corn 2022"
DELAWARE_TASSEL = "University of Delaware, Weekly Crop Update, sweet corn 2023 (New Jersey: 12 %)"
MEMORY = "from memory"

MARYLAND_WALK = gettext_noop(
    "Groups of 10 plants at 5 to 8 places, edge and middle (Maryland 2009). Beetles, aphids and mites come in at "
    "the edge first (Purdue E-30)."
)
LEAF_WALK = gettext_noop(
    "Older, lower leaves, both sides; 5 at each of 10 places, from memory. Scout each variety by itself, the most "
    "susceptible first (Cornell 2022)."
)
TRAP_WALK = gettext_noop("One line for each trap; the same number of nights for all.")


def _beetles(code: str, when: str, treat_at: str, source: str, crops: tuple[str, ...]) -> Threshold:
    return Threshold(
        code=code,
        name=gettext_noop("Cucumber beetles, striped and spotted"),
        pest="cucumber_beetle",
        measure=Measure.PER_UNIT,
        unit=Unit.PLANT,
        treat_at=Decimal(treat_at),
        sample_min=50,
        places_min=5,
        places=5,
        per_place=10,
        crops=crops,
        when=when,
        walk=MARYLAND_WALK,
        source=source,
    )


def _plants(code: str, name: str, pest: str, when: str, treat_at: str, source: str, **more: object) -> Threshold:
    """A share of plants (or of what ``more`` names) from the same walk."""
    values: dict[str, object] = {
        "measure": Measure.SHARE,
        "unit": Unit.PLANT,
        "sample_min": 50,
        "places_min": 5,
        "places": 5,
        "per_place": 10,
        "walk": MARYLAND_WALK,
        "crops": CUCURBITS,
    }
    return Threshold(
        code=code,
        name=name,
        pest=pest,
        when=when,
        treat_at=Decimal(treat_at),
        source=source,
        **{**values, **more},  # type: ignore[arg-type]
    )


def _traps(
    code: str, name: str, pest: str, when: str, treat_at: str, source: str, crops: tuple[str, ...], measure: Measure
) -> Threshold:
    return Threshold(
        code=code,
        name=name,
        pest=pest,
        when=when,
        treat_at=Decimal(treat_at),
        source=source,
        crops=crops,
        measure=measure,
        unit=Unit.TRAP,
        sample_min=1,
        places=2,
        per_place=1,
        walk=TRAP_WALK,
    )


BORER, EARWORM = gettext_noop("Squash vine borer moths"), gettext_noop("Corn earworm moths")
ARMYWORM = gettext_noop("Fall armyworm")

SHIPPED: dict[str, Threshold] = {
    row.code: row
    for row in (
        Threshold(
            code="powdery_mildew_leaves",
            name=gettext_noop("Powdery mildew"),
            pest="powdery_mildew",
            measure=Measure.FOUND,
            unit=Unit.LEAF,
            treat_at=Decimal(1),
            sample_min=45,
            places=10,
            per_place=5,
            crops=CUCURBITS,
            when=gettext_noop("from first flowers, every week"),
            walk=LEAF_WALK,
            source=PURDUE_CPM,
        ),
        _beetles("beetles_cotyledon", gettext_noop("cotyledons"), "0.5", OHIO_2021, CUCURBITS),
        _beetles("beetles_1_4_leaves", gettext_noop("1 to 4 true leaves"), "1", OHIO_2021, CUCURBITS),
        _beetles(
            "beetles_wilt_host", gettext_noop("hosts of bacterial wilt"), "1", PURDUE_SCB, ("muskmelon", "cucumber")
        ),
        _beetles(
            "beetles_established", gettext_noop("established plants"), "5", PURDUE_SCB, (*PUMPKINS, "watermelon")
        ),
        _plants(
            "squash_bug_eggs", gettext_noop("Squash bug egg masses"), "squash_bug",
            gettext_noop("before fruit; plan a second pass for the nymphs"), "1", DELAWARE_SVB,
            measure=Measure.PER_UNIT, crops=PUMPKINS,
        ),
        _traps("vine_borer_bush", BORER, "squash_vine_borer", gettext_noop("bush types"), "5", NEW_HAMPSHIRE,
               PUMPKINS, Measure.PER_TRAP_WEEK),
        _traps("vine_borer_vining", BORER, "squash_vine_borer", gettext_noop("vining types"), "12", NEW_HAMPSHIRE,
               PUMPKINS, Measure.PER_TRAP_WEEK),
        _plants(
            "mites_crowns", gettext_noop("Two-spotted mites"), "spider_mites",
            gettext_noop("crowns with 1 or 2 mites a leaf; guidance for melons"), "20", DELAWARE_SVB, unit=Unit.CROWN,
        ),
        _plants(
            "melon_aphid_plants", gettext_noop("Melon aphids"), "melon_aphid",
            gettext_noop("plants with 5 or more aphids a leaf"), "20", MEMORY, surety=Surety.FROM_MEMORY,
        ),
        _traps("earworm_silk", EARWORM, "corn_earworm", gettext_noop("at silk"), "1", PURDUE_CEW, CORN,
               Measure.PER_TRAP_NIGHT),
        _traps("earworm_green_silk_near", EARWORM, "corn_earworm",
               gettext_noop("while field corn nearby has green silk"), "10", PURDUE_CEW, CORN, Measure.PER_TRAP_NIGHT),
        _plants("armyworm_mid_whorl", ARMYWORM, "fall_armyworm", gettext_noop("mid-whorl"), "30", DELAWARE_CORN,
                crops=CORN),
        _plants("armyworm_tassel_push", ARMYWORM, "fall_armyworm", gettext_noop("tassel push"), "15", DELAWARE_CORN,
                crops=CORN),
        _plants("tassel_worms", gettext_noop("Worms in tassels"), "european_corn_borer", gettext_noop("tassels"), "15",
                DELAWARE_TASSEL, crops=CORN, unit=Unit.TASSEL),
    )
}  # fmt: skip
