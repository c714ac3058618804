"""How the facts of a label are said on a page."""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from django import template
from django.utils.translation import gettext

from apps.products.rules import EVERY_CROP, ContentBasis, Ingredient, LabelUse, RateBasis
from apps.products.wording import NAMES
from apps.products.wording import named as in_words
from farmops.units import show, unit_name

register = template.Library()


@register.filter
def named(code: StrEnum | None) -> str:
    """A code of the label in words."""
    return str(in_words(code)) if type(code) in NAMES and code is not None else gettext("not stated")


@register.filter
def spaced(code: str | None) -> str:
    """``winter_squash`` -> winter squash; ``*`` = every crop not listed."""
    if not code:
        return gettext("not stated")
    return gettext("every crop not listed") if code == EVERY_CROP else code.replace("_", " ")


@register.filter
def stated(value: Any, unit: str = "") -> str:
    """A number as the label prints it, with its unit; nothing on the label is said so, never shown as zero."""
    if value is None or value == "":
        return gettext("not stated")
    if isinstance(value, bool):
        return gettext("yes") if value else gettext("no")
    return f"{show(value) if hasattr(value, 'quantize') else value} {unit}".strip()


@register.filter
def content(part: Ingredient) -> str:
    """``6 lb per gallon`` or ``40 %``."""
    if part.basis is ContentBasis.FRACTION:
        return f"{show(part.amount * 100)} %"
    return gettext("%s lb per gallon") % show(part.amount)


@register.filter
def rate(use: LabelUse) -> str:
    """``2 to 3 pt per acre``."""
    span = show(use.rate_max)
    if use.rate_min is not None and use.rate_min != use.rate_max:
        span = gettext("%(low)s to %(high)s") % {"low": show(use.rate_min), "high": span}
    if use.rate_basis is RateBasis.PERCENT_VV:
        return f"{span} {unit_name(use.rate_unit)}"
    against = in_words(use.rate_basis)
    return gettext("%(span)s %(unit)s per %(against)s") % {
        "span": span,
        "unit": unit_name(use.rate_unit),
        "against": against,
    }


@register.filter
def season(use: LabelUse) -> str:
    """``24 fl oz per acre``."""
    if use.season_max_product is None:
        return gettext("not stated")
    unit = unit_name(use.season_max_unit or use.rate_unit)
    return gettext("%(amount)s %(unit)s per acre") % {"amount": show(use.season_max_product), "unit": unit}


@register.filter
def phi(use: LabelUse) -> str:
    """Days before harvest, by rate where the label says so; not known is said so."""
    if use.phi_tiers:
        unit = unit_name(use.rate_unit)
        tiers = [
            gettext("up to %(rate)s %(unit)s: %(days)s days")
            % {"rate": show(t.up_to_rate), "unit": unit, "days": t.days}
            for t in use.phi_tiers
        ]
        return "; ".join(tiers)
    return gettext("not known") if use.phi_days is None else gettext("%s days") % use.phi_days


@register.simple_tag
def rei(label: Any, use: LabelUse) -> str:
    """Hours of restricted entry on this use, with each kind of work of its own; not known is said so."""
    hours = label.rei_hours if use.rei_hours is None else use.rei_hours
    said = [gettext("not known") if hours is None else gettext("%s hours") % show(hours)]
    for row in (*label.activity_rei, *use.activity_rei):
        said.append(gettext("%(work)s: %(hours)s hours") % {"work": spaced(row.activity), "hours": show(row.hours)})
    return "; ".join(said)
