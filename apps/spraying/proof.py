"""Does it all still add up? The chain, the ledger and the board, derived again and compared."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from apps.audit import triggers
from apps.inventory.queries import rebuild_balances
from apps.people.models import Farm
from apps.spraying import ground
from apps.spraying.models import Job, SprayRecord
from apps.spraying.rules.record import Fault, Meaning, RecordFacts, first_fault, instant_text
from apps.spraying.rules.states import JobState


@dataclass(frozen=True, kw_only=True)
class Chain:
    """A farm's chain: how many records, the hash of the last, the first fault."""

    records: int
    head: str | None
    fault: Fault | None


def chain(farm: Farm) -> Chain:
    """Walk the chain, one record in memory at a time, and compare the columns with the signed text."""
    seen: list[SprayRecord] = []

    def walk() -> Iterator[RecordFacts]:
        for row in SprayRecord.objects.for_farm(farm).order_by("seq", "pk").iterator(chunk_size=500):
            seen[:] = [row]
            yield RecordFacts(seq=row.seq, prev_hash=row.prev_hash, hash=row.hash, body_text=row.body_text)

    fault = first_fault(walk())
    last = seen[0] if seen else None
    fault = fault or _columns_fault(farm) or _jobs_fault(farm)
    return Chain(
        records=SprayRecord.objects.for_farm(farm).count(),
        head=last.hash if last and fault is None else None,
        fault=fault,
    )


def _columns_fault(farm: Farm) -> Fault | None:
    """The columns that lists show must say what the text says."""
    for row in SprayRecord.objects.for_farm(farm).order_by("seq").iterator(chunk_size=500):
        for name, kept, signed in _columns(row, json.loads(row.body_text)):
            if kept != signed:
                return Fault(code="column", where=f"record {row.seq}", said=f"its {name} is not the signed one")
    return None


def _columns(row: SprayRecord, body: dict[str, Any]) -> list[tuple[str, Any, Any]]:
    """(what, as the column has it, as it was signed)."""
    signature, content = body["signature"], body["content"]
    return [
        ("job", row.job_id, content.get("job", {}).get("id")),
        ("meaning", row.meaning, content.get("meaning")),
        ("signer", row.signed_by_id, signature.get("person_id")),
        ("time of signing", instant_text(row.signed_at), signature.get("at")),
        ("edition", row.edition, body.get("edition")),
    ]


def _jobs_fault(farm: Farm) -> Fault | None:
    """Every signed job has its record, and every record its signed job."""
    recorded = dict(SprayRecord.objects.for_farm(farm).order_by("seq").values_list("job_id", "meaning"))
    for job in Job.objects.for_farm(farm).order_by("number"):
        signed = job.state == JobState.SIGNED
        attested = job.not_applied_at is not None
        expected = Meaning.APPLIED if signed else Meaning.NOT_APPLIED if attested else None
        if recorded.get(job.pk) != expected:
            return Fault(code="job", where=f"job {job.number}", said="its state is not what its record says")
    return None


def board_fault(farm: Farm) -> Fault | None:
    """Every closure a signed record promised hangs, or hung, at least as long as signed."""
    rows = SprayRecord.objects.for_farm(farm).filter(meaning=Meaning.APPLIED).select_related("job").order_by("seq")
    for row in rows.iterator(chunk_size=200):
        hung = ground.all_of(row.job)
        for block in json.loads(row.body_text)["content"]["blocks"]:
            for promised in block["closures"]:
                if not any(_keeps(c, block["block_id"], promised) for c in hung):
                    said = f"the board lacks its {promised['kind']} closure on {block['code']}"
                    return Fault(code="board", where=f"record {row.seq}", said=said)
    return None


def _keeps(closure: Any, block_id: int, promised: dict[str, Any]) -> bool:
    """Whether a closure on the board is the one promised, or one that holds longer."""
    same = (
        closure.block_id == block_id
        and closure.kind == promised["kind"]
        and closure.reason_code == promised["reason"]
        and sorted(closure.activities) == promised["activities"]
    )
    if not same or ground.came_down_too_soon(closure):
        return False
    if promised["ends_at"] is None or closure.ends_at is None:
        return closure.ends_at is None
    return bool(closure.ends_at >= datetime.fromisoformat(promised["ends_at"]))


def ledger_fault(farm: Farm) -> Fault | None:
    """The first balance that is not the sum of its ledger lines."""
    for found in rebuild_balances(farm):
        said = f"{found.what} is kept as {found.kept}, its lines add up to {found.derived}"
        return Fault(code="ledger", where=found.subject, said=said)
    return None


def trigger_fault() -> Fault | None:
    """The tables that only grow must have their second lock."""
    for name in triggers.missing():
        return Fault(code="trigger", where=name, said="this trigger is missing; run manage.py migrate")
    return None


def head_fault(farm: Farm, kept: Iterable[str]) -> Fault | None:
    """A head that was kept elsewhere must still stand in the chain: else the book was rewritten or cut short."""
    for head in kept:
        if not SprayRecord.objects.for_farm(farm).filter(hash=head).exists():
            return Fault(code="head", where=f"head {head[:16]}", said="is no longer in the chain")
    return None


def faults(farms: Iterable[Farm], kept_heads: Mapping[str, Sequence[str]]) -> Iterator[tuple[str, Fault]]:
    """(farm, fault) in the order they are found; empty when everything adds up. Each is looked for when asked."""
    if fault := trigger_fault():
        yield ("every farm", fault)
    for farm in farms:
        looks: tuple[Callable[[], Fault | None], ...] = (
            lambda farm=farm: chain(farm).fault,
            lambda farm=farm: head_fault(farm, kept_heads.get(farm.slug, ())),
            lambda farm=farm: ledger_fault(farm),
            lambda farm=farm: board_fault(farm),
        )
        for look in looks:
            if (fault := look()) is not None:
                yield (farm.slug, fault)
