"""In the field: start, finish, correct what was reported, report what was never started here."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from django.db import transaction

from apps.people.queries import Member
from apps.spraying import checking, ground
from apps.spraying.models import Job, JobStep
from apps.spraying.reports import Done, Readings, read_done, read_readings, stored_readings
from apps.spraying.rules.outcome import Claim, agree, early_start
from apps.spraying.rules.states import JobState, Step
from apps.spraying.services.assign import fix_labels
from apps.spraying.services.moves import (
    JOB_FINISHED,
    JOB_OVER_LABEL,
    locked,
    managers,
    move,
    needed_text,
    tell,
)
from apps.spraying.services.naming import Named, rename, speakers, tell_renamed
from apps.spraying.services.plan import note_ground
from apps.weather.services import record_reading
from farmops.errors import Refused, Severity, gettext_noop, needing_reason, refusals
from farmops.wording import stamp

REPORTS = (Step.FINISH, Step.CORRECT, Step.REPORT_LATE, Step.AMEND)


@transaction.atomic
def start_spraying(
    *,
    member: Member,
    job_id: int,
    readings: Mapping[str, Any],
    inside_buildings: str = "",
    reason: str = "",
    expected_version: int | None = None,
    now: datetime,
) -> Job:
    """Begin: the press stamps the time. Every gate runs again with what was just read in the field.

    ``readings``: ``wind_mph``, ``temperature_f``, ``humidity_percent``, optional ``gust_mph``, ``wind_from``. A refusal
    stops it; what newly needs a reason needs one here. ``inside_buildings``: who is in closed buildings in the zone
    (``nobody``, ``family``, ``others``); kept with the step. The blocks change from planned to underway.
    """
    job = locked(member, job_id, Step.START, expected_version=expected_version)
    read = read_readings(readings, taken_at=now)
    zone = ground.lock_blocks(job)
    blocks = checking.check_job(job, checking.starting(job, read.weather(), now))
    findings = checking.flat(blocks) + early_start(
        job.window_starts_at, now, stamp(job.window_starts_at, job.farm.time_zone)
    )
    people = ground.people_inside(job, zone, now)
    findings += people + ground.buildings_asked(job, inside_buildings) + ground.signs_missing(job)
    if refusals(findings):
        raise Refused(findings)
    unanswered = checking.unanswered(blocks, job.findings) + needing_reason(people)
    why = reason.strip()
    if unanswered and len(why) < 5:
        raise Refused([checking.reason_missing(), *unanswered])
    fix_labels(job, now)
    note_ground(job, blocks)
    changes = {
        "started_at": now,
        "start_readings": read.as_json(),
        "start_findings": checking.snapshot(blocks),
    }
    details = {"readings": read.as_json(), "inside_buildings": inside_buildings}
    move(job, Step.START, member=member, now=now, changes=changes, note=why, happened_at=now, details=details)
    _keep_reading(job, read, member, now)
    ground.close_for_start(job, zone, member=member, now=now)
    return job


def _keep_reading(job: Job, read: Readings, member: Member, now: datetime) -> None:
    """What was read in the field stands in the weather book too, on the block if there is only one."""
    if read.wind_mph is None:
        return
    rows = list(job.job_blocks.all())
    record_reading(
        member=member,
        taken_at=read.taken_at,
        wind_mph=read.wind_mph,
        gust_mph=read.gust_mph,
        wind_from=read.wind_from,
        temperature_f=read.temperature_f,
        humidity_percent=read.humidity_percent,
        block_id=rows[0].block_id if len(rows) == 1 else None,
        note=f"spray {job}",
        now=now,
    )


@transaction.atomic
def finish_spraying(
    *, member: Member, job_id: int, done: Mapping[str, Any], expected_version: int | None = None, now: datetime
) -> Job:
    """Report what was done; see ``reports.read_done`` for its shape. The blocks stay closed until it is signed."""
    job = locked(member, job_id, Step.FINISH, expected_version=expected_version)
    return report(job, Step.FINISH, member, read_done(job, done, now=now), now=now)


@transaction.atomic
def correct_finish(
    *,
    member: Member,
    job_id: int,
    done: Mapping[str, Any],
    named: Named | None = None,
    reason: str = "",
    expected_version: int | None = None,
    now: datetime,
) -> Job:
    """Report again before signing: what was reported first stays among the steps.

    ``named`` (``applicator_id``, ``supervisor_id``) puts right who did or supervised it, with a ``reason``: by who was
    wrongly named, or by who really did.
    """
    job = locked(
        member, job_id, Step.CORRECT, expected_version=expected_version, speakers=lambda found: speakers(found, named)
    )
    typed = read_done(job, done, now=now)
    renamed = rename(job, named, member)
    if renamed is None:
        return report(job, Step.CORRECT, member, typed, now=now, note=reason.strip())
    why = needed_text(reason, "reason", gettext_noop("Say why somebody else is named."))
    more, details = renamed.changes, renamed.details
    job = report(job, Step.CORRECT, member, typed, now=now, note=why, more=more, details=details)
    tell_renamed(renamed, why, member=member, now=now)
    return job


@transaction.atomic
def report_late(
    *,
    member: Member,
    job_id: int,
    readings: Mapping[str, Any],
    done: Mapping[str, Any],
    reason: str,
    expected_version: int | None = None,
    now: datetime,
) -> Job:
    """Report a spray that was never started here (no phone, called off too late): the truth must be recordable."""
    job = locked(member, job_id, Step.REPORT_LATE, expected_version=expected_version)
    if job.not_applied_at is not None:
        template = gettext_noop(
            "It is signed that nothing was applied. What is signed is corrected, not reported again."
        )
        raise Refused([checking.refusal("signed_not_applied", template)])
    why = needed_text(reason, "reason", gettext_noop("Say why it is reported only now."))
    typed = read_done(job, done, now=now)
    read = read_readings(readings, taken_at=typed.started_at)
    fix_labels(job, typed.started_at, only_missing=True)
    job.start_readings = read.as_json()
    _keep_reading(job, read, member, now)
    return report(job, Step.REPORT_LATE, member, typed, now=now, note=why, more={"start_readings": read.as_json()})


def report(
    job: Job,
    step: Step,
    member: Member,
    done: Done,
    *,
    now: datetime,
    note: str = "",
    more: Mapping[str, Any] | None = None,
    details: Mapping[str, Any] | None = None,
) -> Job:
    """Write what was done, judge it, keep the blocks closed as unconfirmed, and tell the managers."""
    was, started_before = job.state, job.started_at
    times = agree(
        [*_claims(job), Claim(person_id=member.person_id, started_at=done.started_at, ended_at=done.ended_at)]
    )
    job.started_at, job.ended_at, job.sprayed_gal = times.started_at, times.ended_at, done.sprayed_gal
    _write_lines(job, done)
    blocks = checking.check_job(job, checking.done(job, start_weather(job).weather(), now))
    note_ground(job, blocks)
    changes = {
        **(more or {}),
        "started_at": times.started_at,
        "ended_at": times.ended_at,
        "finished_at": now,
        "disputed": times.disputed,
        "doubt": False,
        "loads": done.loads,
        "sprayed_gal": done.sprayed_gal,
        "end_readings": done.end_readings.as_json() if done.end_readings else {},
        "deviation_reason": done.deviation_reason,
        "finish_findings": checking.snapshot(blocks),
    }
    if done.end_readings and step is not Step.CORRECT:
        _keep_reading(job, done.end_readings, member, now)
    note = "; ".join(t for t in (note, done.deviation_reason) if t)
    move(
        job,
        step,
        member=member,
        now=now,
        changes=changes,
        note=note,
        happened_at=done.ended_at,
        details={**_said(job, done), **(details or {})},
    )
    since = min(t for t in (started_before, times.started_at) if t is not None)
    ground.close_for_finish(job, since=since, first=was != JobState.SPRAYED, member=member, now=now)
    _tell_finished(job, blocks, now)
    return job


def start_weather(job: Job) -> Readings:
    """The readings taken at the start, as they stand on the job."""
    return stored_readings(job.start_readings, job.started_at)


def _claims(job: Job) -> list[Claim]:
    """What each person has said so far about start and end."""
    rows = JobStep.objects.for_farm(job.farm).filter(job=job, step__in=REPORTS).order_by("id")
    return [
        Claim(
            person_id=row.by_id,
            started_at=datetime.fromisoformat(row.details["started_at"]),
            ended_at=datetime.fromisoformat(row.details["ended_at"]),
        )
        for row in rows
    ]


def _said(job: Job, done: Done) -> dict[str, Any]:
    """The report as it is remembered with the step."""
    return {
        "started_at": done.started_at.isoformat(),
        "ended_at": done.ended_at.isoformat(),
        "loads": f"{done.loads.normalize():f}",
        "sprayed_gal": None if done.sprayed_gal is None else f"{done.sprayed_gal.normalize():f}",
        "blocks": {str(b.block): f"{done.acres[b.pk].normalize():f}" for b in job.job_blocks.all()},
        "products": {p.product.name: str(done.amounts[p.pk]) for p in job.job_products.all()},
        "deviation_reason": done.deviation_reason,
    }


def _write_lines(job: Job, done: Done) -> None:
    for row in job.job_blocks.all():
        row.treated_acres, row.part = done.acres[row.pk], done.parts[row.pk]
        row.part_note = done.part_notes[row.pk]
        row.save(update_fields=["treated_acres", "part", "part_note"])
    for line in job.job_products.all():
        used = done.amounts[line.pk]
        line.actual_amount, line.actual_unit = used.amount, used.unit
        line.save(update_fields=["actual_amount", "actual_unit"])


def _tell_finished(job: Job, blocks: tuple[checking.BlockFindings, ...], now: datetime) -> None:
    version, to = f"version {job.version}", managers(job)
    template = gettext_noop(
        "Spray job {job} on {blocks} is reported as finished {ended_at} and waits for its signature."
    )
    tell(job, JOB_FINISHED, version, to, template, now=now, ended_at=job.ended_at)
    over = [f for f in checking.flat(blocks) if f.severity is Severity.REFUSE]
    if over:
        template = gettext_noop("Spray job {job} on {blocks} was not as the label or the farm's rules allow: {what}")
        what = " ".join(f"{f.subject}: {f.sentence}" if f.subject else f.sentence for f in over)
        tell(job, JOB_OVER_LABEL, version, to, template, now=now, urgent=True, what=what[:1500])
