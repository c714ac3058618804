"""Sums of product: per load, by active ingredient, by share and per 100 gallons, and plain conversions."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from apps.equipment.rules import doses
from apps.equipment.rules.exact import positive
from apps.equipment.sums.rules.ask import (
    DENSITIES,
    GALLONS,
    GPA,
    VOLUMES_PER_AREA,
    Asked,
    Group,
    Kind,
    Result,
    Sum,
    Worked,
    amount,
    metric,
    plain,
)
from apps.products.rules.codes import RateBasis
from farmops.errors import BadInput, gettext_noop
from farmops.units import (
    _TABLE,
    MASS_UNITS,
    VOLUME_UNITS,
    Dimension,
    Quantity,
    dimension_of,
    mass_of,
    show,
    unit_name,
    unit_written,
    volume_of,
)

SOUTH_DAKOTA = "South Dakota State University Extension, “Pesticide Mixing and Sprayer Calibration Equations”"
MISSOURI = "University of Missouri Extension G1272; Montana State University Extension MT 2000-14"
PUT_IN = gettext_noop("Product to put in")
DENSITY = amount("density", gettext_noop("Density, if weight and volume meet"), DENSITIES, needed=False)
GAL_OF_SPRAY = amount("spray", gettext_noop("Spray in this load"), GALLONS)
AI_PER_GAL = plain("content", gettext_noop("Active ingredient, lb in a gallon"), needed=False)
AI_PERCENT = plain("percent", gettext_noop("Active ingredient, % by weight"), needed=False)
V = Mapping[str, Any]


def _typed(name: str, label: str, **more: Any) -> Asked:
    """A box for a product amount: liquid or dry, so its unit must say which."""
    units = ("floz", "pt", "qt", "gal", "ml", "l", "oz", "lb", "g", "kg")
    return Asked(name=name, label=label, kind=Kind.PRODUCT, units=units, **more)


RATE = _typed("rate", gettext_noop("Rate of the product"))


def _per_load(v: V) -> Worked:
    rate: Quantity = v["rate"]
    put = doses.dose(rate, RateBasis.PER_ACRE, gallons=v["spray"], gpa=v["gpa"])
    working = f"{show(v['spray'])} gal ÷ {show(v['gpa'])} gal/ac × {rate} = {put}"
    acres = v["spray"] / v["gpa"]
    return Worked(
        results=(
            Result(code="product", label=PUT_IN, amount=put.amount, unit=put.unit, places=3),
            Result(code="acres", label=gettext_noop("Acres of this load"), amount=acres, unit="ac", places=4),
        ),
        working=working,
    )


def _per_100(v: V) -> Worked:
    rate: Quantity = v["rate"]
    put = doses.dose(rate, RateBasis.PER_100_GAL, gallons=v["spray"], gpa=1)
    results = [Result(code="product", label=PUT_IN, amount=put.amount, unit=put.unit, places=3)]
    if v["gpa"] is not None:
        acre = doses.per_acre(rate, RateBasis.PER_100_GAL, gpa=v["gpa"])
        label = gettext_noop("The same on an acre")
        results.append(Result(code="per_acre", label=label, amount=acre.amount, unit=acre.unit, places=3))
    return Worked(results=tuple(results), working=f"{rate} × {show(v['spray'])} gal ÷ 100 = {put}")


def _share(v: V) -> Worked:
    put = doses.dose(Quantity(v["share"], "%vv"), RateBasis.PERCENT_VV, gallons=v["spray"], gpa=1)
    ounces = put.to("floz")
    working = f"{show(v['share'])} % × {show(v['spray'])} gal ÷ 100 = {show(put.amount)} gal"
    return Worked(
        results=(
            Result(code="product_gal", label=PUT_IN, amount=put.amount, unit="gal", places=4),
            Result(code="product_floz", label=PUT_IN, amount=ounces.amount, unit="floz", places=2),
        ),
        working=working,
    )


def _one_content(v: V) -> None:
    if (v["content"] is None) == (v["percent"] is None):
        said = gettext_noop("Give one of the two: lb in a gallon for a liquid, or % by weight for a dry product.")
        raise BadInput({"content": said})


def _ingredient(v: V) -> Worked:
    _one_content(v)
    product: Quantity = v["product"]
    if v["content"] is not None:
        gallons = _as_volume(product, v["density"])
        pounds = doses.ai_in_liquid_lb(product_gal=gallons, ai_lb_per_gal=v["content"])
        working = f"{show(gallons)} gal × {show(v['content'])} lb/gal = {show(pounds)} lb"
    else:
        weight = _as_mass(product, v["density"])
        pounds = doses.ai_in_dry_lb(product_lb=weight, ai_percent=v["percent"])
        working = f"{show(weight)} lb × {show(v['percent'])} % = {show(pounds)} lb"
    return Worked(
        results=metric("lb_ai", gettext_noop("Active ingredient"), pounds, "lb ai", "kg ai", 4), working=working
    )


def _for_ingredient(v: V) -> Worked:
    _one_content(v)
    if v["content"] is not None:
        gallons = doses.liquid_for_ai_gal(ai_lb=v["wanted"], ai_lb_per_gal=v["content"])
        working = f"{show(v['wanted'])} lb ÷ {show(v['content'])} lb/gal = {show(gallons)} gal"
        return Worked(results=metric("product_gal", PUT_IN, gallons, "gal", "floz", 4), working=working)
    pounds = doses.dry_for_ai_lb(ai_lb=v["wanted"], ai_percent=v["percent"])
    working = f"{show(v['wanted'])} lb × 100 ÷ {show(v['percent'])} = {show(pounds)} lb"
    return Worked(results=metric("product_lb", PUT_IN, pounds, "lb", "oz", 4), working=working)


def _feed(v: V) -> Worked:
    each = doses.content_lb_per_gal(density_lb_per_gal=v["density"], content_percent=v["percent"])
    results = [Result(code="lb_per_gal", label=gettext_noop("Nutrient in a gallon"), amount=each, unit="lb/gal")]
    if v["feed"] is not None:
        acre = each * v["feed"]
        results.append(Result(code="lb_per_acre", label=gettext_noop("Nutrient on an acre"), amount=acre, unit="lb/ac"))
    working = f"{show(v['density'])} lb/gal × {show(v['percent'])} % = {show(each)} lb/gal"
    return Worked(results=tuple(results), working=working)


def _convert(v: V) -> Worked:
    have: Quantity = v["have"]
    to = unit_written(v["to"], tuple(_TABLE), field="to")
    found = _through_density(have, to, v["density"])
    label = gettext_noop("The same as")
    result = Result(code="amount", label=label, amount=found.amount, unit=found.unit, places=6)
    return Worked(results=(result,), working=f"{have} = {show(found.amount, 6)} {unit_name(found.unit)}")


def _through_density(have: Quantity, to: str, density: Decimal | None) -> Quantity:
    kinds = {have.dimension, dimension_of(to)}
    if kinds != {Dimension.VOLUME, Dimension.MASS}:
        return have.to(to)
    if have.dimension is Dimension.VOLUME:
        return Quantity(_as_mass(have, density), "lb").to(to)
    return Quantity(_as_volume(have, density), "gal").to(to)


def _as_volume(product: Quantity, density: Decimal | None) -> Decimal:
    if product.unit in VOLUME_UNITS:
        return product.to("gal").amount
    return volume_of(product, _known(density)).amount


def _as_mass(product: Quantity, density: Decimal | None) -> Decimal:
    if product.unit in MASS_UNITS:
        return product.to("lb").amount
    return mass_of(product, _known(density)).amount


def _known(density: Decimal | None) -> Decimal:
    if density is None:
        raise BadInput({"density": gettext_noop("Enter the density: a weight becomes a volume only through it.")})
    positive(density, "density")
    return density


SUMS = (
    Sum(
        code="product-per-load",
        group=Group.PRODUCT,
        title=gettext_noop("Product in a load, from a rate per acre"),
        asked=(RATE, GPA, GAL_OF_SPRAY),
        formula="product = gallons ÷ GPA × rate",
        source=SOUTH_DAKOTA,
        work=_per_load,
    ),
    Sum(
        code="per-100-gallons",
        group=Group.PRODUCT,
        title=gettext_noop("Product in a load, from a rate per 100 gallons"),
        asked=(RATE, GAL_OF_SPRAY, amount("gpa", gettext_noop("Spray on an acre"), VOLUMES_PER_AREA, needed=False)),
        formula="product = rate × gallons ÷ 100; on an acre: rate × GPA ÷ 100",
        source=SOUTH_DAKOTA,
        work=_per_100,
    ),
    Sum(
        code="share-of-volume",
        group=Group.PRODUCT,
        title=gettext_noop("Product in a load, from % of the volume"),
        asked=(plain("share", gettext_noop("% of the volume (v/v)")), GAL_OF_SPRAY),
        formula="product = % × gallons ÷ 100",
        source=MISSOURI,
        work=_share,
    ),
    Sum(
        code="active-ingredient",
        group=Group.PRODUCT,
        title=gettext_noop("Active ingredient in a product"),
        asked=(_typed("product", gettext_noop("Product")), AI_PER_GAL, AI_PERCENT, DENSITY),
        formula="lb ai = gal × lb/gal, or lb × % ÷ 100",
        source=MISSOURI,
        work=_ingredient,
    ),
    Sum(
        code="product-for-ingredient",
        group=Group.PRODUCT,
        title=gettext_noop("Product for an amount of active ingredient"),
        asked=(amount("wanted", gettext_noop("Active ingredient wanted"), ("lb ai", "kg ai")), AI_PER_GAL, AI_PERCENT),
        formula="gal = lb ai ÷ lb/gal, or lb = lb ai × 100 ÷ %",
        source=MISSOURI,
        work=_for_ingredient,
    ),
    Sum(
        code="liquid-feed",
        group=Group.PRODUCT,
        title=gettext_noop("Nutrient in a liquid feed"),
        asked=(
            amount("density", gettext_noop("Density"), DENSITIES),
            plain("percent", gettext_noop("Nutrient, % by weight")),
            amount("feed", gettext_noop("Feed on an acre"), VOLUMES_PER_AREA, needed=False),
        ),
        formula="lb/gal = density × % ÷ 100",
        source="Purdue Extension, J. Camberato, in Indiana Prairie Farmer, 17 Jan 2023",
        work=_feed,
    ),
    Sum(
        code="convert",
        group=Group.PRODUCT,
        title=gettext_noop("One unit into another"),
        asked=(
            Asked(name="have", label=gettext_noop("Amount with its unit"), kind=Kind.ANY, units=tuple(_TABLE)),
            Asked(
                name="to",
                label=gettext_noop("Into which unit"),
                kind=Kind.TEXT,
                hint=gettext_noop("Like fl oz, L, lb."),
            ),
            DENSITY,
        ),
        formula="exact factors; weight and volume meet only through a density",
        source="NIST SP 811, appendix B.8",
        work=_convert,
    ),
)
