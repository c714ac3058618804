"""What is wrong with what was typed, gathered so that everything is said at once. Plain Python."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar, overload

from farmops.errors import BadInput, Said, gettext_noop

T = TypeVar("T")


@dataclass
class Faults:
    """Bad input, field by field; ``raise_any`` turns it down together."""

    errors: dict[str, list[str]] = field(default_factory=dict)

    def add(self, field: str, said: str) -> None:
        self.errors.setdefault(field, []).append(said)

    @overload
    def take(self, read: Callable[[], Any]) -> Any: ...

    @overload
    def take(self, read: Callable[[], T], otherwise: T) -> T: ...

    def take(self, read: Callable[[], Any], otherwise: Any = None) -> Any:
        """What ``read`` gives; if it turns the input down, remember why and go on with ``otherwise``."""
        try:
            return read()
        except BadInput as fault:
            for name, said in fault.errors.items():
                self.errors.setdefault(name, []).extend(said)
            return otherwise

    def text(self, values: Mapping[str, Any], name: str, where: str, most: int, empty: str) -> str:
        """One text of ``values``, to blame as ``where.name``; see ``plain_text``."""
        key = f"{where}.{name}" if where else name
        return self.take(lambda: plain_text(values.get(name), field=key, most=most, empty=empty), "")

    def raise_any(self) -> None:
        """``BadInput`` with all of it, if there is any."""
        if self.errors:
            raise BadInput(self.errors)


def plain_text(value: object, *, field: str, most: int, empty: str = "") -> str:
    """Typed text without control characters and outer spaces, at most ``most`` characters.

    ``empty`` is the sentence of the refusal when nothing was typed; without it nothing is allowed.
    """
    text = " ".join(str(value if value is not None else "").split())
    if not text and empty:
        raise BadInput({field: empty})
    if any(not letter.isprintable() for letter in text):
        raise BadInput({field: gettext_noop("Must be plain text without control characters.")})
    if len(text) > most:
        raise BadInput({field: Said(gettext_noop("Must be {most} characters or fewer."), most=most)})
    return text
