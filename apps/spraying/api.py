"""API doors of spray jobs."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from drf_spectacular.utils import OpenApiParameter, extend_schema
from rest_framework.request import Request
from rest_framework.response import Response

from apps.equipment.queries import sprayer_facts
from apps.people.rules import Can
from apps.spraying import checking, content, mixing, queries, services, shapes
from apps.spraying import serializers as inputs
from apps.spraying.around import around
from apps.spraying.checked import check_body
from apps.spraying.filters import JobFilter
from apps.spraying.models import Job, JobStep
from apps.spraying.rules.record import Meaning
from apps.spraying.rules.signing import read_back
from apps.spraying.rules.states import JobState, open_steps, pointless
from apps.spraying.services.naming import FIELDS
from apps.spraying.services.sign import shown
from farmops import clock
from farmops.errors import BadInput, Refused, one_of, refuse
from farmops.web import FarmAPI, FarmList


def one_job(door: FarmAPI, job_id: int, status: int = 200) -> Response:
    """The job as it stands now, with the steps this member may take."""
    row = queries.job(door.farm, job_id)
    steps = open_steps(row.state, roles=door.member.roles, named=queries.names(row, door.member.person_id))
    gone = pointless(row.state, doubt=row.doubt, attested=row.not_applied_at is not None)
    shown_steps = tuple(s for s in steps if s not in gone)
    return door.show(shapes.JobDetail, shapes.job_detail(row, shown_steps), status=status)


class Jobs(FarmList):
    """Spray jobs, newest first."""

    needs = {"GET": Can.READ_JOBS, "POST": Can.PLAN_JOBS}
    serializer_class = shapes.JobOut
    queryset = Job.rows.none()
    filterset_class = JobFilter

    def rows(self) -> Any:
        return queries.jobs(self.farm)

    @extend_schema(request=inputs.JobIn, responses={201: shapes.JobDetail}, operation_id="plan_job")
    def post(self, request: Request, farm: str) -> Response:
        row = services.plan_job(member=self.member, now=self.now, **self.read(inputs.JobIn))
        return one_job(self, row.pk, 201)


class OneJob(FarmAPI):
    needs = {"GET": Can.READ_JOBS, "PATCH": Can.PLAN_JOBS}

    @extend_schema(responses=shapes.JobDetail, operation_id="read_job")
    def get(self, request: Request, farm: str, job: int) -> Response:
        return one_job(self, job)

    @extend_schema(request=inputs.JobEdit, responses=shapes.JobDetail, operation_id="edit_job")
    def patch(self, request: Request, farm: str, job: int) -> Response:
        services.edit_job(
            member=self.member,
            job_id=job,
            expected_version=self.expected_version(),
            changes=self.read(inputs.JobEdit, partial=True),
            now=self.now,
        )
        return one_job(self, job)


class CheckJob(FarmAPI):
    """Every finding on every block as of now; nothing is written."""

    needs = {"GET": Can.READ_JOBS}

    @extend_schema(responses=shapes.CheckOut, operation_id="check_job")
    def get(self, request: Request, farm: str, job: int) -> Response:
        return self.show(shapes.CheckOut, check_body(queries.job(self.farm, job), self.now))


class JobMix(FarmAPI):
    """Loads and product per load."""

    needs = {"GET": Can.READ_JOBS}

    @extend_schema(responses=shapes.MixOut, operation_id="read_job_mix")
    def get(self, request: Request, farm: str, job: int) -> Response:
        row = queries.job(self.farm, job)
        day = clock.to_local(row.window_starts_at, self.farm.time_zone).date()
        mix = mixing.mix_of(row, sprayer_facts(row.sprayer, day))
        if mix is None:
            raise refuse("mix_impossible", "The loads of this job cannot be worked out: check acres, volume and tank.")
        body = {
            "acres": mix.acres,
            "spray_gpa": mix.spray_gpa,
            "loads": mix.loads,
            "full_load_gal": f"{mix.full_load_gal.normalize():f}",
            "last_load_gal": f"{mix.plan.last_gal.normalize():f}",
            "total_gal": f"{mix.plan.total_gal.normalize():f}",
            "products": mix.products,
        }
        return self.show(shapes.MixOut, body)


class JobAround(FarmAPI):
    """The exclusion zone of the job's sprayer and the other blocks that lie in it."""

    needs = {"GET": Can.READ_JOBS}

    @extend_schema(responses=shapes.AroundOut, operation_id="read_job_surroundings")
    def get(self, request: Request, farm: str, job: int) -> Response:
        return self.show(shapes.AroundOut, around(queries.job(self.farm, job)))


class JobSteps(FarmAPI):
    """What was done with a job, oldest first."""

    needs = {"GET": Can.READ_JOBS}

    @extend_schema(responses=shapes.JobStepOut(many=True), operation_id="list_job_steps")
    def get(self, request: Request, farm: str, job: int) -> Response:
        rows: list[JobStep] = list(queries.steps_of(queries.job(self.farm, job)))
        return self.show(shapes.JobStepOut, rows, many=True)


class _Step(FarmAPI):
    """A step of a job: read the body, call the service, answer with the job."""

    def take(self, job: int, service: Callable[..., Any], shape: type[Any], **more: Any) -> Response:
        asked = self.read(shape)
        version = asked.pop("version", None)
        services_input = {**self.sorted_out(asked), **more}
        service(member=self.member, job_id=job, expected_version=version, now=self.now, **services_input)
        return one_job(self, job)

    def sorted_out(self, asked: dict[str, Any]) -> dict[str, Any]:
        return asked


class AssignJob(_Step):
    needs = {"POST": Can.ASSIGN_JOBS}

    @extend_schema(request=inputs.AssignIn, responses=shapes.JobDetail, operation_id="assign_job")
    def post(self, request: Request, farm: str, job: int) -> Response:
        return self.take(job, services.assign_job, inputs.AssignIn)


class CallOffJob(_Step):
    needs = {"POST": Can.ASSIGN_JOBS}

    @extend_schema(request=inputs.CallOffIn, responses=shapes.JobDetail, operation_id="call_off_job")
    def post(self, request: Request, farm: str, job: int) -> Response:
        return self.take(job, services.call_off, inputs.CallOffIn)


class StartJob(_Step):
    needs = {"POST": Can.SPRAY}

    @extend_schema(request=inputs.StartIn, responses=shapes.JobDetail, operation_id="start_spraying")
    def post(self, request: Request, farm: str, job: int) -> Response:
        return self.take(job, services.start_spraying, inputs.StartIn)

    def sorted_out(self, asked: dict[str, Any]) -> dict[str, Any]:
        said = {name: asked.pop(name, "") for name in ("reason", "inside_buildings")}
        return {**said, "readings": asked}


class FinishJob(_Step):
    needs = {"POST": Can.SPRAY}

    @extend_schema(request=inputs.DoneIn, responses=shapes.JobDetail, operation_id="finish_spraying")
    def post(self, request: Request, farm: str, job: int) -> Response:
        return self.take(job, services.finish_spraying, inputs.DoneIn)

    def sorted_out(self, asked: dict[str, Any]) -> dict[str, Any]:
        return {"done": {**asked, **asked.pop("end_readings", {})}}


class CorrectJob(FinishJob):
    """Report again what was done, before it is signed."""

    @extend_schema(request=inputs.CorrectIn, responses=shapes.JobDetail, operation_id="correct_finish")
    def post(self, request: Request, farm: str, job: int) -> Response:
        return self.take(job, services.correct_finish, inputs.CorrectIn)

    def sorted_out(self, asked: dict[str, Any]) -> dict[str, Any]:
        named = {name: asked.pop(name) for name in FIELDS if name in asked}
        reason = asked.pop("reason", "")
        return {**super().sorted_out(asked), "named": named, "reason": reason}


class ReportJobLate(FinishJob):
    """Report a spray that was never started here."""

    @extend_schema(request=inputs.LateIn, responses=shapes.JobDetail, operation_id="report_late")
    def post(self, request: Request, farm: str, job: int) -> Response:
        return self.take(job, services.report_late, inputs.LateIn)

    def sorted_out(self, asked: dict[str, Any]) -> dict[str, Any]:
        readings, reason = asked.pop("readings"), asked.pop("reason")
        return {**super().sorted_out(asked), "readings": readings, "reason": reason}


class ReadBackJob(FarmAPI):
    """What the caller would sign, in sentences, with what follows from it."""

    needs = {"GET": Can.SIGN}

    @extend_schema(
        parameters=[OpenApiParameter("meaning", enum=[m.value for m in Meaning], default=Meaning.APPLIED.value)],
        responses=shapes.ReadBackOut,
        operation_id="read_back_job",
    )
    def get(self, request: Request, farm: str, job: int) -> Response:
        asked = request.query_params.get("meaning", Meaning.APPLIED.value)
        if asked not in set(Meaning):
            raise BadInput({"meaning": one_of(Meaning)})
        row = queries.job(self.farm, job)
        must_be_signable(row, Meaning(asked))
        body, body_hash, signing = shown(row, self.member, Meaning(asked))
        back = read_back(body)
        today = clock.to_local(self.now, self.farm.time_zone).date()
        return self.show(
            shapes.ReadBackOut,
            {
                "meaning": asked,
                "standing": signing.standing,
                "sentences": [shapes.said(s) for s in back.sentences],
                "consequences": [shapes.said(s) for s in back.consequences],
                "statement": shapes.said(back.statement),
                "findings": [*content.flags(row), *content.since_applied(row, signing, today)],
                "body_hash": body_hash,
                "version": row.version,
            },
        )


def must_be_signable(row: Job, meaning: Meaning) -> None:
    """There is something to read back: a report to sign, or a job that may not have been sprayed."""
    if meaning is Meaning.APPLIED and row.state != JobState.SPRAYED:
        raise Refused([checking.nothing_to_sign()])
    if meaning is Meaning.VOIDED and row.state != JobState.SIGNED:
        raise Refused([checking.nothing_to_sign()])
    if meaning is Meaning.NOT_APPLIED and row.state in (JobState.DRAFT, JobState.SIGNED):
        raise Refused([checking.nothing_to_sign()])


class SignJob(_Step):
    needs = {"POST": Can.SIGN}
    key_required = frozenset({"POST"})

    @extend_schema(request=inputs.SignIn, responses={201: shapes.RecordOut}, operation_id="sign_job")
    def post(self, request: Request, farm: str, job: int) -> Response:
        return self.signed(services.sign_off, inputs.SignIn, job)

    def signed(self, service: Callable[..., Any], shape: type[Any], job: int) -> Response:
        asked = self.read(shape)
        version = asked.pop("version", None)
        record = service(member=self.member, job_id=job, expected_version=version, now=self.now, **asked)
        return self.show(shapes.RecordOut, queries.record(self.farm, record.seq), status=201)


class SignNotApplied(SignJob):
    """Sign that nothing was applied under this job."""

    @extend_schema(request=inputs.NotAppliedIn, responses={201: shapes.RecordOut}, operation_id="sign_not_applied")
    def post(self, request: Request, farm: str, job: int) -> Response:
        return self.signed(services.sign_not_applied, inputs.NotAppliedIn, job)
