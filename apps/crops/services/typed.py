"""Reading what was typed, for all actions on crops."""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from apps.crops.models import NOTE_LENGTH
from farmops.errors import BadInput, gettext_noop, one_of
from farmops.faults import Faults


def choice(kind: type[StrEnum], value: object, field: str) -> Any:
    """A code from outside as its enum; ``BadInput`` on ``field`` lists the codes."""
    try:
        return kind(str(value))
    except ValueError:
        raise BadInput({field: one_of(kind)}) from None


def reason_for_taking_back(text: object) -> str:
    """The reason that every withdrawal needs."""
    faults = Faults()
    said = faults.text({"reason": text}, "reason", "", NOTE_LENGTH, gettext_noop("Enter why this entry is wrong."))
    faults.raise_any()
    return said
