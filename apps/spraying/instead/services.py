"""Taking over a suggestion: the draft is changed as suggested, or not at all."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.people.queries import Member
from apps.spraying import checking
from apps.spraying.models import Job
from apps.spraying.services import edit_job
from farmops.errors import BadInput, Refused, gettext_noop, refusals

ADOPTABLE = (
    "blocks",
    "products",
    "window_starts_at",
    "window_ends_at",
    "spray_gpa",
    "applicator_id",
    "supervisor_id",
    "expected_wind_mph",
    "expected_high_f",
    "expected_dry_hours",
)
"""What a way out may change of a plan (``adopting.plan_of``)."""


@transaction.atomic
def adopt_way(*, member: Member, job_id: int, expected_version: int, plan: Mapping[str, Any], now: datetime) -> Job:
    """Change a draft as one of its ways out says. ``plan``: some of the inputs of ``plan_job``, see ``ADOPTABLE``.

    The changed plan is checked on the facts of now: while anything refuses it ``Refused`` names every reason and
    nothing is written, as with ``BadInput`` for a window that is over by now. ``Stale`` when the job was changed since
    the way out was read.
    """
    wrong = {name: gettext_noop("A suggestion does not change this.") for name in plan if name not in ADOPTABLE}
    if wrong or not plan:
        raise BadInput(wrong or {"plan": gettext_noop("Send the changes of one suggestion.")})
    job = edit_job(member=member, job_id=job_id, expected_version=expected_version, changes=plan, now=now)
    blocks = checking.check_job(job, checking.planned(job, now))
    if stands := refusals(checking.flat(blocks)):
        raise Refused(stands)
    audit.record(farm=job.farm, actor=member, verb="took over a suggestion for", subject=job, now=now, after=dict(plan))
    return job
