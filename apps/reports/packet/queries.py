"""Which records belong into a packet, read a few at a time, and whether their chain stands."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db.models import Max, Min, Q, QuerySet
from django.db.models.functions import Coalesce

from apps.people.models import Farm
from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.products.models import Product
from apps.reports.models import Packet
from apps.reports.packet.lines import instant
from apps.reports.packet.rules import Ask, PacketState
from apps.reports.period import Period
from apps.spraying import queries as spraying
from apps.spraying.bringing import queries as bringing
from apps.spraying.bringing.models import BroughtSpray
from apps.spraying.models import Job, SprayRecord
from apps.spraying.rules.record import GENESIS, Fault, Meaning, RecordFacts, first_fault
from apps.spraying.rules.states import JobState
from farmops import clock

CHUNK = 250


# ---- packets ---------------------------------------------------------------------------


def packets(member: Member) -> QuerySet[Packet]:
    """The packets somebody may fetch, newest first: their own, and all of the farm for those who read records."""
    rows = Packet.objects.for_farm(member.farm).select_related("asked_by").order_by("-id")
    return rows if member.can(Can.READ_RECORDS) else rows.filter(asked_by_id=member.person_id)


def packet(member: Member, packet_id: int) -> Packet:
    """One packet; ``Unknown`` when it is not theirs to fetch."""
    row: Packet = one(packets(member).filter(pk=packet_id))
    return row


def unfinished(farm: Farm, now: datetime) -> QuerySet[Packet]:
    """Packets to be made that nobody is making, oldest first."""
    free = Q(claimed_until=None) | Q(claimed_until__lte=now)
    rows = Packet.objects.for_farm(farm).filter(free, state__in=[PacketState.WAITING, PacketState.MAKING])
    return rows.order_by("id")


def over(farm: Farm, now: datetime) -> QuerySet[Packet]:
    """Packets whose files have been kept long enough."""
    return Packet.objects.for_farm(farm).filter(state=PacketState.READY, expires_at__lte=now).order_by("id")


def products(farm: Farm) -> list[tuple[int, str]]:
    """Everything that was ever sprayed here, for a choice."""
    return list(Product.objects.for_farm(farm).order_by("name").values_list("pk", "name"))


def any_unfinished(farm: Farm) -> bool:
    """Whether a packet waits or is being made."""
    return Packet.objects.for_farm(farm).filter(state__in=[PacketState.WAITING, PacketState.MAKING]).exists()


def next_expiry(farm: Farm) -> datetime | None:
    """When the next files are to be taken away."""
    found: datetime | None = (
        Packet.objects.for_farm(farm).filter(state=PacketState.READY).aggregate(first=Min("expires_at"))["first"]
    )
    return found


# ---- what goes in ----------------------------------------------------------------------


def last_seq(farm: Farm) -> int:
    """The newest record there is; a packet holds nothing newer, whatever is signed while it is made."""
    return SprayRecord.objects.for_farm(farm).aggregate(last=Max("seq"))["last"] or 0


def chosen(farm: Farm, ask: Ask, last: int) -> list[int]:
    """Keys of the records, in the order of the sprays and of their versions. All versions of a job go together.

    A corrected job is looked for in each of its versions: what was moved to another day or block is still found
    under the old one.
    """
    jobs = set(_jobs(farm, ask).values_list("pk", flat=True)) | _corrected(farm, ask, last)
    rows = SprayRecord.objects.for_farm(farm).filter(seq__lte=last)
    rows = rows.annotate(sprayed_at=Coalesce("job__started_at", "job__window_starts_at"))
    found = rows.order_by("sprayed_at", "job__number", "edition").values_list("pk", "job_id")
    return [pk for pk, job in found.iterator(chunk_size=2000) if job in jobs]


def _jobs(farm: Farm, ask: Ask) -> QuerySet[Job]:
    rows = Job.objects.for_farm(farm).annotate(sprayed_at=Coalesce("started_at", "window_starts_at"))
    rows = Period(first_on=ask.first_on, last_on=ask.last_on).within(rows, "sprayed_at", farm.time_zone)
    if ask.block_id is not None:
        rows = rows.filter(job_blocks__block_id=ask.block_id)
    if ask.product_id is not None:
        rows = rows.filter(job_products__product_id=ask.product_id)
    return rows


def _corrected(farm: Farm, ask: Ask, last: int) -> set[int]:
    """Jobs of which some version was within what is asked for."""
    many = SprayRecord.objects.for_farm(farm).filter(seq__lte=last, edition__gt=1).values("job_id")
    rows = SprayRecord.objects.for_farm(farm).filter(seq__lte=last, job_id__in=many).values_list("job_id", "body_text")
    return {job for job, text in rows.iterator(chunk_size=CHUNK) if _within(farm, ask, json.loads(text)["content"])}


def _within(farm: Farm, ask: Ask, content: Mapping[str, Any]) -> bool:
    sprayed = instant(content.get("started_at") or content["job"]["window_starts_at"])
    day = clock.to_local(sprayed, farm.time_zone).date() if sprayed else None
    return (
        day is not None
        and (ask.first_on is None or day >= ask.first_on)
        and (ask.last_on is None or day <= ask.last_on)
        and (ask.block_id is None or any(b.get("block_id") == ask.block_id for b in content["blocks"]))
        and (ask.product_id is None or any(p.get("product_id") == ask.product_id for p in content["products"]))
    )


def records(farm: Farm, keys: Sequence[int]) -> Iterator[SprayRecord]:
    """These records in this order, ``CHUNK`` of them in memory."""
    return _few_at_a_time(SprayRecord.objects.for_farm(farm), keys)


def _few_at_a_time(rows: QuerySet[Any], keys: Sequence[int]) -> Iterator[Any]:
    for start in range(0, len(keys), CHUNK):
        part = keys[start : start + CHUNK]
        found = rows.in_bulk(part)
        yield from (found[key] for key in part)


def replaced(farm: Farm, last: int) -> dict[int, int]:
    """Record -> the record that stands in its place; corrections only, so few."""
    rows = SprayRecord.objects.for_farm(farm).filter(seq__lte=last).exclude(supersedes=None)
    return dict(rows.values_list("supersedes__seq", "seq"))


def without_record(farm: Farm, ask: Ask) -> list[Job]:
    """Jobs of these days that were sprayed, or may have been, and have no signed record, oldest first."""
    now_open = Q(state__in=[JobState.SPRAYING, JobState.SPRAYED]) | Q(doubt=True)
    wanted = _jobs(farm, ask).filter(now_open).values("pk")
    return list(spraying.jobs(farm).filter(pk__in=wanted).order_by("window_starts_at", "id"))


def brought_keys(farm: Farm, ask: Ask) -> list[int]:
    """Keys of the applications of these days that were brought in from a file, oldest first; nobody signed them."""
    rows = Period(first_on=ask.first_on, last_on=ask.last_on).within(
        bringing.brought(farm), "started_at", farm.time_zone
    )
    if ask.block_id is not None:
        rows = rows.filter(block_id=ask.block_id)
    if ask.product_id is not None:
        rows = rows.filter(product_id=ask.product_id)
    return list(rows.values_list("pk", flat=True))


def brought(farm: Farm, keys: Sequence[int]) -> Iterator[BroughtSpray]:
    """These applications in this order, ``CHUNK`` of them in memory."""
    return _few_at_a_time(bringing.brought(farm), keys)


# ---- the chain -------------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Proof:
    """The farm's chain up to a record: how many there are, the hash of the last, the first fault."""

    records: int
    head: str
    fault: Fault | None


def prove(farm: Farm, last: int) -> Proof:
    """Walk the chain from its first record through ``last``, one record in memory at a time."""
    seen: list[str] = [GENESIS]
    columns = ("seq", "prev_hash", "hash", "body_text")
    rows = SprayRecord.objects.for_farm(farm).filter(seq__lte=last).order_by("seq", "pk").values_list(*columns)

    def walk() -> Iterator[RecordFacts]:
        for seq, prev_hash, found, text in rows.iterator(chunk_size=CHUNK):
            seen[:] = [found]
            yield RecordFacts(seq=seq, prev_hash=prev_hash, hash=found, body_text=text)

    fault = first_fault(walk())
    return Proof(records=rows.count(), head="" if fault else seen[0], fault=fault)


def is_current_spray(record: SprayRecord, replaced_by: Mapping[int, int]) -> bool:
    """Whether a record says that something was put out and nothing stands in its place."""
    return record.meaning == Meaning.APPLIED and record.seq not in replaced_by
