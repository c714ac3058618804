"""Pages: the first evening a job may go, and what its pages show about what to do instead."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext_noop

from apps.people.queries import Member
from apps.people.rules import Can
from apps.spraying import queries
from apps.spraying.instead.api import days_asked
from apps.spraying.instead.queries import Instead, first_evening, instead_of
from apps.spraying.instead.serializers import AdoptIn
from apps.spraying.instead.services import adopt_way
from apps.spraying.models import Job
from apps.spraying.rules import check
from apps.spraying.rules.states import JobState
from farmops.errors import BadInput, needing_reason
from farmops.web import FarmPage, FormPage


class AdoptForm(forms.Form):
    """One suggestion as the page sent it out."""

    version = forms.IntegerField(widget=forms.HiddenInput, min_value=1)
    plan = forms.JSONField(widget=forms.HiddenInput, max_length=20_000)


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


class AdoptWay(FormPage):
    """The ways out of a draft, each with the button that takes it over."""

    needs = {"GET": Can.PLAN_JOBS, "POST": Can.PLAN_JOBS}
    template_name = "spraying/adopt.html"
    done = gettext_noop("The plan is changed as suggested.")

    def form(self, data: Any = None) -> AdoptForm:
        return AdoptForm(data)

    def context(self) -> dict[str, Any]:
        row = queries.job(self.farm, self.kwargs["job"])
        return {"job": row, "instead": ways_shown(row, self.member, self.now), "adopt_url": self.request.path}

    def act(self, cleaned: dict[str, Any]) -> str:
        shape = AdoptIn(data=cleaned, context={"farm": self.farm})
        if not shape.is_valid():
            raise BadInput({"plan": gettext_noop("Send the changes of one suggestion.")})
        asked, job = shape.validated_data, self.kwargs["job"]
        adopt_way(member=self.member, job_id=job, expected_version=asked["version"], plan=asked["plan"], now=self.now)
        return reverse("spraying:job", args=[self.farm.slug, job])


def ways_shown(job: Job, member: Member, now: datetime) -> Instead | None:
    """What could be done instead, for somebody who may change the plan of a job that can still be changed."""
    if job.state != JobState.DRAFT or not member.can(Can.PLAN_JOBS):
        return None
    return instead_of(job, now)
