"""The label's codes in plain words, for pages and forms."""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from django.utils.translation import gettext_lazy as _

from apps.products.rules import (
    BeeClass,
    CapPer,
    ContentBasis,
    IntervalScope,
    Kind,
    Method,
    MixingStage,
    RateBasis,
    Scheme,
    YearBasis,
)

NAMES: dict[type[StrEnum], dict[str, Any]] = {
    Kind: {
        "fungicide": _("fungicide"),
        "insecticide": _("insecticide"),
        "herbicide": _("herbicide"),
        "nutrient": _("foliar nutrient"),
        "adjuvant": _("adjuvant"),
        "other": _("other pesticide"),
    },
    ContentBasis: {"lb_per_gal": _("lb per gallon"), "fraction": _("share by weight")},
    RateBasis: {
        "per_acre": _("acre"),
        "per_100_gal": _("100 gallons of spray"),
        "percent_vv": _("share of the spray volume"),
    },
    CapPer: {"pass": _("in one pass"), "year": _("in a year"), "crop": _("in a crop")},
    YearBasis: {
        "calendar": _("calendar year"),
        "twelve_months": _("any twelve months"),
        "crop": _("life of the crop"),
        "unknown": _("not said, counted the strictest way"),
    },
    IntervalScope: {"product": _("this product"), "ingredient": _("any product with the same ingredient")},
    BeeClass: {
        "none": _("no bee restriction"),
        "direct": _("harmful while wet: in bloom only from sunset to sunrise"),
        "residual": _("residue harms bees: in bloom only at night and with a reason"),
        "no_bloom": _("never while crop or weeds bloom"),
    },
    Method: {"ground": _("from the ground"), "air": _("by air"), "chemigation": _("through irrigation")},
    MixingStage: {
        "conditioner": _("first: water conditioner, buffer, defoamer"),
        "bag": _("water-soluble bag"),
        "powder": _("powder or dispersible granule"),
        "soluble_dry": _("soluble powder or granule"),
        "suspension": _("flowable"),
        "solution": _("solution"),
        "oil_dispersion": _("oil dispersion"),
        "emulsion": _("emulsifiable concentrate"),
        "adjuvant": _("surfactant or oil"),
        "fertiliser": _("liquid fertiliser"),
        "drift_agent": _("last: drift agent"),
    },
    Scheme: {"frac": "FRAC", "irac": "IRAC", "hrac": "HRAC"},
}


def named(code: StrEnum) -> Any:
    """The code in words, translated when shown."""
    return NAMES[type(code)][code.value]
