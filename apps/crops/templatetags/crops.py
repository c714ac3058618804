"""Words of crops."""

from __future__ import annotations

from django import template
from django.utils.translation import gettext

from apps.crops.rules import (
    EVENT_NAMES,
    FAMILY_NAMES,
    MEASURE_NAMES,
    SURETY_NAMES,
    UNIT_NAMES,
    VERDICT_NAMES,
    Bloom,
    EventKind,
    Family,
    Measure,
    Purpose,
    Seen,
    Surety,
    Unit,
    Verdict,
)
from farmops.errors import gettext_noop

register = template.Library()
BLOOM_WORDS = {
    Bloom.YES: gettext_noop("In bloom"),
    Bloom.NO: gettext_noop("Not in bloom"),
    Bloom.UNKNOWN: gettext_noop("Not known, counts as in bloom"),
}
PURPOSE_WORDS = {Purpose.CASH: gettext_noop("cash crop"), Purpose.COVER: gettext_noop("cover crop")}
SEEN_WORDS = {
    Seen.YES: gettext_noop("yes"),
    Seen.NO: gettext_noop("no"),
    Seen.NOT_LOOKED: gettext_noop("did not look"),
}


@register.filter
def bloom_word(code: str) -> str:
    return gettext(BLOOM_WORDS[Bloom(code)])


@register.filter
def purpose_word(code: str) -> str:
    return gettext(PURPOSE_WORDS[Purpose(code)])


@register.filter
def seen_word(code: str) -> str:
    return gettext(SEEN_WORDS[Seen(code)])


@register.filter
def event_word(code: str) -> str:
    return gettext(EVENT_NAMES[EventKind(code)])


@register.filter
def family_word(code: str) -> str:
    return gettext(FAMILY_NAMES[Family(code)])


@register.filter
def verdict_word(code: str) -> str:
    return gettext(VERDICT_NAMES[Verdict(code)])


@register.filter
def measure_word(code: str) -> str:
    return gettext(MEASURE_NAMES[Measure(code)])


@register.filter
def unit_word(code: str) -> str:
    return gettext(UNIT_NAMES[Unit(code)])


@register.filter
def surety_word(code: str) -> str:
    return gettext(SURETY_NAMES[Surety(code)])


@register.filter
def stage_word(code: str) -> str:
    """``first_flower`` as people write it, ``b61`` as BBCH 61."""
    return f"BBCH {code[1:]}" if code[:1] == "b" and code[1:].isdigit() else code.replace("_", " ")
