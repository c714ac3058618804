"""Reading the book as it stood at one moment, whatever others sign, correct or bring in meanwhile."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction


@contextmanager
def one_moment() -> Iterator[None]:
    """Every read inside sees the same state of the book. Reads only, and short: it is a transaction of its own.

    PostgreSQL takes a new picture for each query unless told otherwise: a job signed between "which records?" and
    "which jobs have none?" would stand in neither answer. A transaction on SQLite reads one state by itself.
    Must be the outermost transaction (``RuntimeError`` otherwise); inside a test's own it changes nothing.
    """
    outermost = not connection.in_atomic_block
    with transaction.atomic(durable=True):
        if outermost and connection.vendor == "postgresql":
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield
