"""A code as a square to scan: inline SVG, no style attributes, sharp at any size."""

from __future__ import annotations

import io

import segno
from django.conf import settings
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe


def address_of(code: str) -> str:
    """What a plate's square opens."""
    return str(settings.SITE_URL.rstrip("/") + reverse("safety:gate", args=[code]))


def svg(code: str, *, name: str) -> SafeString:
    """The address of ``code`` as SVG to stand in a page. Error level Q: a quarter of it may be dirty or torn.

    ``name`` is its text for who cannot see it; the writer escapes it.
    """
    drawn = io.BytesIO()
    segno.make_qr(address_of(code), error="q").save(
        drawn,
        kind="svg",
        xmldecl=False,
        svgns=True,
        scale=4,
        border=4,
        title=name,
        svgclass="qr",
        lineclass=None,
        omitsize=True,
    )
    return mark_safe(drawn.getvalue().decode())
