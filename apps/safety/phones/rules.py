"""What a number is for, in the order in which it is needed. Plain Python."""

from __future__ import annotations

import re
from enum import StrEnum

from farmops.errors import gettext_noop


class Purpose(StrEnum):
    EMERGENCY = "emergency"
    POISON = "poison"
    CLINIC = "clinic"
    MANAGER = "manager"
    APPLICATOR = "applicator"
    OTHER = "other"


PURPOSE_NAMES = {
    Purpose.EMERGENCY: gettext_noop("Emergency"),
    Purpose.POISON: gettext_noop("Poison centre"),
    Purpose.CLINIC: gettext_noop("Clinic or hospital"),
    Purpose.MANAGER: gettext_noop("Manager"),
    Purpose.APPLICATOR: gettext_noop("Applicator"),
    Purpose.OTHER: gettext_noop("Other"),
}

URGENT = (Purpose.EMERGENCY, Purpose.POISON, Purpose.CLINIC)
"""What a page for somebody who feels ill shows first (project rule)."""

_NUMBER = re.compile(r"\+?[0-9][0-9 ().-]{1,28}")


def could_be_called(number: str) -> bool:
    """Whether a phone can dial it: digits with the usual marks between, such as 555-0100 or 911."""
    return _NUMBER.fullmatch(number.strip()) is not None


def dialled(number: str) -> str:
    """What a link dials: digits, and the plus of a foreign number."""
    return re.sub(r"[^0-9+]", "", number)
