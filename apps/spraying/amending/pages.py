"""Pages of corrections: correct and sign again, withdraw a signature, see editions side by side, ask."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.translation import gettext_noop

from apps.land import queries as land
from apps.people.rules import Can
from apps.products.queries import products, today
from apps.spraying import content, queries
from apps.spraying import services as spraying
from apps.spraying.amending import forms, services
from apps.spraying.amending import queries as amending
from apps.spraying.amending.rules import ASKED_NAMES, Asked
from apps.spraying.amending.serializers import change_words
from apps.spraying.field_pages import CorrectJob, NotAppliedPage
from apps.spraying.forms import ReadingsForm
from apps.spraying.models import Job
from apps.spraying.pages import decorated
from apps.spraying.rules.record import Meaning
from apps.spraying.rules.states import JobState, Step
from apps.work.forms import local
from farmops.errors import refuse
from farmops.web import FarmPage, FormPage


class AmendPage(CorrectJob):
    """The signed facts filled in; whatever is changed is unsigned until the read-back that follows is signed."""

    needs = {"GET": Can.SIGN, "POST": Can.SIGN}
    template_name = "spraying/amend.html"
    step = Step.AMEND
    done = gettext_noop("Written down. The blocks stay closed until you have read it back and signed.")

    def form(self, data: Any = None) -> forms.AmendForm:
        job = self.job()
        if queries.names(job, self.member.person_id):
            content.signing_of(job, self.member)
        if job.state == JobState.CALLED_OFF and job.not_applied_at is None:
            raise refuse("nothing_signed", gettext_noop("Nothing is signed here yet: report it instead."))
        there = {row.block_id for row in job.job_blocks.all()}
        mixed = {row.product_id for row in job.job_products.all()}
        return forms.AmendForm(
            data,
            initial=self.start(job),
            job=job,
            people=self.applicators(),
            twice=False,
            readings_needed=not job.start_readings,
            blocks=[(b.pk, str(b)) for b in land.blocks(self.farm) if b.pk not in there],
            products=[(p.pk, p.name) for p in products(self.farm, today(self.farm, self.now)) if p.pk not in mixed],
        )

    def start(self, job: Job) -> dict[str, Any]:
        if job.ended_at is None:
            return {"version": job.version, "started_at": local(job.started_at, self.farm.time_zone)}
        return super().start(job)

    def context(self) -> dict[str, Any]:
        return {**super().context(), "job": self.job()}

    def report(self, form: Any, done: dict[str, Any], version: int) -> None:
        typed = form.cleaned_data
        needed = "wind_mph" in form.fields
        services.amend_job(
            member=self.member,
            job_id=self.kwargs["job"],
            done=done,
            reason=typed["reason"],
            named=form.named(),
            readings={name: typed[name] for name in ReadingsForm.base_fields} if needed else None,
            expected_version=version,
            now=self.now,
        )


class VoidPage(NotAppliedPage):
    """Withdraw the signature: read back what that means, say why, prove who you are."""

    template_name = "spraying/void.html"
    step = Step.VOID
    meaning = Meaning.VOIDED

    def form(self, data: Any = None) -> forms.VoidForm:
        read = self.read()
        return forms.VoidForm(data, initial={"version": read["job"].version, "body_hash": read["body_hash"]})

    def act(self, cleaned: dict[str, Any]) -> str:
        record = spraying.void_signature(member=self.member, reason=cleaned["reason"], **self.signature(cleaned))
        return reverse("spraying:editions", args=[self.farm.slug, record.job_id])


class Editions(FarmPage):
    """Every edition of a record, and beside each what it changed."""

    needs = {"GET": Can.READ_RECORDS}
    template_name = "spraying/editions.html"

    def get(self, request: HttpRequest, farm: str, job: int) -> HttpResponse:
        row = decorated(queries.job(self.farm, job))
        found = [(e, [change_words(c) for c in e.changes]) for e in reversed(amending.side_by_side(row))]
        asked = [named(r) for r in amending.requests(self.farm).filter(job=row)]
        return self.page({"job": row, "editions": found, "requests": asked, "open": row.state == JobState.SPRAYED})


def named(row: Any) -> Any:
    """A request with the words for where it stands."""
    row.state_name = ASKED_NAMES[Asked(row.state)]
    return row


class AskPage(FormPage):
    """A manager asks; the record changes only by the applicator's signature."""

    needs = {"GET": Can.ASSIGN_JOBS, "POST": Can.ASSIGN_JOBS}
    template_name = "spraying/ask_correction.html"
    done = gettext_noop("The applicator is told. The record changes only when it is corrected and signed.")

    def form(self, data: Any = None) -> forms.AskForm:
        return forms.AskForm(data)

    def context(self) -> dict[str, Any]:
        return {"job": decorated(queries.job(self.farm, self.kwargs["job"]))}

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        queries.job(self.farm, kwargs["job"])
        return super().get(request, *args, **kwargs)

    def act(self, cleaned: dict[str, Any]) -> str:
        services.ask_correction(member=self.member, job_id=self.kwargs["job"], words=cleaned["words"], now=self.now)
        return reverse("spraying:editions", args=[self.farm.slug, self.kwargs["job"]])


class DeclinePage(FormPage):
    needs = {"GET": Can.SIGN, "POST": Can.SIGN}
    template_name = "spraying/decline_correction.html"
    done = gettext_noop("Answered. The manager is told.")

    def form(self, data: Any = None) -> forms.DeclineForm:
        return forms.DeclineForm(data)

    def context(self) -> dict[str, Any]:
        return {"asked": amending.request_in(self.farm, self.kwargs["asked"])}

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        amending.request_in(self.farm, kwargs["asked"])
        return super().get(request, *args, **kwargs)

    def act(self, cleaned: dict[str, Any]) -> str:
        row = services.decline_correction(
            member=self.member, request_id=self.kwargs["asked"], reason=cleaned["reason"], now=self.now
        )
        return reverse("spraying:editions", args=[self.farm.slug, row.job_id])
