"""How codes of certificates and trainings are said on a page."""

from __future__ import annotations

from typing import Any

from django import template
from django.utils.translation import gettext

from apps.training.forms import STATE_NAMES
from apps.training.queries import TrainingLine
from apps.training.rules import KIND_NAMES, TRAINING_NAMES

register = template.Library()


@register.filter
def held_as(code: Any) -> str:
    """private -> private applicator."""
    return gettext(KIND_NAMES[code])


@register.filter
def standing(code: str) -> str:
    """valid, ended, not begun, suspended, in words."""
    return gettext(STATE_NAMES[code])


@register.filter
def training_name(line: TrainingLine) -> str:
    """What a training is called; a product's topic stands in front."""
    name = gettext(TRAINING_NAMES[line.facts.kind])
    return f"{line.facts.topic} ({name})" if line.facts.topic else name
