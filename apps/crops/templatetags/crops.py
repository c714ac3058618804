"""Words of crops."""

from __future__ import annotations

from django import template
from django.utils.translation import gettext

from apps.crops.rules import EVENT_NAMES, FAMILY_NAMES, Bloom, EventKind, Family, Purpose, Seen
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
