"""Planned jobs follow the ground when blocks are split or merged.

A job that was sprayed keeps the block it was sprayed on; its closures go over to what became of it. A job that is
still to be done is laid on the new blocks, acre for acre.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal

from django.db.models import F

from apps.audit import services as audit
from apps.land.models import Block
from apps.land.rules import share_of
from apps.people.models import Farm
from apps.people.queries import Member
from apps.spraying.models import Job, JobBlock
from apps.spraying.rules.states import JobState
from farmops.units import round_down

TO_DO = (JobState.DRAFT, JobState.ASSIGNED)


def follow_ground(*, member: Member, farm: Farm, pairs: Sequence[tuple[Block, Block]], now: datetime) -> None:
    """Lay every job that is still to be done on the new blocks; the check runs again when it is started."""
    children: dict[int, list[Block]] = {}
    for parent, child in pairs:
        children.setdefault(parent.pk, []).append(child)
    rows = JobBlock.objects.for_farm(farm).filter(block_id__in=children, job__state__in=TO_DO)
    for row in rows.select_related("block", "job").order_by("pk"):
        _lay_on(row, children[row.block_id], farm)
        Job.objects.for_farm(farm).filter(pk=row.job_id).update(version=F("version") + 1)
        after = {"from": str(row.block), "to": [str(b) for b in children[row.block_id]]}
        audit.record(farm=farm, actor=member, verb="followed the ground", subject=row.job, now=now, after=after)


def _lay_on(row: JobBlock, children: Sequence[Block], farm: Farm) -> None:
    for child, acres in _spread(row, children):
        same = JobBlock.objects.for_farm(farm).filter(job_id=row.job_id, block=child)
        if same.update(planned_acres=F("planned_acres") + acres):
            continue
        JobBlock.objects.add(
            farm=farm,
            job_id=row.job_id,
            block=child,
            zone=row.zone,
            site_code=row.site_code,
            crop_name=row.crop_name,
            planned_acres=acres,
        )
    JobBlock.objects.for_farm(farm).filter(pk=row.pk).delete()


def _spread(row: JobBlock, children: Sequence[Block]) -> list[tuple[Block, Decimal]]:
    """The planned acres by each new block's share of the old one; the last takes what rounding leaves."""
    shares = [share_of(row.block.polygon, child.polygon) for child in children]
    whole = sum(shares) or Decimal(1)
    acres = [round_down(row.planned_acres * share / whole, 4) for share in shares]
    acres[-1] += row.planned_acres - sum(acres)
    return [(child, part) for child, part in zip(children, acres, strict=True) if part > 0]
