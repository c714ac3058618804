"""A farm's book with many signed records: one is signed as people sign, the others are written like it.

The chain is a real one. The copies skip the services, which would need minutes for thousands of sprays.
"""

from __future__ import annotations

import json
from datetime import datetime, timedelta
from types import SimpleNamespace

from apps.people.models import Farm
from apps.people.queries import active_member_for_person
from apps.spraying.models import Job, JobBlock, JobProduct, SprayRecord
from apps.spraying.rules.record import canonical, chain_hash, content_hash
from tests.factories.people import FarmFactory, MembershipFactory, PersonFactory
from tests.factories.spraying import SIGNED, bench_for

ONE_EVERY = timedelta(minutes=37)


def long_book(records: int) -> tuple[Farm, datetime]:
    """A farm with so many signed records, and the instant its first one was signed."""
    farm = FarmFactory(slug="long-book", name="Long Book Farm")
    people = {}
    for role, name in (("manager", "Ines Prado"), ("applicator", "Luis Mora")):
        person = PersonFactory(full_name=name)
        columns = {"is_manager": role == "manager", "is_applicator": role == "applicator", "is_staff_member": False}
        MembershipFactory(farm=farm, person=person, **columns)
        people[role] = active_member_for_person(farm, person.pk)
    bench = bench_for(SimpleNamespace(farm=farm, **people))
    first = bench.signed()
    _copies(first, records - 1)
    return farm, SIGNED


def _copies(first: SprayRecord, count: int) -> None:
    body, job = json.loads(first.body_text), Job.objects.for_farm(first.farm).get(pk=first.job_id)
    lines = list(job.job_blocks.all()), list(job.job_products.all())
    made: list[SprayRecord] = []
    prev = first.hash
    for n in range(1, count + 1):
        job.pk, job.number = None, n + 1
        for name in ("window_starts_at", "window_ends_at", "started_at", "ended_at", "finished_at"):
            setattr(job, name, getattr(job, name) + ONE_EVERY)
        job._state.adding = True
        job.save(force_insert=True)
        _lines(job, *lines)
        body["seq"] = n + 1
        content = body["content"]
        content["job"] |= {"id": job.pk, "number": job.number}
        for name in ("started_at", "ended_at"):
            content[name] = getattr(job, name)
        body["signature"]["shown_hash"] = content_hash(content)
        text = canonical(body)
        digest = chain_hash(prev, text)
        made.append(_row(first, job, n + 1, prev, digest, text))
        prev = digest
        if len(made) == 500:
            SprayRecord.rows.bulk_create(made)
            made.clear()
    SprayRecord.rows.bulk_create(made)


def _lines(job: Job, blocks: list[JobBlock], products: list[JobProduct]) -> None:
    for row in (*blocks, *products):
        row.pk, row.job = None, job
        row._state.adding = True
        row.save(force_insert=True)


def _row(first: SprayRecord, job: Job, seq: int, prev: str, digest: str, text: str) -> SprayRecord:
    return SprayRecord(
        farm=first.farm,
        job=job,
        seq=seq,
        prev_hash=prev,
        hash=digest,
        body_text=text,
        meaning=first.meaning,
        signed_by=first.signed_by,
        signed_at=first.signed_at,
    )
