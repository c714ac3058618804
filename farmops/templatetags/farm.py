"""Template tags every page may use without loading."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal
from typing import Any

from django import forms, template
from django.utils.html import format_html
from django.utils.safestring import SafeString
from django.utils.translation import get_language, gettext

from apps.people.models import Farm
from apps.people.queries import Member
from apps.people.rules import Can
from farmops import units, wording
from farmops.errors import Finding
from farmops.problems import translated

register = template.Library()


@register.filter
def when(instant: datetime | None, farm: Farm) -> str:
    """Weekday, month name, day, 12-hour time and zone, in the farm's zone."""
    return wording.instant(instant, farm.time_zone, get_language()) if instant else gettext("not known")


@register.filter
def day(value: date | None) -> str:
    """Weekday, month name, day and year; never all digits."""
    return wording.date(value, get_language()) if value else gettext("not set")


@register.filter
def amount(value: Decimal | None, unit: str = "") -> str:
    """A number for reading, with its unit."""
    if value is None:
        return gettext("not known")
    text = units.show(Decimal(value))
    return f"{text} {units.unit_name(unit)}" if unit else text


@register.filter
def said(finding: Finding | dict[str, Any]) -> str:
    """A finding's sentence in the reader's language (also from a stored snapshot)."""
    if isinstance(finding, Finding):
        return translated(finding)
    return wording.fill(gettext(str(finding["template"])), finding["numbers"], get_language())


@register.filter
def may(member: Member | None, can: str) -> bool:
    """``{% if member|may:Can.PLAN_JOBS %}``"""
    return member is not None and member.can(Can(can))


@register.filter
def iso(instant: datetime) -> str:
    return instant.astimezone(UTC).isoformat()


@register.simple_tag(takes_context=True)
def once(context: template.Context) -> SafeString:
    """Hidden field that makes a form act once, however often it is sent."""
    return format_html('<input type="hidden" name="once_key" value="{}">', context["once_key"])


@register.inclusion_tag("parts/field.html")
def field(bound: Any) -> dict[str, Any]:
    """One form field: label, hint, what is wrong with it, control.

    A field may carry ``part`` (a class for its place beside another) and ``needed`` (its form judges it later).
    """
    widget = bound.field.widget
    kind = "choices" if isinstance(widget, forms.CheckboxSelectMultiple) else getattr(widget, "input_type", None)
    return {"f": bound, "kind": kind or widget.__class__.__name__.lower()}
