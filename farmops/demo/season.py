"""Certificates, eight weeks of spray jobs and the coming week, played at their own times."""

from __future__ import annotations

from datetime import datetime, time, timedelta
from decimal import Decimal
from typing import Any

from apps.crops import services as crops
from apps.crops.models import Crop
from apps.people.queries import Member
from apps.safety.posting import queries as notices
from apps.safety.posting import services as posting
from apps.safety.rules.notice import Notice
from apps.spraying import queries as read
from apps.spraying import services as jobs
from apps.spraying.display import queries as sheets
from apps.spraying.display import services as displays
from apps.spraying.ground import board_source
from apps.spraying.models import Job
from apps.spraying.programs import services as programs
from apps.spraying.rules.record import Meaning
from apps.spraying.services.sign import shown
from apps.training import services as training
from apps.weather import services as weather
from apps.work import services as work
from farmops import clock
from farmops.demo.ground import Stage

READINGS = {"wind_mph": "6", "temperature_f": "68", "humidity_percent": "62", "wind_from": "SW"}
REASON = "Forecast read beforehand: 5 to 8 mph from the southwest, dry. Reviewed with the applicator."


def papers(stage: Stage) -> None:
    for line in stage.book["certificates"]:
        training.record_certificate(
            member=stage.manager,
            person_id=stage.cast[line["person"]].person_id,
            now=stage.days_ago(-390),
            number=line["number"],
            jurisdiction=line["jurisdiction"],
            kind=line["kind"],
            categories=line["categories"],
            valid_from=stage.day(line["valid_from"]),
            valid_to=stage.day(line["valid_to"]),
            note="",
        )
    for line in stage.book["trainings"]:
        training.record_training(
            member=stage.manager,
            person_id=stage.cast[line["person"]].person_id,
            kind=line["kind"],
            trained_on=stage.day(line["on"]),
            trainer="Noel Tansy",
            now=stage.days_ago(line["on"] + 1),
        )


def history(stage: Stage) -> None:
    """Every job of the book, oldest first, each taken as far as the book says."""
    jobs.set_spray_settings(
        member=stage.manager,
        expected_version=1,
        changes={"preset": stage.book["advice"], "history_known_from": stage.day(-400)},
        now=stage.days_ago(-80),
    )
    played = [(_window(stage, line), line) for line in stage.book["jobs"]]
    for (starts_at, ends_at), line in sorted(played, key=lambda p: p[0]):
        _play(stage, line, starts_at, ends_at)


def _window(stage: Stage, line: dict[str, Any]) -> tuple[datetime, datetime]:
    if line.get("clock") == "hours_from_now":
        starts_at = (stage.now + timedelta(hours=line["hour"])).replace(second=0, microsecond=0)
    else:
        hour, minute = divmod(int(Decimal(str(line["hour"])) * 60), 60)
        local = datetime.combine(stage.day(line["day"]), time(hour, minute))
        starts_at = clock.to_utc(local, stage.zone, field="demo", fold=1)
    return starts_at, starts_at + timedelta(hours=float(line["hours"]))


def _play(stage: Stage, line: dict[str, Any], starts_at: datetime, ends_at: datetime) -> None:
    """Plan, assign, start, finish, sign: as far as ``state`` says. The window is an hour longer than the spraying."""
    assert stage.sprayer is not None
    planned_at = min(starts_at - timedelta(hours=20), stage.now - timedelta(minutes=10))
    applicator, manager = stage.cast[line["applicator"]], stage.manager
    job = jobs.plan_job(
        member=manager,
        blocks=[{"block_id": stage.blocks[code].pk} for code in line["blocks"]],
        products=[
            {
                "product_id": stage.products[m["product"]].pk,
                "rate_amount": m["rate"],
                "rate_unit": m["unit"],
                "rate_basis": "per_acre",
            }
            for m in line["mix"]
        ],
        sprayer_id=stage.sprayer.pk,
        window_starts_at=starts_at,
        window_ends_at=ends_at + timedelta(hours=1) if line["state"] == "signed" else ends_at,
        applicator_id=applicator.person_id,
        targets=line["targets"],
        water_ph="7.0",
        now=planned_at,
    )
    if line["state"] == "draft":
        return
    jobs.assign_job(member=manager, job_id=job.pk, reason=REASON, now=planned_at + timedelta(minutes=5))
    if line["state"] == "assigned":
        return
    _give_notice(job, applicator, starts_at - timedelta(hours=1))
    jobs.start_spraying(member=applicator, job_id=job.pk, readings=READINGS, reason=REASON, now=starts_at)
    if line["state"] == "spraying":
        return
    jobs.finish_spraying(
        member=applicator, job_id=job.pk, done=_done(job, starts_at, ends_at), now=ends_at + timedelta(minutes=5)
    )
    if line["state"] == "signed":
        _sign(stage, line["applicator"], job, ends_at + timedelta(minutes=20))
        _hang_sheet(stage, job, applicator, ends_at + timedelta(minutes=40))
        _take_signs_down(stage, job, applicator, ends_at + timedelta(days=3))
        _take_sheet_down(stage, job, applicator)


def _give_notice(job: Job, member: Member, now: datetime) -> None:
    """The signs that the job asks for go up and the workers are told, before anybody starts."""
    for notice in notices.of_source(job.farm, board_source(job)):
        if Notice(notice.needs).needs_sign:
            posting.put_up_sign(member=member, posting_id=notice.pk, now=now)
        posting.tell_workers(member=member, posting_id=notice.pk, now=now)


def _hang_sheet(stage: Stage, job: Job, member: Member, now: datetime) -> None:
    """At the central place; the sheets of the last two days are still to be hung."""
    if now < stage.now - timedelta(days=2):
        products = [row.product_id for row in job.job_products.all()]
        displays.put_up(member=member, job_id=job.pk, sds_for=products, now=now)


def _take_sheet_down(stage: Stage, job: Job, member: Member) -> None:
    until = sheets.sheet(read.job(job.farm, job.pk)).until_at
    if until is not None and until < stage.now - timedelta(days=1):
        displays.take_down(member=member, job_id=job.pk, now=until + timedelta(hours=1))


def _take_signs_down(stage: Stage, job: Job, member: Member, now: datetime) -> None:
    """Signs of days gone by are down; one that went up lately still stands."""
    if now < stage.now:
        for notice in notices.of_source(job.farm, board_source(job)).filter(up_at__isnull=False):
            posting.take_down_sign(member=member, posting_id=notice.pk, now=now)


def _done(job: Job, starts_at: datetime, ends_at: datetime) -> dict[str, Any]:
    """The field as planned, to the last ounce the lines give."""
    acres = sum((row.planned_acres for row in job.job_blocks.all()), start=Decimal(0))
    amounts = [
        {
            "product_id": line.product_id,
            "amount": (line.rate_amount * acres).quantize(Decimal("0.01")),
            "unit": line.rate_unit,
        }
        for line in job.job_products.all()
    ]
    return {
        "started_at": starts_at,
        "ended_at": ends_at,
        "sprayed_gal": (acres * job.spray_gpa).quantize(Decimal(1)),
        "loads": (acres * job.spray_gpa / job.sprayer.usable_gal).quantize(Decimal("0.01")),
        "blocks": [{"block_id": r.block_id, "treated_acres": r.planned_acres} for r in job.job_blocks.all()],
        "products": amounts,
        "wind_mph": "7",
        "deviation_reason": "",
    }


def _sign(stage: Stage, who: str, job: Job, now: datetime) -> None:
    fresh = Job.objects.for_farm(job.farm).get(pk=job.pk)
    _body, body_hash, _standing = shown(fresh, stage.cast[who], Meaning.APPLIED)
    jobs.sign_off(
        member=stage.cast[who],
        job_id=job.pk,
        password=stage.book["password"],
        checked=True,
        body_hash=body_hash,
        now=now,
    )


def tasks(stage: Stage) -> None:
    for line in stage.book["tasks"]:
        starts_at = (stage.now + timedelta(hours=line["hours_from_now"])).replace(minute=0, second=0, microsecond=0)
        work.plan_task(
            member=stage.manager,
            block_id=stage.blocks[line["block"]].pk,
            title=line["title"],
            activity=line["activity"],
            assigned_to_id=stage.cast[line["person"]].person_id,
            starts_at=max(starts_at, stage.now + timedelta(minutes=5)),
            is_harvest=line.get("is_harvest", False),
            now=stage.now - timedelta(minutes=2),
        )


def season_programs(stage: Stage) -> None:
    """The season programs, what was counted and how much it rained, and what was decided after it."""
    made = {line["name"]: _program(stage, line) for line in stage.book["programs"]}
    for line in stage.book["counts"]:
        crops.record_count(
            member=stage.cast["noel"],
            block_id=stage.blocks[line["block"]].pk,
            threshold_code=line["threshold"],
            looked_on=stage.day(line["on"]),
            places=[{"examined": examined, "found": found} for examined, found in line["places"]],
            text=line["text"],
            now=stage.days_ago(line["on"]),
        )
    for line in stage.book["rain"]:
        from_at, until_at = (_at_hour(stage, line[name], line["hour"]) for name in ("from_day", "until_day"))
        weather.record_rainfall(
            member=stage.cast["noel"],
            from_at=from_at,
            until_at=until_at,
            inches=Decimal(line["inches"]),
            now=until_at,
        )
    for line in stage.book["decisions"]:
        programs.decide(
            member=stage.manager,
            program_id=made[line["program"]],
            block_ids=[stage.blocks[code].pk for code in line["blocks"]],
            choice=line["choice"],
            reason=line["reason"],
            now=_at_hour(stage, line["on"], 9),
        )


def _program(stage: Stage, line: dict[str, Any]) -> int:
    """A program as the book has it; its days are counted from the day of loading."""
    plain = ("name", "targets", "start_kind", "start_threshold", "from_days", "to_days", "stop_days", "spray_gpa")
    values = {name: line[name] for name in plain if name in line}
    values |= {name: stage.day(line[name]) for name in ("start_on", "reckoned_on", "last_on") if name in line}
    row = programs.set_up_program(
        member=stage.manager,
        values={**values, "crop_id": Crop.objects.for_farm(stage.manager.farm).get(code=line["crop"]).pk},
        blocks=[stage.blocks[code].pk for code in line["blocks"]],
        passes=[
            [
                {
                    "product_id": stage.products[name].pk,
                    "rate_amount": amount,
                    "rate_unit": unit,
                    "rate_basis": "per_acre",
                }
                for name, amount, unit in mix
            ]
            for mix in line["passes"]
        ],
        now=stage.days_ago(line["set_up"]),
    )
    return int(row.pk)


def _at_hour(stage: Stage, day: int, hour: int) -> datetime:
    local = datetime.combine(stage.day(day), time(hour))
    return clock.to_utc(local, stage.zone, field="demo", fold=1)
