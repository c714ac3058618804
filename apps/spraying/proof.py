"""Does it all still add up? Chain, jobs, ledger, board, labels and triggers, derived again and compared."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db.models import Count

from apps.audit import triggers
from apps.inventory.queries import drawn_for, rebuild_balances, stocks
from apps.inventory.rules import in_stock_unit
from apps.people.models import Farm
from apps.products.queries import altered
from apps.safety.rules import Kind, LiftReason
from apps.spraying import ground
from apps.spraying.amending import queries as amending
from apps.spraying.bringing.queries import altered as brought_altered
from apps.spraying.bringing.queries import files
from apps.spraying.facts import source_of
from apps.spraying.heads import compare
from apps.spraying.models import Job, SprayRecord
from apps.spraying.rules.record import Fault, Head, Meaning, RecordFacts, first_fault, instant_text
from apps.spraying.rules.states import JobState
from farmops.units import Quantity, dimension_of

AT_ONCE = 500


@dataclass(frozen=True, kw_only=True)
class Chain:
    """A farm's chain: how many records, the hash of the last, the first fault."""

    records: int
    head: str | None
    fault: Fault | None


COLUMNS = (
    "seq", "prev_hash", "hash", "body_text", "job_id", "meaning", "signed_by_id", "signed_at", "edition",
    "supersedes__seq",
)  # fmt: skip


def chain(farm: Farm) -> Chain:
    """Walk the chain once, few records in memory at a time, and compare the columns with the signed text."""
    count, head = 0, None

    def walk() -> Iterator[RecordFacts]:
        nonlocal count, head
        rows = SprayRecord.objects.for_farm(farm).order_by("seq", "pk").values_list(*COLUMNS)
        for seq, prev_hash, hash_, text, job, meaning, signer, at, edition, earlier in rows.iterator(AT_ONCE):
            count, head = count + 1, hash_
            columns = {
                "job": job,
                "meaning": meaning,
                "signer": signer,
                "time of signing": instant_text(at),
                "edition": edition,
                "record it corrects": earlier,
            }
            yield RecordFacts(seq=seq, prev_hash=prev_hash, hash=hash_, body_text=text, columns=columns)

    fault = first_fault(walk())
    if fault is not None:
        return Chain(records=SprayRecord.objects.for_farm(farm).count(), head=None, fault=fault)
    fault = _jobs_fault(farm)
    return Chain(records=count, head=head if fault is None else None, fault=fault)


def _jobs_fault(farm: Farm) -> Fault | None:
    """Every signed job has its record, every record its signed job, and what is open again was opened by a step."""
    rows = amending.standing(farm).values_list("job_id", "seq", "meaning")
    newest: dict[int, tuple[int, str | None]] = {job_id: (seq, meaning) for job_id, seq, meaning in rows}
    opened = _opened_again(farm)
    jobs = Job.objects.for_farm(farm).order_by("number").values_list("pk", "number", "state", "not_applied_at")
    for pk, number, state, attested in jobs.iterator(AT_ONCE):
        seq, meaning = newest.get(pk, (0, None))
        unsigned = Meaning.NOT_APPLIED if attested is not None else None
        expected = Meaning.APPLIED if state == JobState.SIGNED else unsigned
        if expected != meaning and not (expected is None and seq in opened.get(pk, ())):
            return Fault(code="job", where=f"job {number}", said="its state is not what its record says")
    return None


def _opened_again(farm: Farm) -> dict[int, set[int]]:
    """job id -> numbers of the records after which a step opened it again."""
    steps = amending.reopening_steps(farm).values_list("job_id", "details")
    found: dict[int, set[int]] = {}
    for job_id, details in steps:
        found.setdefault(job_id, set()).add(int(details.get("record", 0)))
    return found


# ---- board -----------------------------------------------------------------------------


def board_fault(farm: Farm) -> Fault | None:
    """Every closure the newest editions promised hangs, or hung, at least as long as signed.

    A job that is open again must be closed as unconfirmed on every block, whatever its last edition promised.
    """
    rows = amending.standing(farm).exclude(meaning=Meaning.NOT_APPLIED)
    for row in rows.select_related("job__farm").iterator(AT_ONCE):
        hung, where = ground.all_of(row.job), f"record {row.seq}"
        if row.job.state != JobState.SIGNED:
            fault = _unconfirmed_fault(row.job, hung, where) if row.job.state == JobState.SPRAYED else None
        else:
            fault = _promises_fault(row, hung, where)
        if fault is not None:
            return fault
    return None


def _promises_fault(row: SprayRecord, hung: Sequence[Any], where: str) -> Fault | None:
    for block in json.loads(row.body_text)["content"]["blocks"]:
        for promised in block["closures"]:
            if not any(_keeps(c, block["block_id"], promised) for c in hung):
                said = f"the board lacks its {promised['kind']} closure on {block['code']}"
                return Fault(code="board", where=where, said=said)
    return None


def _unconfirmed_fault(job: Job, hung: Sequence[Any], where: str) -> Fault | None:
    closed = {c.block_id for c in hung if c.kind == Kind.UNCONFIRMED and c.lifted_at is None}
    for line in job.job_blocks.select_related("block").order_by("block__code"):
        if line.block_id not in closed:
            said = f"it is unsigned again, and the board lacks its unconfirmed closure on {line.block.code}"
            return Fault(code="board", where=where, said=said)
    return None


def _keeps(closure: Any, block_id: int, promised: dict[str, Any]) -> bool:
    """Whether a closure on the board is the one promised, or one that holds longer."""
    same = (
        closure.block_id == block_id
        and closure.kind == promised["kind"]
        and closure.reason_code == promised["reason"]
        and sorted(closure.activities) == promised["activities"]
    )
    if not same or ground.came_down_too_soon(closure) or closure.lift_reason == LiftReason.RESIGNED:
        return False
    if promised["ends_at"] is None or closure.ends_at is None:
        return closure.ends_at is None
    return bool(closure.ends_at >= datetime.fromisoformat(promised["ends_at"]))


# ---- ledger ----------------------------------------------------------------------------


def ledger_fault(farm: Farm) -> Fault | None:
    """The first balance that is not the sum of its lines, or the first record whose amounts the shed did not give."""
    for found in rebuild_balances(farm):
        said = f"{found.what} is kept as {found.kept}, its lines add up to {found.derived}"
        return Fault(code="ledger", where=found.subject, said=said)
    units = dict(stocks(farm).values_list("product_id", "unit"))
    signed = amending.standing(farm).filter(meaning=Meaning.APPLIED, job__state=JobState.SIGNED)
    for row in signed.iterator(AT_ONCE):
        for product in json.loads(row.body_text)["content"]["products"]:
            if said := _taken_wrong(farm, row.job, product, units.get(product["product_id"])):
                return Fault(code="ledger", where=f"record {row.seq}", said=said)
    return None


def _taken_wrong(farm: Farm, job: Job, product: Mapping[str, Any], unit: str | None) -> str:
    """What is wrong; empty when the shed gave what was signed. Weight against volume is left to the balances."""
    used = Quantity(Decimal(product["amount"]), product["unit"])
    if unit is None or used.dimension is not dimension_of(unit):
        return ""
    given = sum(drawn_for(farm, source_of(job), product["product_id"]).values(), start=Decimal(0))
    if in_stock_unit(used, unit, None, field="unit") == given:
        return ""
    return f"{product['name']}: {used} was signed, the shed gave {Quantity(given, unit)}"


# ---- everything else -------------------------------------------------------------------


def label_fault(farm: Farm) -> Fault | None:
    """A checked label document is the one that was checked."""
    for row in altered(farm):
        return Fault(code="label", where=str(row), said="its document is not the one that was hashed")
    return None


def brought_fault(farm: Farm) -> Fault | None:
    """A file that was brought in is the one that was read, and every row of it is there."""
    for row in brought_altered(farm):
        return Fault(code="brought", where=str(row), said="its text is not the one that was brought in")
    for row in files(farm).annotate(there=Count("sprays")):
        if row.there != row.rows_count:
            said = f"{row.rows_count} rows were brought in, {row.there} are there"
            return Fault(code="brought", where=str(row), said=said)
    return None


def trigger_fault() -> Fault | None:
    """The tables that only grow must have their second lock."""
    for name in triggers.missing():
        return Fault(code="trigger", where=name, said="this trigger is missing; run manage.py migrate")
    return None


def against(farm: Farm, kept: Iterable[Head]) -> Fault | None:
    """What heads kept elsewhere say: a rewritten, cut or old book agrees with itself, and not with these."""
    for head in kept:
        if (fault := compare(farm, head)) is not None:
            return fault
    return None


def head_fault(farm: Farm, kept: Iterable[str]) -> Fault | None:
    """A head that was kept elsewhere must still stand in the chain: else the book was rewritten or cut short."""
    for head in kept:
        if not SprayRecord.objects.for_farm(farm).filter(hash=head).exists():
            return Fault(code="head", where=f"head {head[:16]}", said="is no longer in the chain")
    return None


def farm_faults(farm: Farm, hashes: Sequence[str] = (), heads: Sequence[Head] = ()) -> Iterator[Fault]:
    """The first fault of each look at one farm, in the order they are looked for."""
    looks: tuple[Callable[[], Fault | None], ...] = (
        lambda: chain(farm).fault,
        lambda: head_fault(farm, hashes),
        lambda: against(farm, heads),
        lambda: ledger_fault(farm),
        lambda: board_fault(farm),
        lambda: label_fault(farm),
        lambda: brought_fault(farm),
    )
    for look in looks:
        if (fault := look()) is not None:
            yield fault


def faults(
    farms: Iterable[Farm],
    kept_heads: Mapping[str, Sequence[str]],
    earlier: Mapping[str, Sequence[Head]] | None = None,
) -> Iterator[tuple[str, Fault]]:
    """(farm, fault) in the order they are found; empty when everything adds up. Each is looked for when asked."""
    if fault := trigger_fault():
        yield ("every farm", fault)
    for farm in farms:
        for fault in farm_faults(farm, kept_heads.get(farm.slug, ()), (earlier or {}).get(farm.slug, ())):
            yield (farm.slug, fault)
