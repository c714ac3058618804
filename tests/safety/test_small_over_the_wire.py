"""What an answer page costs on one bar of reception: everything it loads, as the servers send it.

Bound: 30 KB (project rule). Pages are counted as they are; style and scripts as the static store compresses them.
"""

from __future__ import annotations

import re
from pathlib import Path

import brotli
import pytest
from django.contrib.staticfiles import finders

from apps.safety.gate.services import issue_code
from apps.safety.rules import EntryInterval, HarvestWait, for_signature
from apps.safety.services import hang_closures
from farmops import clock
from tests.factories.land import BlockFactory

MOST = 30 * 1024
HEADERS = 900
"""Bytes allowed for the headers of one answer: those of a page measure about 800."""


def loaded_by(text: str) -> list[str]:
    """Static files a page loads, by its own tags."""
    return sorted(set(re.findall(r'(?:src|href)="/static/([^"]+)"', text)))


def on_the_wire(answer) -> int:
    text = answer.content.decode()
    files = [finders.find(name) for name in loaded_by(text)]
    packed = [len(brotli.compress(Path(path).read_bytes(), quality=11)) for path in files]
    assert len(files) >= 3 and all(files)
    assert sum(len(f"{k}: {v}\r\n") for k, v in answer.headers.items()) < HEADERS
    return len(answer.content) + sum(packed) + HEADERS * (1 + len(files))


def _closed(cast, block) -> None:
    now = clock.now()
    names = ["Demo A", "Demo B", "Demo C"]
    closures = for_signature(
        block.pk,
        started_at=now,
        ended_at=now,
        intervals=[EntryInterval(product=name, hours=48) for name in names],
        waits=[HarvestWait(product=name, days=7) for name in names],
        zone="America/Chicago",
    )
    hang_closures(farm=cast.farm, member=cast.applicator, source="job:1", closures=closures, now=now)


@pytest.mark.parametrize("shut", [False, True], ids=["allowed", "closed for three products"])
def test_answer_pages_of_staff_and_gate_stay_below_30_kilobytes(cast, browser_client, client, shut):
    block = BlockFactory(farm=cast.farm, name="North Seven")
    code = issue_code(member=cast.manager, block_id=block.pk, now=clock.now())
    if shut:
        _closed(cast, block)
    sizes = {
        "staff": on_the_wire(browser_client(cast.staff).get(f"/f/alder-bend/blocks/{block.pk}/may-i-enter/")),
        "gate": on_the_wire(client.get(f"/g/{code.code}/")),
    }
    print(f"\nbytes on the wire, {'closed' if shut else 'allowed'}: {sizes}")
    assert all(size <= MOST for size in sizes.values()), sizes
