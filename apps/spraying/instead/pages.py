"""Pages: the first evening a job may go, and what its pages show about what to do instead."""

from __future__ import annotations

from datetime import datetime

from django.http import HttpRequest, HttpResponse

from apps.people.queries import Member
from apps.people.rules import Can
from apps.spraying import queries
from apps.spraying.instead.api import days_asked
from apps.spraying.instead.queries import Instead, first_evening, instead_of
from apps.spraying.models import Job
from apps.spraying.rules import check
from apps.spraying.rules.states import JobState
from farmops.errors import needing_reason
from farmops.web import FarmPage


class FirstEvening(FarmPage):
    """When is the first evening this mix may go on these blocks?"""

    needs = {"GET": Can.READ_JOBS}
    template_name = "spraying/evening.html"

    def get(self, request: HttpRequest, farm: str, job: int) -> HttpResponse:
        row = queries.job(self.farm, job)
        days = days_asked(request.GET)
        found = first_evening(row, self.now, days=days)
        asks = needing_reason(check(found.opening.facts)) if found.opening else []
        return self.page({"job": row, "found": found, "asks": asks, "days": days})


def ways_shown(job: Job, member: Member, now: datetime) -> Instead | None:
    """What could be done instead, for somebody who may change the plan of a job that can still be changed."""
    if job.state != JobState.DRAFT or not member.can(Can.PLAN_JOBS):
        return None
    return instead_of(job, now)
