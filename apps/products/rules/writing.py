"""A :class:`Label` -> the JSON document it is stored as, always written the same way."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from decimal import Decimal
from enum import StrEnum
from typing import Any

from apps.products.rules.codes import Group
from apps.products.rules.label import GroupRunLimit, Label


def _plain(value: Any) -> Any:
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, Decimal):
        return f"{value.normalize():f}"
    if isinstance(value, GroupRunLimit):
        return {**_plain(value.group), "max_in_a_row": value.max_in_a_row}
    if isinstance(value, Group):
        return {"scheme": value.scheme.value, "code": value.code}
    if isinstance(value, Mapping):
        return {str(key): _plain(value[key]) for key in sorted(value)}
    if isinstance(value, tuple | list):
        return [_plain(item) for item in value]
    if hasattr(value, "__dataclass_fields__"):
        return {f.name: _plain(getattr(value, f.name)) for f in fields(value)}
    return value


def label_body(label: Label) -> dict[str, Any]:
    """The document of ``label``: every field, decimals as strings. ``read_label`` gives the same label back."""
    body: dict[str, Any] = _plain(label)
    return body
