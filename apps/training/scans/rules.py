"""What a scan of a card must be beside a whole picture. Plain Python."""

from __future__ import annotations

from farmops.errors import gettext_noop

UNSIGNED = gettext_noop(
    "A card without its signatures proves nothing. Have it signed, scan it again, and tick that it is signed."
)
