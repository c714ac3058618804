"""Sentences of the home page in the reader's language."""

from __future__ import annotations

from django import template
from django.utils.translation import get_language, gettext

from apps.dashboard.rules import Need
from apps.people.models import Farm
from apps.safety.rules import Because
from apps.safety.wording import sentence
from farmops import wording

register = template.Library()


@register.simple_tag
def because(reason: Because, farm: Farm) -> str:
    """A reason of the board; its times in the farm's zone."""
    return sentence(reason, farm.time_zone)


@register.simple_tag
def need(row: Need) -> str:
    """What waits for somebody, as a sentence."""
    return wording.fill(gettext(row.template), row.numbers, get_language())
