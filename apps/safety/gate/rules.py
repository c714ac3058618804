"""Codes for plates, and how many questions one connection may ask. Plain Python."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta

LETTERS = "23456789ABCDEFGHJKMNPQRSTVWXYZ"
"""No 0, 1, I, L, O, U: they are mixed up on paper and on the phone (project rule)."""

CODE_LENGTH = 12
"""30 letters, 12 places: about 59 bits, far beyond guessing at the rate that is allowed."""

WINDOW = timedelta(minutes=1)
MOST_IN_WINDOW = 120
"""Questions from one connection in one minute: a crew behind one mobile address fits (project rule)."""

ASK_COST, MISS_COST = 1, 12
"""A code that nothing answers to costs much more: ten guesses a minute and no more (project rule)."""

BUCKETS = 65536
"""Connections are counted in this many buckets, so that the table stays small and names nobody."""


def make_code(choose: Callable[[str], str]) -> str:
    """A new code; ``choose`` picks one letter without bias (``secrets.choice``)."""
    return "".join(choose(LETTERS) for _ in range(CODE_LENGTH))


def tidy(typed: str) -> str:
    """The code as it is stored, from what was typed or scanned: any case, with or without dashes and blanks."""
    return "".join(c for c in typed.upper() if c.isalnum())


def in_groups(code: str) -> str:
    """``ABCD-EFGH-JKMN``: for reading and typing."""
    return "-".join(code[i : i + 4] for i in range(0, len(code), 4))


def window_of(now: datetime) -> datetime:
    """The beginning of the minute in which questions are counted together."""
    return now.replace(second=0, microsecond=0)


def seconds_to_wait(hits: int, now: datetime) -> int:
    """0 while the connection may ask; else whole seconds until it may again, rounded up."""
    if hits <= MOST_IN_WINDOW:
        return 0
    left = window_of(now) + WINDOW - now
    return max(1, -int(-left.total_seconds() // 1))
