"""One JSON object read field by field: the right kind of value or a fault under its dotted path."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from enum import StrEnum
from typing import Any, TypeVar

from farmops.errors import BadInput, Said, gettext_noop, one_of
from farmops.units import number

E = TypeVar("E", bound=StrEnum)
T = TypeVar("T")
CODE = re.compile(r"[a-z][a-z0-9_]{0,63}\Z")  # no line end may follow: a limit on "wheat\n" would bind nothing
SAY_CODE = "Give a code of small letters, digits and underscores, such as winter_squash."


class Reader:
    """Reads one JSON object, gathers faults under dotted paths and never stops at the first."""

    def __init__(self, body: object, path: str, faults: dict[str, list[str]]) -> None:
        self.path, self.faults, self.known = path, faults, set[str]()
        self.places: dict[str, tuple[int, ...]] = {}
        self.is_object = isinstance(body, Mapping)
        self.body: Mapping[str, Any] = body if isinstance(body, Mapping) else {}
        if not self.is_object:
            self.fault("", gettext_noop("Give an object with named fields."))

    def name(self, key: str) -> str:
        return ".".join(p for p in (self.path, key) if p) or "body"

    def fault(self, key: str, sentence: str) -> None:
        self.faults.setdefault(self.name(key), []).append(sentence)

    def faulty(self, key: str) -> bool:
        """Whether anything at or below ``key`` has already been found wrong."""
        name = self.name(key)
        return any(path == name or path.startswith(f"{name}.") for path in self.faults)

    def get(self, key: str) -> Any:
        self.known.add(key)
        return self.body.get(key)

    def close(self) -> None:
        """Fault every key nobody asked for."""
        for key in sorted(set(map(str, self.body)) - self.known):
            self.fault(
                key,
                Said(
                    gettext_noop("“{field}” is not a field of a label. Fields here: {codes}."),
                    field=key,
                    codes=", ".join(sorted(self.known)),
                ),
            )

    def text(self, key: str, *, longest: int = 4000) -> str:
        value = self.get(key)
        if value is None:
            return ""
        if not isinstance(value, str) or len(value) > longest:
            self.fault(key, Said(gettext_noop("Give text of at most {most} characters."), most=longest))
            return ""
        return value.strip()

    def flag(self, key: str, *, needed: bool = False) -> bool | None:
        value = self.get(key)
        if isinstance(value, bool) or (value is None and not needed):
            return value
        self.fault(key, gettext_noop("Say true or false."))
        return None

    def amount(
        self, key: str, *, above: int | None = None, low: int = 0, high: int, needed: bool = False
    ) -> Decimal | None:
        value = self.get(key)
        if value is None or isinstance(value, bool) or value == "":
            if needed or value is not None:
                self.fault(key, Said(gettext_noop("Give a number from {low} to {high}."), low=low, high=high))
            return None
        try:
            result = number(value, field=key, minimum=low, maximum=high)
        except BadInput as bad:
            for sentence in bad.errors[key]:
                self.fault(key, sentence)
            return None
        if above is not None and result <= above:
            self.fault(key, Said(gettext_noop("Must be more than {above}."), above=above))
            return None
        return result

    def whole(self, key: str, *, low: int = 0, high: int, needed: bool = False) -> int | None:
        value = self.amount(key, low=low, high=high, needed=needed)
        if value is not None and value != value.to_integral_value():
            self.fault(key, gettext_noop("Give a whole number."))
            return None
        return None if value is None else int(value)

    def one_of(self, key: str, kinds: type[E], *, needed: bool = False) -> E | None:
        value = self.get(key)
        if value is None and not needed:
            return None
        try:
            return kinds(value)
        except ValueError:
            self.fault(key, one_of(kinds))
            return None

    def code(self, key: str, *, needed: bool = False, also: Iterable[str] = ()) -> str | None:
        value = self.get(key)
        if value is None and not needed:
            return None
        if isinstance(value, str) and (CODE.match(value) or value in also):
            return value
        self.fault(key, SAY_CODE)
        return None

    def ingredient(self, key: str) -> str:
        value = self.get(key)
        name = " ".join(value.lower().split()) if isinstance(value, str) else ""
        if not name or len(name) > 120:
            self.fault(key, gettext_noop("Give the ISO common name of an active ingredient."))
        return name

    def names(self, key: str, clean: Callable[[str], str | None], say: str) -> tuple[str, ...]:
        """A list of texts, each passed through ``clean`` (``None`` = fault ``say``); repeats dropped, order kept."""
        value = self.get(key)
        if value is None:
            return ()
        if not isinstance(value, list):
            self.fault(key, gettext_noop("Give a list."))
            return ()
        read = [clean(item) if isinstance(item, str) else None for item in value]
        for place, item in enumerate(read):
            if item is None:
                self.fault(f"{key}.{place}", say)
        return tuple(dict.fromkeys(item for item in read if item is not None))

    def rows(self, key: str, build: Callable[[Reader], T | None]) -> tuple[T, ...]:
        """A list of objects; rows that cannot be built have left their faults. ``numbered`` gives them their places."""
        value = self.get(key)
        if value is None:
            return ()
        if not isinstance(value, list):
            self.fault(key, gettext_noop("Give a list."))
            return ()
        readers = [Reader(item, self.name(f"{key}.{place}"), self.faults) for place, item in enumerate(value)]
        built = [build(reader) if reader.is_object else None for reader in readers]
        for reader in readers:
            reader.close()
        self.places[key] = tuple(place for place, row in enumerate(built) if row is not None)
        return tuple(row for row in built if row is not None)

    def numbered(self, key: str, rows: Iterable[T]) -> Iterable[tuple[int, T]]:
        """``rows`` of ``key``, each with its place in the document: rows that were not built keep theirs."""
        return zip(self.places.get(key, ()), rows, strict=True)

    def mapping(self, key: str) -> Mapping[str, Any]:
        value = self.get(key)
        if value is None or isinstance(value, Mapping):
            return value or {}
        self.fault(key, gettext_noop("Give an object."))
        return {}
