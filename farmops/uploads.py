"""What a picture or paper to be kept may be: told from its first and last bytes, never from its name. Plain Python."""

from __future__ import annotations

import re

from farmops.errors import gettext_noop

MOST_BYTES = 4 * 1024 * 1024
LEAST_BYTES = 100  # nothing that shows a paper is smaller; an empty or cut-off upload is
MEDIA = {"image/jpeg": "jpg", "image/png": "png", "application/pdf": "pdf"}
"""What is taken, and how a file of it ends."""

_OPENINGS = {"image/jpeg": b"\xff\xd8\xff", "image/png": b"\x89PNG\r\n\x1a\n", "application/pdf": b"%PDF-"}
_ENDINGS = {"image/jpeg": b"\xff\xd9", "image/png": b"IEND\xaeB`\x82", "application/pdf": b"%%EOF"}
_ACTIVE = re.compile(rb"/(?:JavaScript|JS|Launch|EmbeddedFiles?|RichMedia)(?=[\s/<\[(])")
_TAIL = 1024

EMPTY = gettext_noop("This file is empty or cut off. Scan it again.")
TOO_BIG = gettext_noop("This file is larger than 4 MB. Scan it with less detail.")
NO_PICTURE = gettext_noop("This is no JPEG, PNG or PDF, whatever its name says.")
CUT_OFF = gettext_noop("The end of this file is missing. Upload it again.")
ACTIVE = gettext_noop("This PDF holds scripts or attachments. Upload a plain picture or print of it.")


def media_of(content: bytes) -> str | None:
    """What the bytes are, or ``None``."""
    return next((media for media, opening in _OPENINGS.items() if content.startswith(opening)), None)


def fault(content: bytes) -> str | None:
    """Why these bytes are not kept; ``None`` when they are."""
    if len(content) > MOST_BYTES:
        return TOO_BIG
    if len(content) < LEAST_BYTES:
        return EMPTY
    media = media_of(content)
    if media is None:
        return NO_PICTURE
    if _ENDINGS[media] not in content[-_TAIL:]:
        return CUT_OFF
    if media == "application/pdf" and _ACTIVE.search(content):
        return ACTIVE
    return None
