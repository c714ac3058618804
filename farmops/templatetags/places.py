"""Which place of the book a page belongs to, for the navigation."""

from __future__ import annotations

from django import template
from django.utils.html import format_html
from django.utils.safestring import SafeString

register = template.Library()

# First folder of an address -> the place it belongs to; every other folder is a place of its own.
BELONGS_TO = {
    "blocks": "fields",
    "crops": "fields",
    "plantings": "fields",
    "planting-events": "fields",
    "scouting": "fields",
    "map": "fields",
    "places": "fields",
    "products": "labels",
    "spray-settings": "jobs",
    "calibrations": "sprayers",
    "calculators": "sprayers",
    "my-card": "cards",
    "exports": "records",
    "settings": "people",
    "invitations": "people",
    "gates": "board",
    "displays": "signs",
    "early-entries": "signs",
    "exposures": "signs",
    "no-connection": "phones",
}


def place_of(inside: str) -> str:
    """The place of an address below the farm's, such as ``blocks/7/``."""
    if inside.endswith("/may-i-enter/"):
        return "board"
    folder = inside.split("/")[0]
    return BELONGS_TO.get(folder, folder)


@register.simple_tag(takes_context=True)
def place(context: template.Context, folder: str) -> SafeString:
    """The ``href`` of a place; marked ``page`` when the page is it, ``true`` when it belongs to it."""
    home = f"/f/{context['member'].farm.slug}/"
    address, path = f"{home}{folder}/" if folder else home, context["request"].path
    if path == address:
        return format_html('href="{}" aria-current="page"', address)
    if folder and path.startswith(home) and place_of(path.removeprefix(home)) == folder:
        return format_html('href="{}" aria-current="true"', address)
    return format_html('href="{}"', address)
