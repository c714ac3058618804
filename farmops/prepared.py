"""ORM reads that are asked so often that putting their SQL together costs more than running it.

A ``Prepared`` read is written as an ordinary queryset. It is compiled once for each kind of database with stand-ins
for its parameters; from then on only the SQL runs, with fresh parameters and the queryset's own converters. The tables,
conditions and types are the ORM's; nothing is written as SQL by hand.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from django.db import connection
from django.db.models import QuerySet

_ODD_INT, _ODD_TIME = 1_900_000_001, datetime(1901, 2, 3, 4, 5, 6, 7, tzinfo=UTC)
_LARGEST = 2**63


class CannotPrepare(RuntimeError):
    """The queryset does not carry its parameters into the SQL as they are: it must be asked the ordinary way."""


@dataclass(frozen=True)
class _Ready:
    """SQL, its fixed parameters with ``slots`` for the fresh ones, and the converters by column."""

    sql: str
    params: tuple[Any, ...]
    slots: tuple[tuple[int, str, Callable[[Any], Any]], ...]
    converters: tuple[tuple[int, Sequence[Callable[..., Any]], Any], ...]


class Prepared:
    """``build(name=value, …)`` gives a ``values_list`` queryset; ``kinds`` says of which type each parameter is.

    Types: ``int``, ``str``, ``datetime``. A parameter must reach the SQL unchanged and shape nothing but its value:
    what is computed from one (``at - MINUTE``) is computed by the caller. ``CannotPrepare`` if it does not.
    """

    def __init__(self, build: Callable[..., QuerySet[Any]], **kinds: type) -> None:
        self._build, self._kinds = build, kinds
        self._ready: dict[str, _Ready] = {}

    def rows(self, **values: Any) -> list[Sequence[Any]]:
        """The rows as ``list(build(**values))`` gives them. One query."""
        if any(type(v) is int and not -_LARGEST <= v < _LARGEST for v in values.values()):
            return []  # as the ORM: no row has such a number
        ready = self._ready.get(connection.vendor) or self._make_ready()
        params = list(ready.params)
        for place, name, adapt in ready.slots:
            params[place] = adapt(values[name])
        with connection.cursor() as cursor:
            cursor.execute(ready.sql, params)
            found = cursor.fetchall()
        return _converted(found, ready)

    def plain(self, **values: Any) -> QuerySet[Any]:
        """The same read the ordinary way."""
        return self._build(**values)

    def _make_ready(self) -> _Ready:
        first, second = (self._compiled(turn) for turn in (0, 1))
        if first[0] != second[0]:
            raise CannotPrepare("the SQL depends on the values")
        slots = tuple(
            slot for place, pair in enumerate(zip(first[1], second[1], strict=True))
            if (slot := self._slot(place, *pair))
        )  # fmt: skip
        if {name for _, name, _ in slots} != set(self._kinds):
            raise CannotPrepare("a parameter does not reach the SQL")
        self._ready[connection.vendor] = _Ready(first[0], first[1], slots, first[2])
        return self._ready[connection.vendor]

    def _compiled(self, turn: int) -> tuple[str, tuple[Any, ...], tuple[Any, ...]]:
        compiler = self._build(**self._stand_ins(turn)).query.get_compiler(connection=connection)
        sql, params = compiler.as_sql()
        found = compiler.get_converters([column for column, _, _ in compiler.select])
        return sql, tuple(params), tuple((at, convs, column) for at, (convs, column) in found.items())

    def _slot(self, place: int, one: Any, other: Any) -> tuple[int, str, Callable[[Any], Any]] | None:
        """Where a fresh parameter goes; None for a fixed one. One that follows neither is a fault."""
        if one == other:
            return None
        for name, kind in self._kinds.items():
            adapt = _adapter(kind, one)
            if (one, other) == (adapt(self._stand_ins(0)[name]), adapt(self._stand_ins(1)[name])):
                return place, name, adapt
        raise CannotPrepare(f"parameter {place} of the SQL is computed from a value")

    def _stand_ins(self, turn: int) -> dict[str, Any]:
        return {name: _odd(kind, 2 * at + turn) for at, (name, kind) in enumerate(self._kinds.items())}


def _odd(kind: type, number: int) -> Any:
    """A value that no queryset has by itself."""
    if kind is int:
        return _ODD_INT + number
    if kind is datetime:
        return _ODD_TIME + timedelta(days=number)
    return f"stand-in-{number}"


def _adapter(kind: type, seen: Any) -> Callable[[Any], Any]:
    """How the ORM hands a value of this kind to the driver (a number in the driver's own type on PostgreSQL)."""
    if kind is datetime:
        adapt: Callable[[Any], Any] = connection.ops.adapt_datetimefield_value
        return adapt
    return type(seen) if kind is int and isinstance(seen, int) else kind


def _converted(found: list[Any], ready: _Ready) -> list[Sequence[Any]]:
    """The rows as Python values; equal ones in a column are converted once and may be the same object."""
    if not ready.converters:
        return found
    rows = [list(row) for row in found]
    for place, converters, column in ready.converters:
        known: dict[Any, Any] = {}
        for row in rows:
            raw = row[place]
            if raw not in known:
                value = raw
                for convert in converters:
                    value = convert(value, column, connection)
                known[raw] = value
            row[place] = known[raw]
    return rows
