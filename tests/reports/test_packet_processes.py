"""A packet is of one moment and made once: real processes on PostgreSQL that write meanwhile, or are killed."""

from __future__ import annotations

from datetime import timedelta

import pytest

from tests.factories.spraying import SIGNED
from tests.processes import said, started

pytestmark = [pytest.mark.services, pytest.mark.django_db(transaction=True)]
FILES = ["packet.pdf", "packet.csv", "packet.json"]


@pytest.fixture
def found(bench, tmp_path):
    """What ``tests.reports.making`` saw, with one signed job on the farm."""
    record = bench.signed()
    asked = {
        "farm": bench.farm.slug,
        "boss": bench.manager.person_id,
        "hand": bench.applicator.person_id,
        "job": record.job_id,
        "now": (SIGNED + timedelta(hours=1)).isoformat(),
    }

    def run(how: str) -> list[dict]:
        return said(started("tests.reports.making", how, asked=asked, FARMOPS_DATA=str(tmp_path)), 1800)

    return run


def test_what_others_sign_or_correct_meanwhile_is_in_a_packet_whole_or_not_at_all(found):
    """Held at queries from the claim to the last: what it says was true at one moment, and its proof says the same."""
    seen = found("hold")
    assert sum(s["held"] for s in seen) >= 10
    for s in seen:
        told, moments = s["told"], (s["before"], s["after"])
        assert (told["state"], s["code"], told["fault"]) == ("ready", 0, None)
        assert {k: told[k] for k in ("last", "head", "waiting")} in moments, s
        assert told["records"] == list(range(1, told["last"] + 1))
        assert told["lines"] == told["last"]
        assert told["standing"] == [told["last"]]
    assert {told["waiting"] != [] for told in (s["told"] for s in seen)} == {True, False}


def test_a_packet_whose_maker_is_killed_is_made_once_by_the_next_sweep(found):
    """No half file is ever offered; afterwards one packet is ready, told once, and nothing else lies about."""
    seen = found("kill")
    assert len(seen) >= 11
    for s in seen:
        step, done = s["step"], s["dead"]["state"] == "ready"
        assert s["code"] in ((-9, 0) if step.startswith("query") else (-9,)), s
        assert (s["early_code"], s["swept_code"], s["again_code"]) == (0, 0, 0)
        unclaimed = s["dead"]["state"] == "waiting"  # killed before it had claimed the packet
        assert unclaimed or s["early"] == s["dead"], s  # the lease still runs: nobody else begins
        if not done:
            waiting = {"whole": [], "refused": FILES, "made": 0, "told": 0}
            assert {k: s["dead"][k] for k in waiting} == waiting, s
            assert s["dead"]["state"] in ("making", "waiting")
        assert {**s["swept"], "tries": 0} == {
            "state": "ready", "tries": 0, "whole": FILES, "refused": [], "made": 1, "told": 1,
        }, s  # fmt: skip
        assert s["swept"]["tries"] <= 2
        assert s["again"] == s["swept"]
        assert s["leftovers"] == [], s
    named = {s["step"]: s["dead"]["state"] for s in seen}
    assert named.pop("committed") == "ready"
    assert {v for k, v in named.items() if not k.startswith("query")} == {"making"}
