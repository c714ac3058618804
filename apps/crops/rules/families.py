"""Botanical families with their old and everyday names, and crops whose code and family are known.

Family membership is standard botany; the vegetable rows follow the family table of Michigan State
University Extension, the rest is from memory and can be overruled when a crop is added only by
giving it another code.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

from farmops.errors import BadInput, Said, gettext_noop

CODE_SHAPE = re.compile(r"[a-z][a-z0-9_]{0,39}")
FALLOW_COVER = "fallow_cover"  # the site of a block on which only a cover crop lives


class Family(StrEnum):
    """Present botanical names; older ones are read through ``read_family``."""

    CUCURBITACEAE = "cucurbitaceae"
    POACEAE = "poaceae"
    FABACEAE = "fabaceae"
    SOLANACEAE = "solanaceae"
    BRASSICACEAE = "brassicaceae"
    AMARANTHACEAE = "amaranthaceae"
    AMARYLLIDACEAE = "amaryllidaceae"
    APIACEAE = "apiaceae"
    ASTERACEAE = "asteraceae"
    POLYGONACEAE = "polygonaceae"
    CONVOLVULACEAE = "convolvulaceae"
    MALVACEAE = "malvaceae"
    BORAGINACEAE = "boraginaceae"
    ROSACEAE = "rosaceae"
    ASPARAGACEAE = "asparagaceae"
    LAMIACEAE = "lamiaceae"
    ERICACEAE = "ericaceae"
    VITACEAE = "vitaceae"
    OTHER = "other"


FAMILY_NAMES: dict[Family, str] = {
    Family.CUCURBITACEAE: gettext_noop("Cucurbits (Cucurbitaceae)"),
    Family.POACEAE: gettext_noop("Grasses (Poaceae)"),
    Family.FABACEAE: gettext_noop("Legumes (Fabaceae)"),
    Family.SOLANACEAE: gettext_noop("Nightshades (Solanaceae)"),
    Family.BRASSICACEAE: gettext_noop("Brassicas (Brassicaceae)"),
    Family.AMARANTHACEAE: gettext_noop("Beets and spinach (Amaranthaceae)"),
    Family.AMARYLLIDACEAE: gettext_noop("Onions and garlic (Amaryllidaceae)"),
    Family.APIACEAE: gettext_noop("Carrots and celery (Apiaceae)"),
    Family.ASTERACEAE: gettext_noop("Lettuce and sunflower (Asteraceae)"),
    Family.POLYGONACEAE: gettext_noop("Buckwheat (Polygonaceae)"),
    Family.CONVOLVULACEAE: gettext_noop("Sweet potato (Convolvulaceae)"),
    Family.MALVACEAE: gettext_noop("Okra (Malvaceae)"),
    Family.BORAGINACEAE: gettext_noop("Phacelia (Boraginaceae)"),
    Family.ROSACEAE: gettext_noop("Strawberry and tree fruit (Rosaceae)"),
    Family.ASPARAGACEAE: gettext_noop("Asparagus (Asparagaceae)"),
    Family.LAMIACEAE: gettext_noop("Basil and mint (Lamiaceae)"),
    Family.ERICACEAE: gettext_noop("Blueberry (Ericaceae)"),
    Family.VITACEAE: gettext_noop("Grape (Vitaceae)"),
    Family.OTHER: gettext_noop("Other family"),
}

ALIASES: dict[str, Family] = {
    "cucurbits": Family.CUCURBITACEAE,
    "cucurbit": Family.CUCURBITACEAE,
    "gramineae": Family.POACEAE,
    "grasses": Family.POACEAE,
    "grass": Family.POACEAE,
    "leguminosae": Family.FABACEAE,
    "papilionaceae": Family.FABACEAE,
    "legumes": Family.FABACEAE,
    "legume": Family.FABACEAE,
    "nightshades": Family.SOLANACEAE,
    "nightshade": Family.SOLANACEAE,
    "cruciferae": Family.BRASSICACEAE,
    "crucifers": Family.BRASSICACEAE,
    "brassicas": Family.BRASSICACEAE,
    "chenopodiaceae": Family.AMARANTHACEAE,
    "alliaceae": Family.AMARYLLIDACEAE,
    "alliums": Family.AMARYLLIDACEAE,
    "umbelliferae": Family.APIACEAE,
    "umbellifers": Family.APIACEAE,
    "compositae": Family.ASTERACEAE,
    "composites": Family.ASTERACEAE,
    "hydrophyllaceae": Family.BORAGINACEAE,
    "labiatae": Family.LAMIACEAE,
}


def read_family(value: object, *, field: str = "family") -> Family:
    """A family by its present, old or everyday name, any case; ``BadInput`` on ``field`` otherwise."""
    text = str(value).strip().casefold()
    if text in ALIASES:
        return ALIASES[text]
    try:
        return Family(text)
    except ValueError:
        names = ", ".join(Family)
        raise BadInput({field: Said(gettext_noop("Family must be one of: {names}."), names=names)}) from None


def read_code(value: object, *, field: str = "code") -> str:
    """A crop's code, the word by which labels and rules know it, e.g. ``winter_squash``."""
    text = str(value if value is not None else "").strip().lower()
    if not CODE_SHAPE.fullmatch(text):
        raise BadInput(
            {
                field: gettext_noop(
                    "Code must be lower-case letters, digits and underscores, starting with a letter, "
                    "like winter_squash; at most 40."
                )
            }
        )
    if text == FALLOW_COVER:
        raise BadInput({field: gettext_noop("fallow_cover is kept for ground under a cover crop. Use another code.")})
    return text


@dataclass(frozen=True, kw_only=True)
class KnownCrop:
    """A crop code that rules may rely on, with its usual name and its family."""

    code: str
    name: str
    family: Family


def _known(family: Family, **crops: str) -> dict[str, KnownCrop]:
    return {code: KnownCrop(code=code, name=name, family=family) for code, name in crops.items()}


KNOWN_CROPS: dict[str, KnownCrop] = {
    **_known(
        Family.CUCURBITACEAE,
        pumpkin="Pumpkin",
        winter_squash="Winter squash",
        summer_squash="Summer squash",
        zucchini="Zucchini",
        cucumber="Cucumber",
        watermelon="Watermelon",
        muskmelon="Muskmelon",
        gourd="Ornamental gourd",
    ),
    **_known(
        Family.POACEAE,
        sweet_corn="Sweet corn",
        field_corn="Field corn",
        popcorn="Popcorn",
        ornamental_corn="Ornamental corn",
        cereal_rye="Cereal rye",
        perennial_cereal_rye="Perennial cereal rye",
        wheat="Wheat",
        barley="Barley",
        oats="Oats",
        triticale="Triticale",
        spelt="Spelt",
        annual_ryegrass="Annual ryegrass",
        perennial_ryegrass="Perennial ryegrass",
        sorghum_sudan="Sorghum-sudangrass",
        sorghum="Sorghum",
        japanese_millet="Japanese millet",
        pearl_millet="Pearl millet",
    ),
    **_known(
        Family.FABACEAE,
        snap_bean="Snap bean",
        lima_bean="Lima bean",
        pea="Pea",
        soybean="Soybean",
        crimson_clover="Crimson clover",
        red_clover="Red clover",
        white_clover="White clover",
        hairy_vetch="Hairy vetch",
        winter_pea="Winter pea",
        cowpea="Cowpea",
        sunn_hemp="Sunn hemp",
        alfalfa="Alfalfa",
    ),
    **_known(
        Family.SOLANACEAE,
        tomato="Tomato",
        pepper="Pepper",
        eggplant="Eggplant",
        potato="Potato",
        tomatillo="Tomatillo",
    ),
    **_known(
        Family.BRASSICACEAE,
        cabbage="Cabbage",
        broccoli="Broccoli",
        cauliflower="Cauliflower",
        kale="Kale",
        collard="Collard",
        turnip="Turnip",
        radish="Radish",
        mustard="Mustard",
        rapeseed="Rapeseed",
        horseradish="Horseradish",
    ),
    **_known(Family.AMARANTHACEAE, beet="Beet", swiss_chard="Swiss chard", spinach="Spinach"),
    **_known(Family.AMARYLLIDACEAE, onion="Onion", garlic="Garlic", leek="Leek"),
    **_known(
        Family.APIACEAE, carrot="Carrot", celery="Celery", parsley="Parsley", parsnip="Parsnip", cilantro="Cilantro"
    ),
    **_known(Family.ASTERACEAE, sunflower="Sunflower", lettuce="Lettuce", chrysanthemum="Chrysanthemum"),
    **_known(Family.POLYGONACEAE, buckwheat="Buckwheat"),
    **_known(Family.CONVOLVULACEAE, sweet_potato="Sweet potato"),
    **_known(Family.MALVACEAE, okra="Okra"),
    **_known(Family.BORAGINACEAE, phacelia="Phacelia"),
    **_known(Family.ROSACEAE, strawberry="Strawberry"),
}


def family_fits(code: str, family: Family) -> None:
    """``BadInput`` when a known crop is given another family: rotation and labels would go wrong in silence."""
    known = KNOWN_CROPS.get(code)
    if known is not None and known.family is not family:
        said = gettext_noop("{name} belongs to {family}. Use that family, or another code for another crop.")
        raise BadInput({"family": Said(said, name=known.name, family=known.family.value)})
