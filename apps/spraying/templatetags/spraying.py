"""Words of spraying in templates."""

from __future__ import annotations

from django import template

register = template.Library()


@register.filter
def plain_words(code: str) -> str:
    """``powdery_mildew`` as people write it."""
    return code.replace("_", " ")
