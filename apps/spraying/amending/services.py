"""Correcting a signed record: the applicator corrects and signs again; a manager can only ask."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.land import queries as land
from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.products.models import Product
from apps.safety.rules import NewClosure
from apps.spraying import checking, content, queries
from apps.spraying.amending import board, rules
from apps.spraying.amending import queries as amending
from apps.spraying.amending.models import CorrectionRequest
from apps.spraying.amending.rules import Asked
from apps.spraying.inputs import decimal_typed
from apps.spraying.models import Job, JobBlock, JobProduct
from apps.spraying.reports import Done, read_done, read_readings
from apps.spraying.rules.states import JobState, Step
from apps.spraying.services.assign import fix_labels
from apps.spraying.services.moves import (
    CORRECTION_ANSWERED,
    CORRECTION_ASKED,
    JOB_REOPENED,
    locked,
    managers,
    needed_text,
    people_on,
    tell,
)
from apps.spraying.services.naming import Named, Renamed, rename, speakers, tell_renamed
from apps.spraying.services.spray import report
from apps.work.queries import entries_planned
from farmops.errors import BadInput, Refused, gettext_noop, one_of
from farmops.faults import Faults
from farmops.units import PRODUCT_UNITS

LEAST = Decimal("0.0001")


@transaction.atomic
def amend_job(
    *,
    member: Member,
    job_id: int,
    done: Mapping[str, Any],
    reason: str,
    readings: Mapping[str, Any] | None = None,
    named: Named | None = None,
    expected_version: int | None = None,
    now: datetime,
) -> Job:
    """Correct what a signed record says. From here on it is unsigned again, until the correction is signed.

    ``done`` has the shape of ``reports.read_done``, with every block and product of the job; it may name others that
    belong there (a block with its ``treated_acres``, a product with ``amount`` and ``unit``). ``readings`` at the start
    are kept unless given; a job that was signed as not applied needs them. The old edition stays; what closes longer
    closes at once, nothing opens before the new signature. Only who may sign may correct.

    ``named`` (``applicator_id``, ``supervisor_id``) puts right who did or supervised it: by who was wrongly named, or
    by who really did. From then on only those it names can sign.
    """
    job = locked(
        member, job_id, Step.AMEND, expected_version=expected_version, speakers=lambda found: speakers(found, named)
    )
    last = amending.spoken(job)
    if last is None or (job.state == JobState.CALLED_OFF and job.not_applied_at is None):
        template = gettext_noop("Nothing is signed here yet: report it instead.")
        raise Refused([checking.refusal("nothing_signed", template)])
    why = needed_text(reason, "reason", gettext_noop("Say why the record is corrected."))
    job = _with_new_lines(job, done)
    renamed = _put_right(job, named, member)
    report_done = _read(job, done, why, now)
    _plan_as_used(job, report_done)
    fix_labels(job, report_done.started_at, only_missing=True)
    more: dict[str, Any] = {"not_applied_at": None}
    more["signed_before"] = rules.signed_facts(last.seq, amending.content_of(last))
    more |= _readings(job, readings, report_done)
    before = [row.facts for row in board.hanging(job)]
    details: dict[str, Any] = {"record": last.seq, "reason": why}
    if renamed is not None:
        more, details = more | renamed.changes, details | renamed.details
    job = report(job, Step.AMEND, member, report_done, now=now, note=why, more=more, details=details)
    later = board.lengthen(job, content.closures_after(job), member=member, now=now)
    _tell_reopened(job, why, before, later, member=member, now=now)
    if renamed is not None:
        tell_renamed(renamed, why, member=member, now=now)
    return job


def _put_right(job: Job, named: Named | None, member: Member) -> Renamed | None:
    """The right people on the job. Whoever corrects must be able to sign, as it named them or as it names them now."""
    if queries.names(job, member.person_id):
        content.signing_of(job, member)
        return rename(job, named, member)
    renamed = rename(job, named, member)
    content.signing_of(job, member)
    return renamed


def _with_new_lines(job: Job, done: Mapping[str, Any]) -> Job:
    """Blocks and products that belonged to the spray and were not in the plan get a line; lines are never taken out."""
    faults = Faults()
    _add_blocks(job, done.get("blocks", ()), faults)
    _add_products(job, done.get("products", ()), faults)
    faults.raise_any()
    return queries.job(job.farm, job.pk)


def _add_blocks(job: Job, lines: Sequence[Mapping[str, Any]], faults: Faults) -> None:
    known = {row.block_id for row in job.job_blocks.all()}
    for place, line in enumerate(lines):
        if line["block_id"] in known:
            continue
        block, field = land.block(job.farm, line["block_id"]), f"blocks.{place}.treated_acres"
        typed = line.get("treated_acres")
        acres = faults.take(lambda t=typed, f=field: decimal_typed(t, f, maximum=100_000, places=4))  # type: ignore[misc]
        if acres == 0:
            faults.add(field, gettext_noop("A block that is added was treated: enter its acres."))
        if acres:
            JobBlock.objects.add(farm=job.farm, job=job, block=block, planned_acres=acres)
            known.add(block.pk)


def _add_products(job: Job, lines: Sequence[Mapping[str, Any]], faults: Faults) -> None:
    known = {row.product_id: row.position for row in job.job_products.all()}
    for place, line in enumerate(lines):
        if line["product_id"] in known:
            continue
        product = one(Product.objects.for_farm(job.farm).filter(pk=line["product_id"]))
        if str(line.get("unit")) not in PRODUCT_UNITS:
            faults.add(f"products.{place}.unit", one_of(PRODUCT_UNITS))
            continue
        position = max(known.values(), default=0) + 1
        JobProduct.objects.add(
            farm=job.farm, job=job, position=position, product=product, rate_amount=1, rate_unit=line["unit"]
        )
        known[product.pk] = position


def _read(job: Job, done: Mapping[str, Any], why: str, now: datetime) -> Done:
    """What was typed, checked. A rate off the plan is explained by its own words, those kept, or the correction's."""
    kept = done.get("deviation_reason") or job.deviation_reason
    try:
        return read_done(job, {**done, "deviation_reason": kept}, now=now)
    except BadInput as error:
        if list(error.errors) != ["deviation_reason"]:
            raise
    return read_done(job, {**done, "deviation_reason": why}, now=now)


def _plan_as_used(job: Job, done: Done) -> None:
    """A product the plan did not know has no planned rate: it stands as it was used."""
    acres = sum(done.acres.values(), start=Decimal(0))
    kept = {str(product_id) for product_id in _planned_products(job)}
    for row in job.job_products.all():
        used = done.amounts[row.pk]
        if str(row.product_id) not in kept and used.amount and acres:
            row.rate_amount = max((used.amount / acres).quantize(LEAST), LEAST)
            JobProduct.objects.for_farm(job.farm).filter(pk=row.pk).update(rate_amount=row.rate_amount)


def _planned_products(job: Job) -> set[int]:
    """The products any edition so far has named."""
    return {p["product_id"] for row in amending.editions(job) for p in amending.content_of(row)["products"]}


def _readings(job: Job, readings: Mapping[str, Any] | None, done: Done) -> dict[str, Any]:
    """What was read at the start: as given now, else as it stands; never nothing."""
    if readings is None:
        if not job.start_readings:
            raise BadInput({"readings": gettext_noop("Enter what was read in the field at the start.")})
        return {}
    job.start_readings = read_readings(readings, taken_at=done.started_at).as_json()
    return {"start_readings": job.start_readings}


def _tell_reopened(
    job: Job, why: str, before: Sequence[NewClosure], later: Sequence[NewClosure], *, member: Member, now: datetime
) -> None:
    """Everyone whom the correction concerns: managers, the people of the job, and whoever the later times hold up."""
    template = gettext_noop(
        "{who} corrects the signed record of spray job {job} on {blocks}: {reason} It is unsigned again; the blocks "
        "stay closed until it is signed."
    )
    occasion = f"version {job.version}"
    to = sorted({*managers(job), *people_on(job)} - {member.person_id})
    tell(job, JOB_REOPENED, occasion, to, template, now=now, urgent=bool(later), who=member.name, reason=why)
    if not later:
        return
    block_ids = sorted({closure.block_id for closure in later})
    planned = amending.people_planned(job.farm, entries_planned(block_ids, now))
    template = gettext_noop(
        "The times of the spray on {blocks} were corrected: it stays closed longer. Ask the board before you go in."
    )
    tell(job, JOB_REOPENED, f"{occasion} planned", sorted(set(planned) - set(to)), template, now=now, urgent=True)
    _tell_exposed(job, block_ids, before, later, now)


def _tell_exposed(
    job: Job, block_ids: Sequence[int], before: Sequence[NewClosure], later: Sequence[NewClosure], now: datetime
) -> None:
    """Somebody may have been inside after the old time and before the corrected one (40 CFR 170.309(f))."""
    template = gettext_noop(
        "{person} was at work in {block} from {from_at}, while it was closed by the corrected times of spray job "
        "{job}. Ask how they are and see that they are looked after. The entry stays on record."
    )
    for block_id in block_ids:
        closed, old_end = board.latest_end(before, block_id)
        _, new_end = board.latest_end(later, block_id)
        if closed and old_end is None:
            continue
        since = old_end or job.started_at
        for task in amending.inside_between(job.farm, [block_id], since, min(new_end or now, now)):
            numbers = {"person": task.assigned_to.full_name, "block": str(task.block), "from_at": task.started_at}
            to, occasion = managers(job), f"version {job.version} task {task.pk}"
            tell(job, JOB_REOPENED, occasion, to, template, now=now, urgent=True, **numbers)


# ---- what a manager can do: ask --------------------------------------------------------


@transaction.atomic
def ask_correction(*, member: Member, job_id: int, words: str, now: datetime) -> CorrectionRequest:
    """Ask the applicator to correct a signed record. Changes nothing: only a signature does."""
    member.require(Can.ASSIGN_JOBS)
    job = queries.job(member.farm, job_id)
    if amending.spoken(job) is None:
        raise Refused([checking.refusal("nothing_signed", gettext_noop("Nothing is signed here yet."))])
    said = needed_text(words, "words", gettext_noop("Say what should be corrected, and why."))
    row: CorrectionRequest = CorrectionRequest.objects.add(
        farm=job.farm, job=job, words=said, asked_by_id=member.person_id, asked_at=now
    )
    after = {"words": said}
    audit.record(farm=job.farm, actor=member, verb="asked for a correction of", subject=job, now=now, after=after)
    template = gettext_noop("{who} asks you to correct the signed record of spray job {job} on {blocks}: {words}")
    tell(job, CORRECTION_ASKED, f"request {row.pk}", people_on(job), template, now=now, who=member.name, words=said)
    return row


@transaction.atomic
def decline_correction(*, member: Member, request_id: int, reason: str, now: datetime) -> CorrectionRequest:
    """The applicator says why the record stays as it is."""
    member.require(Can.SIGN)
    one(CorrectionRequest.objects.for_farm(member.farm).select_for_update().filter(pk=request_id).only("pk"))
    row = amending.request_in(member.farm, request_id)
    job = queries.job(member.farm, row.job_id)
    content.signing_of(job, member)
    if row.state != Asked.OPEN:
        raise Refused([checking.refusal("request_answered", gettext_noop("This request was answered already."))])
    said = needed_text(reason, "reason", gettext_noop("Say why the record stays as it is."))
    row.state, row.answered_at, row.answered_by_id, row.answer = Asked.DECLINED, now, member.person_id, said
    row.version += 1
    row.save(update_fields=["state", "answered_at", "answered_by", "answer", "version"])
    audit.record(farm=job.farm, actor=member, verb="declined", subject=row, now=now, after={"reason": said})
    template = gettext_noop("{who} leaves the record of spray job {job} on {blocks} as it is: {reason}")
    to = sorted({row.asked_by_id, *managers(job)})
    tell(job, CORRECTION_ANSWERED, f"request {row.pk}", to, template, now=now, who=member.name, reason=said)
    return row
