"""Benchmark, not a test: what it costs to verify a chain of signed records, beside bare hashing of the same bytes.

Run: python -m tests.spraying.bench_records [number of records]
Prints for each length: bytes a record, records a second, the time of reading the same rows and doing nothing, the time
of bare SHA-256 over the same texts once, and the ratios. Uses a throw-away database: in-memory SQLite, or the test
database of ``DATABASE_URL``.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
import time
import tracemalloc
from collections.abc import Callable

import pytest  # noqa: F401  with it the settings are those of the tests


def seconds(act: Callable[[], object], rounds: int = 3) -> float:
    times = []
    for _ in range(rounds):
        begun = time.perf_counter()
        act()
        times.append(time.perf_counter() - begun)
    return min(times)


def main(most: int) -> None:
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "farmops.settings")
    django.setup()
    from django.db import connection

    name = connection.settings_dict["NAME"]
    connection.creation.create_test_db(verbosity=0, autoclobber=True)
    try:
        measure(most)
    finally:
        connection.creation.destroy_test_db(name, verbosity=0)


def measure(most: int) -> None:
    from apps.people.rules import Role
    from tests.conftest import Cast, place
    from tests.factories.people import FarmFactory, PersonFactory
    from tests.factories.spraying import bench_for

    farm, other = FarmFactory(slug="alder-bend"), FarmFactory(slug="far-side")
    people = {role.value: place(farm, role, role.value, role.value) for role in Role}
    neighbour = place(other, Role.MANAGER, "Otto Vance", "otto")
    cast = Cast(farm=farm, other_farm=other, neighbour=neighbour, outsider=PersonFactory(), **people)
    first = bench_for(cast).signed()
    print(f"{'records':>8} {'bytes each':>11} {'verify s':>9} {'records/s':>10} {'read s':>7} {'hash s':>7} "
          f"{'x hash':>7} {'x (read+hash)':>14} {'peak MB':>8}")  # fmt: skip
    for length in sorted({most // 100, most // 10, most}):
        grow(first, length)
        line(farm, length)


def grow(first, length: int) -> None:  # type: ignore[no-untyped-def]
    """Copies of a real record, each on the one before, until there are ``length``."""
    from apps.spraying.models import Job, SprayRecord
    from apps.spraying.rules.record import canonical, chain_hash

    farm, last = first.farm, SprayRecord.rows.filter(farm=first.farm).order_by("-seq").first()
    body, columns = json.loads(first.body_text), {f.attname: getattr(first.job, f.attname) for f in Job._meta.fields}
    jobs = [
        Job(**{**columns, "id": None, "number": n}) for n in range(last.seq + 1, length + 1)
    ]  # fmt: skip
    Job.rows.bulk_create(jobs, batch_size=500)
    rows, prev = [], last.hash
    for seq, job in enumerate(jobs, start=last.seq + 1):
        text = canonical({**body, "seq": seq, "job": job.pk})
        row = SprayRecord(
            farm=farm, job=job, seq=seq, prev_hash=prev, hash=chain_hash(prev, text), body_text=text,
            meaning=first.meaning, signed_by_id=first.signed_by_id, signed_at=first.signed_at,
        )  # fmt: skip
        rows.append(row)
        prev = row.hash
    SprayRecord.rows.bulk_create(rows, batch_size=200)


def line(farm, length: int) -> None:  # type: ignore[no-untyped-def]
    from apps.spraying import proof
    from apps.spraying.models import SprayRecord

    def read() -> int:
        rows = SprayRecord.rows.filter(farm=farm).order_by("seq", "pk").values_list(*proof.COLUMNS)
        return sum(1 for _ in rows.iterator(proof.AT_ONCE))

    texts = [t.encode() for t in SprayRecord.rows.filter(farm=farm).values_list("body_text", flat=True)]
    found = proof.chain(farm)
    assert (found.records, found.fault) == (length, None)
    verify, reading = seconds(lambda: proof.chain(farm)), seconds(read)
    hashing = seconds(lambda: [hashlib.sha256(t).digest() for t in texts])
    size = sum(map(len, texts)) // len(texts)
    texts.clear()
    tracemalloc.start()
    proof.chain(farm)
    peak = tracemalloc.get_traced_memory()[1] / 1e6
    tracemalloc.stop()
    print(f"{length:>8} {size:>11} {verify:>9.2f} {length / verify:>10.0f} {reading:>7.2f} {hashing:>7.2f} "
          f"{verify / hashing:>7.1f} {verify / (reading + hashing):>14.1f} {peak:>8.1f}")  # fmt: skip


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
