"""Pages of spray jobs: the list, the plan, the job, and what a manager does with it."""

from __future__ import annotations

from datetime import date
from typing import Any

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils.functional import cached_property
from django.utils.translation import gettext, gettext_noop

from apps.equipment import queries as equipment
from apps.land import queries as land
from apps.people import queries as people
from apps.people.models import Farm
from apps.people.rules import Can, Role
from apps.products.models import LabelVersion
from apps.products.queries import products, today
from apps.spraying import checking, forms, mixing, queries, services
from apps.spraying.around import around
from apps.spraying.facts import settings_of, versions_for
from apps.spraying.inputs import EXPECTED
from apps.spraying.instead.drafts import unsaved_job
from apps.spraying.instead.pages import ways_shown
from apps.spraying.instead.queries import instead_of
from apps.spraying.models import Job
from apps.spraying.policies.forms import SpraySettingsForm
from apps.spraying.policies.queries import limits_shown
from apps.spraying.rules.states import STATE_NAMES, STEP_NAMES, JobState, Step, open_steps, pointless
from apps.work.forms import local
from farmops import clock
from farmops.errors import BadInput, needing_reason, refusals
from farmops.web import FarmPage, FormPage, put_errors

# step -> (page, words on its button)
ACTIONS = {
    Step.ASSIGN: ("assign", gettext_noop("Check and assign")),
    Step.START: ("start", gettext_noop("Start spraying")),
    Step.FINISH: ("finish", gettext_noop("Finish spraying")),
    Step.SIGN: ("sign", gettext_noop("Read back and sign")),
    Step.EDIT: ("edit", gettext_noop("Change the plan")),
    Step.CALL_OFF: ("call_off", gettext_noop("Call off")),
    Step.CORRECT: ("correct", gettext_noop("Correct what was reported")),
    Step.REPORT_LATE: ("report_late", gettext_noop("It was sprayed without being started here")),
    Step.NOT_APPLIED: ("not_applied", gettext_noop("Sign that nothing was applied")),
    Step.AMEND: ("amend", gettext_noop("Correct the signed record")),
    Step.VOID: ("void", gettext_noop("Withdraw the signature")),
}
UNSPRAYED = (JobState.DRAFT, JobState.ASSIGNED, JobState.SPRAYING)
FIRST = (Step.ASSIGN, Step.START, Step.FINISH, Step.SIGN)


def decorated(job: Job) -> Job:
    """The job with the words a page shows for its state."""
    job.state_name = STATE_NAMES[JobState(job.state)]  # type: ignore[attr-defined]
    return job


class Jobs(FarmPage):
    """What needs somebody first, then what is over."""

    needs = {"GET": Can.READ_JOBS}
    template_name = "spraying/jobs.html"

    def get(self, request: HttpRequest, farm: str) -> HttpResponse:
        mine = not self.member.can(Can.PLAN_JOBS)
        found = queries.jobs_by_time(self.farm)
        over = queries.jobs(self.farm).filter(state__in=[JobState.SIGNED, JobState.CALLED_OFF], doubt=False)
        if mine:
            named = queries.jobs_naming(self.farm, self.member.person_id).values("pk")
            found, over = found.filter(pk__in=named), over.filter(pk__in=named)
        return self.page(
            {
                "open_jobs": [decorated(j) for j in found[:200]],
                "past_jobs": [decorated(j) for j in over[:50]],
                "mine": mine,
            }
        )


class JobPage(FarmPage):
    """Base of pages about one job."""

    def job(self) -> Job:
        return queries.job(self.farm, self.kwargs["job"])

    def steps(self, job: Job) -> list[Step]:
        """Steps this member may take now; a clean call-off leaves nothing to attest or report."""
        named = queries.names(job, self.member.person_id)
        steps = list(open_steps(job.state, roles=self.member.roles, named=named))
        gone = pointless(job.state, doubt=job.doubt, attested=job.not_applied_at is not None)
        return [s for s in steps if s not in gone]


class OneJob(JobPage):
    """The job: where it stands, the one next action for the reader, the mix, what the check said, its history."""

    needs = {"GET": Can.READ_JOBS}
    template_name = "spraying/job.html"

    def get(self, request: HttpRequest, farm: str, job: int) -> HttpResponse:
        row = decorated(self.job())
        steps = self.steps(row)
        first = next((s for s in steps if s in FIRST), Step.NOT_APPLIED if row.doubt and steps else None)
        day = clock.to_local(row.window_starts_at, self.farm.time_zone).date()
        sprayer = equipment.sprayer_facts(row.sprayer, day)
        return self.page(
            {
                "job": row,
                "yard": row.state != JobState.DRAFT and queries.names(row, self.member.person_id),
                "next_action": self._action(row, first) if first else None,
                "other_actions": [self._action(row, s) for s in steps if s is not first and s in ACTIONS],
                "mine": self._mine(row),
                "mix": mixing.mix_of(row, sprayer),
                "around": around(row) if row.state in UNSPRAYED else None,
                "labels": self._labels(row, day),
                "found": row.finish_findings or row.start_findings or row.findings,
                "instead": ways_shown(row, self.member, self.now),
                "adopt_url": reverse("spraying:adopt", args=[self.farm.slug, row.pk]),
                "edit_url": reverse("spraying:edit", args=[self.farm.slug, row.pk]) if Step.EDIT in steps else "",
                "history": [self._step(s) for s in queries.steps_of(row)],
                "record": queries.record_of(row),
            }
        )

    def _mine(self, job: Job) -> str:
        """Where somebody the job does not name puts it right that they did or supervised it."""
        signed = job.state == JobState.SIGNED or job.not_applied_at is not None
        if queries.names(job, self.member.person_id) or not self.member.can(Can.SIGN):
            return ""
        if not signed and job.state != JobState.SPRAYED:
            return ""
        return reverse("spraying:amend" if signed else "spraying:correct", args=[self.farm.slug, job.pk])

    def _action(self, job: Job, step: Step) -> dict[str, str]:
        page, words = ACTIONS[step]
        return {"url": reverse(f"spraying:{page}", args=[self.farm.slug, job.pk]), "words": words}

    def _labels(self, job: Job, day: date) -> list[LabelVersion]:
        """The label versions the job goes by, in the order of the mix; a draft by those in force on its day."""
        kept = job.state not in (JobState.DRAFT, JobState.CALLED_OFF)
        found = versions_for(job, day, kept=kept)
        return [found[row.product_id] for row in job.job_products.all() if row.product_id in found]

    def _step(self, row: Any) -> Any:
        row.name = STEP_NAMES[Step(row.step)]
        return row


class _JobForm(FormPage):
    """The form of a job's plan; farm-local times are turned into instants here."""

    needs = {"GET": Can.PLAN_JOBS, "POST": Can.PLAN_JOBS}
    template_name = "spraying/plan.html"

    def start(self) -> dict[str, Any]:
        raise NotImplementedError

    def form(self, data: Any = None) -> forms.JobForm:
        workers = applicators(self.farm)
        return forms.JobForm(
            data,
            initial=self.start(),
            blocks=[(b.pk, f"{b} ({b.planted_acres.normalize():f} acres)") for b in land.blocks(self.farm)],
            products=[(p.pk, p.name) for p in products(self.farm, today(self.farm, self.now)) if p.retired_at is None],
            sprayers=[(s.pk, s.name) for s in equipment.sprayers(self.farm) if s.retired_at is None],
            people=[(m.person_id, m.person.full_name) for m in workers],
        )

    def plan(self, data: Any) -> dict[str, Any]:
        form = self.form(data)
        form.is_valid()
        plan = form.plan()
        for name in ("window_starts_at", "window_ends_at"):
            plan[name] = clock.to_utc(plan[name], self.farm.time_zone, field=name)
        return plan

    def to_job(self, job: Job) -> str:
        return reverse("spraying:job", args=[self.farm.slug, job.pk])

    def whole_plan(self) -> dict[str, Any]:
        """The plan as typed, with whatever the form does not show."""
        return self.plan(self.request.POST)

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        """``check`` in the form: judge what is typed and save nothing."""
        form = self.form(request.POST)
        if "check" not in request.POST or not form.is_valid():
            return super().post(request, *args, **kwargs)
        try:
            job = unsaved_job(member=self.member, now=self.now, **self.whole_plan())
        except BadInput as error:
            put_errors(form, on_this_form(error))
            return self.page({"form": form, **self.context()}, status=400)
        blocks = checking.check_job(job, checking.planned(job, self.now))
        instead = instead_of(job, self.now)
        return self.page({"form": form, "checked": blocks, "instead": instead, **self.context()})


def on_this_form(error: BadInput) -> BadInput:
    """Faults of lines at the fields that show them: ``products.0.rate_amount`` is ``amount_1``."""
    parts = {"product_id": "product", "rate_amount": "amount", "rate_unit": "unit", "rate_basis": "basis"}
    found: dict[str, list[str]] = {}
    for name, said in error.errors.items():
        kind, *rest = name.split(".")
        if kind == "products" and len(rest) == 2:
            name = f"{parts[rest[1]]}_{int(rest[0]) + 1}"
        elif kind == "products":
            name = "product_1"
        elif kind == "blocks":
            name = "blocks"
        found.setdefault(name, []).extend(said)
    return BadInput(found)


class PlanJob(_JobForm):
    done = gettext_noop("The job is written down as a draft. See what the check says.")

    def start(self) -> dict[str, Any]:
        block = self.request.GET.get("block", "")
        return {"blocks": [block]} if block.isdigit() else {}

    def act(self, cleaned: dict[str, Any]) -> str:
        try:
            job = services.plan_job(member=self.member, now=self.now, **self.plan(self.request.POST))
        except BadInput as error:
            raise on_this_form(error) from None
        return self.to_job(job)


class EditJob(_JobForm):
    done = gettext_noop("The plan is changed.")

    def context(self) -> dict[str, Any]:
        return {"job": queries.job(self.farm, self.kwargs["job"])}

    def start(self) -> dict[str, Any]:
        row, zone = queries.job(self.farm, self.kwargs["job"]), self.farm.time_zone
        plain = ("sprayer_id", "applicator_id", "supervisor_id", "surfactant", "notes", "version")
        numbers = {name: getattr(row, name) for name in ("spray_gpa", "water_ph", *EXPECTED)}
        lines = {}
        for n, line in enumerate(row.job_products.all(), start=1):
            lines |= {
                f"product_{n}": line.product_id,
                f"amount_{n}": f"{line.rate_amount.normalize():f}",
                f"unit_{n}": line.rate_unit,
                f"basis_{n}": line.rate_basis,
            }
        return {
            **{name: getattr(row, name) for name in plain},
            **lines,
            **{name: "" if value is None else f"{value.normalize():f}" for name, value in numbers.items()},
            "targets": ", ".join(t.replace("_", " ") for t in row.targets),
            "blocks": [b.block_id for b in row.job_blocks.all()],
            "window_starts_at": local(row.window_starts_at, zone),
            "window_ends_at": local(row.window_ends_at, zone),
        }

    def _keep_what_is_not_shown(self, plan: dict[str, Any], job: Job) -> None:
        """Acres and parts of blocks, and products beyond the fourth, stay as they are."""
        kept = {row.block_id: row for row in job.job_blocks.all()}
        for line in plan["blocks"]:
            if row := kept.get(line["block_id"]):
                line |= {"planned_acres": row.planned_acres, "zone": row.zone}
        parts = ("product_id", "rate_amount", "rate_unit", "rate_basis")
        more = list(job.job_products.all())[len(forms.LINES) :]
        plan["products"] += [{name: getattr(row, name) for name in parts} for row in more]

    def whole_plan(self) -> dict[str, Any]:
        plan = super().whole_plan()
        self._keep_what_is_not_shown(plan, queries.job(self.farm, self.kwargs["job"]))
        return plan

    def act(self, cleaned: dict[str, Any]) -> str:
        plan = self.whole_plan()
        try:
            job = services.edit_job(
                member=self.member,
                job_id=self.kwargs["job"],
                expected_version=cleaned["version"] or 0,
                changes=plan,
                now=self.now,
            )
        except BadInput as error:
            raise on_this_form(error) from None
        return self.to_job(job)


def applicators(farm: Farm) -> list[Any]:
    """Who works here as an applicator, for a choice."""
    return [m for m in people.members(farm) if m.active and Role.APPLICATOR in m.roles]


class StepPage(FormPage, JobPage):
    """Base of pages that take one step of a job: not shown where the step is not possible."""

    step: Step

    def get(self, request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        services.must_be_possible(self.job(), self.step, self.member)
        return super().get(request, *args, **kwargs)

    def context(self) -> dict[str, Any]:
        return {"job": decorated(self.job())}

    def to_job(self) -> str:
        return reverse("spraying:job", args=[self.farm.slug, self.kwargs["job"]])


class AssignJob(StepPage):
    """Everything the check says now, a box for the reason, and the button."""

    needs = {"GET": Can.ASSIGN_JOBS, "POST": Can.ASSIGN_JOBS}
    template_name = "spraying/assign.html"
    step = Step.ASSIGN
    done = gettext_noop("The job is assigned. The applicator is told and the blocks will close for the window.")

    @cached_property
    def judged(self) -> dict[str, Any]:
        """The job and what the check says about it now, worked out once for form and page."""
        job = decorated(self.job())
        blocks = checking.check_job(job, checking.planned(job, self.now))
        found = [*checking.before_assigning(job, self.now), *checking.flat(blocks)]
        return {
            "job": job,
            "said": found,
            "stopped": bool(refusals(found)),
            "asks_reason": bool(needing_reason(found)),
            "instead": instead_of(job, self.now) if refusals(checking.flat(blocks)) else None,
            "adopt_url": reverse("spraying:adopt", args=[self.farm.slug, job.pk])
            if self.member.can(Can.PLAN_JOBS)
            else "",
        }

    def form(self, data: Any = None) -> forms.AssignForm:
        form = forms.AssignForm(data, initial={"version": self.judged["job"].version})
        form.fields["reason"].required = self.judged["asks_reason"] and not self.judged["stopped"]
        return form

    def context(self) -> dict[str, Any]:
        return self.judged

    def act(self, cleaned: dict[str, Any]) -> str:
        services.assign_job(
            member=self.member,
            job_id=self.kwargs["job"],
            reason=cleaned["reason"],
            expected_version=cleaned["version"],
            now=self.now,
        )
        return self.to_job()


class CallOffJob(StepPage):
    needs = {"GET": Can.ASSIGN_JOBS, "POST": Can.ASSIGN_JOBS}
    template_name = "spraying/call_off.html"
    step = Step.CALL_OFF

    def form(self, data: Any = None) -> forms.CallOffForm:
        return forms.CallOffForm(data, initial={"version": self.job().version})

    def act(self, cleaned: dict[str, Any]) -> str:
        job = services.call_off(
            member=self.member,
            job_id=self.kwargs["job"],
            reason=cleaned["reason"],
            expected_version=cleaned["version"],
            now=self.now,
        )
        if job.doubt:
            messages.warning(
                self.request,
                gettext("Called off. The blocks stay closed until the applicator signs that nothing was applied."),
            )
        else:
            messages.success(self.request, gettext("The job is called off."))
        return self.to_job()


class SpraySettingsPage(FormPage):
    needs = {"GET": Can.EDIT_FARM, "POST": Can.EDIT_FARM}
    template_name = "spraying/settings.html"
    done = gettext_noop("The spray settings are changed.")

    def form(self, data: Any = None) -> SpraySettingsForm:
        row = settings_of(self.farm)
        form = SpraySettingsForm(data)
        form.initial = {name: getattr(row, name) for name in form.fields}
        form.initial |= {limit.name: limit.value if limit.own else "" for limit in limits_shown(row)}
        return form

    def act(self, cleaned: dict[str, Any]) -> str:
        version = cleaned.pop("version")
        services.set_spray_settings(member=self.member, expected_version=version, changes=cleaned, now=self.now)
        return reverse("spraying:settings", args=[self.farm.slug])
