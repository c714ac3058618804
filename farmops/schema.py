"""OpenAPI: every operation also documents the problem answers it can give."""

from __future__ import annotations

import re
from typing import Any

from drf_spectacular.openapi import AutoSchema

_PROBLEM: dict[str, Any] = {
    "type": "object",
    "description": "RFC 9457 problem document.",
    "properties": {
        "type": {"type": "string"},
        "title": {"type": "string"},
        "status": {"type": "integer"},
        "detail": {"type": "string"},
        "errors": {"type": "object", "additionalProperties": {"type": "array", "items": {"type": "string"}}},
        "findings": {"type": "array", "items": {"type": "object", "additionalProperties": True}},
    },
    "required": ["type", "title", "status", "detail"],
}
_ALWAYS = {"400": "Cannot be used as typed", "401": "Not signed in", "403": "Not your role", "404": "Not found"}
_UNSAFE = {"409": "Refused, with all findings", "415": "Not JSON", "429": "Too many tries"}
_EDIT = {"412": "Changed meanwhile", "428": "If-Match missing"}
_IF_MATCH = {
    "in": "header",
    "name": "If-Match",
    "required": True,
    "schema": {"type": "string"},
    "description": 'The version you read, such as "v3".',
}
_KEY = {
    "in": "header",
    "name": "Idempotency-Key",
    "required": False,
    "schema": {"type": "string", "minLength": 8, "maxLength": 100},
    "description": "The same key with the same body gets the same answer and acts once.",
}


class FarmSchema(AutoSchema):
    """Adds problem+json answers and the two headers the house uses."""

    def get_operation_id(self) -> str:
        """``list_members`` for the list of a view class ``Members``; elsewhere the door names it."""
        if self.method == "GET" and self._is_list_view():
            return "list_" + re.sub(r"(?<!^)(?=[A-Z])", "_", type(self.view).__name__).lower()
        return super().get_operation_id()

    def get_operation(self, *args: Any, **kwargs: Any) -> dict[str, Any] | None:
        operation: dict[str, Any] | None = super().get_operation(*args, **kwargs)
        if not operation:
            return operation
        wanted = dict(_ALWAYS)
        extra: list[dict[str, Any]] = []
        if self.method in {"POST", "PATCH", "PUT", "DELETE"}:
            wanted |= _UNSAFE
        if self.method == "POST":
            extra.append(_KEY)
        if self.method in {"PATCH", "PUT"} and getattr(self.view, "versioned", True):
            wanted |= _EDIT
            extra.append(_IF_MATCH)
        for code, text in wanted.items():
            operation["responses"].setdefault(
                code, {"description": text, "content": {"application/problem+json": {"schema": _PROBLEM}}}
            )
        if extra:
            operation.setdefault("parameters", []).extend(extra)
        return operation
