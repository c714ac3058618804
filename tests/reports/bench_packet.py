"""Benchmark, not a test: how long a season's packet takes and what memory it needs, as the records grow.

Run: DJANGO_SETTINGS_MODULE=farmops.settings python -m tests.reports.bench_packet [records …]
Each line is a process of its own on a throw-away SQLite file, so that its peak memory (``ru_maxrss``) is its own.
"CPU s" counts this process and the typesetters, and says the same on a busy machine; two typesetters run at once.
The floor of the same run is reading the same records from the database and hashing their texts once.
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from datetime import timedelta
from pathlib import Path
from typing import Any

CURVE = (500, 1000, 2000, 5000, 10000)


def main(sizes: list[int]) -> None:
    head = ("records", "packet s", "CPU s", "floor s", "ratio", "PDFs", "files MB", "peak MB", "grown MB", "press MB")
    print(("{:>12}" * len(head)).format(*head))
    for size in sizes:
        with tempfile.TemporaryDirectory() as place:
            environment = {**os.environ, "FARMOPS_DATA": place, "DATABASE_URL": ""}
            command = [sys.executable, "-m", "tests.reports.bench_packet", "--one", str(size)]
            said = subprocess.run(command, env=environment, capture_output=True, text=True, check=True).stdout
            print(("{:>12}" * len(head)).format(*json.loads(said.splitlines()[-1])), flush=True)


def one(size: int) -> None:
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "farmops.settings")
    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)
    print(json.dumps(measure(size)))


def measure(size: int) -> list[Any]:
    from apps.reports.packet import writing
    from apps.reports.packet.rules import Ask, Audience
    from apps.spraying.models import SprayRecord
    from apps.spraying.rules.record import chain_hash
    from tests.factories.book import long_book

    farm, now = long_book(size)
    begun = time.perf_counter()
    for row in SprayRecord.objects.for_farm(farm).order_by("seq").iterator(chunk_size=250):
        chain_hash(row.prev_hash, row.body_text)
    floor = time.perf_counter() - begun
    before, busy = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, cpu()
    with tempfile.TemporaryDirectory() as place:
        begun = time.perf_counter()
        made = writing.write(
            writing.plan(farm, Ask(audience=Audience.INSPECTOR), now + timedelta(days=400)), Path(place)
        )
        took = time.perf_counter() - begun
    busy = cpu() - busy
    press = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1024  # the largest of the typesetters
    assert made.records == size and made.sound
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    weight = sum(f["bytes"] for f in made.files) / 1e6
    pdfs = sum(f["media"] == "application/pdf" for f in made.files)
    seconds = [round(took, 2), round(busy, 2), round(floor, 3), round(busy / floor, 1)]
    return [size, *seconds, pdfs, round(weight, 1), round(peak), round(peak - before), round(press)]


def cpu() -> float:
    """Processor seconds of this process and of the typesetters it waited for."""
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(u.ru_utime + u.ru_stime for u in used)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--one"]:
        one(int(sys.argv[2]))
    else:
        main([int(word) for word in sys.argv[1:]] or list(CURVE))
