"""Words and drawings of the ground."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import template
from django.utils.translation import gettext

from apps.land.charts import Sketch
from apps.land.rules import KIND_NAMES, SensitiveKind
from farmops.units import show

register = template.Library()


@register.filter
def place_kind(code: str) -> str:
    """A sensitive kind in the reader's language."""
    return gettext(KIND_NAMES[SensitiveKind(code)])


@register.inclusion_tag("land/sketch.html")
def draw(sketch: Sketch | None, label: str) -> dict[str, Any]:
    """A sketch as inline SVG with ``label`` as its name."""
    return {"sketch": sketch, "label": label}


@register.filter
def acres(value: Decimal) -> str:
    """Acres for reading, two decimals at most."""
    return f"{show(value, 2)} ac"
