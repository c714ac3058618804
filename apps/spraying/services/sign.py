"""Signing: the only way a spray becomes a record, and a block gets an opening time."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import F

from apps.inventory import services as shed
from apps.inventory.settling import settle_use
from apps.people.models import Farm, Person
from apps.people.queries import Member
from apps.people.services import prove
from apps.reminders import services as reminders
from apps.spraying import checking, content, ground, queries
from apps.spraying.amending import board as corrected
from apps.spraying.amending import queries as amending
from apps.spraying.amending.rules import Asked, signed_facts
from apps.spraying.facts import source_of
from apps.spraying.models import Job, SprayRecord
from apps.spraying.rules.record import GENESIS, Meaning, canonical, chain_hash, content_hash
from apps.spraying.rules.signing import Signing
from apps.spraying.rules.states import JobState, Step
from apps.spraying.services.moves import (
    JOB_ASSIGNED,
    JOB_FINISHED,
    JOB_NOT_APPLIED,
    JOB_REOPENED,
    JOB_SIGNED,
    locked,
    managers,
    move,
    needed_text,
    people_on,
    tell,
)
from farmops.errors import BadInput, Refused, Stale, gettext_noop
from farmops.units import Quantity

CHANGED = gettext_noop("What would be signed is no longer what you were shown. Read it again, then sign.")
UNTICKED = gettext_noop("Tick the box once you have checked the record.")


@transaction.atomic
def sign_off(
    *,
    member: Member,
    job_id: int,
    password: str,
    checked: bool,
    body_hash: str,
    now: datetime,
    expected_version: int | None = None,
) -> SprayRecord:
    """Sign what was read back. Only the applicator who did or supervised it, with the password again.

    ``body_hash`` is the hash that came with the read-back: anything else is ``Stale``. Writes the record,
    draws the stock down, and gives the blocks their entry and harvest times. All of it or nothing.
    """
    job = locked(member, job_id, Step.SIGN, expected_version=expected_version)
    signing = _proven(job, member, password, checked)
    body = content.applied(job, signing)
    _is_what_was_shown(body, body_hash)
    earlier = queries.record_of(job)
    _settle(job, member, now, again=earlier is not None)
    close = ground.close_for_signature if earlier is None else corrected.close_again
    close(job, content.closures_after(job), member=member, now=now)
    record = _write(job, body, signing, member=member, now=now, reason=_reason(body))
    details = {"record": record.seq, "hash": record.hash}
    move(job, Step.SIGN, member=member, now=now, changes={"signed_before": None}, details=details)
    _tell_signed(job, record, earlier, member, now)
    return record


def _reason(body: Mapping[str, Any]) -> str:
    return str((body["amends"] or {}).get("reason", ""))


def _tell_signed(job: Job, record: SprayRecord, earlier: SprayRecord | None, member: Member, now: datetime) -> None:
    """The managers hear of a signature, which it waited for; whoever asked for a correction is answered by it."""
    reminders.withdraw(farm=job.farm, kind=JOB_FINISHED, subject=("job", job.pk), now=now)
    numbers: dict[str, Any] = {"who": member.name, "record": str(record.seq)}
    if earlier is None:
        template = gettext_noop("Spray job {job} on {blocks} is signed by {who}: record {record}.")
        tell(job, JOB_SIGNED, "signed", managers(job), template, now=now, **numbers)
        return
    template = gettext_noop(
        "Spray job {job} on {blocks} is corrected and signed again by {who}: record {record} takes the place of "
        "record {earlier}."
    )
    to = sorted({*managers(job), *people_on(job)} - {member.person_id})
    occasion = f"edition {record.edition}"
    tell(job, JOB_SIGNED, occasion, to, template, now=now, earlier=str(earlier.seq), **numbers)
    amending.open_requests(job).update(
        state=Asked.DONE,
        answered_at=now,
        answered_by_id=member.person_id,
        answer=f"record {record.seq}",
        version=F("version") + 1,
    )


@transaction.atomic
def sign_not_applied(
    *,
    member: Member,
    job_id: int,
    password: str,
    checked: bool,
    body_hash: str,
    reason: str,
    now: datetime,
    expected_version: int | None = None,
) -> SprayRecord:
    """Sign that nothing was applied under this job: its closures come down, its stock is free again."""
    job = locked(member, job_id, Step.NOT_APPLIED, expected_version=expected_version)
    if job.state == JobState.CALLED_OFF and not job.doubt:
        template = gettext_noop("This job no longer closes any block: there is nothing left to sign.")
        raise Refused([checking.refusal("nothing_in_doubt", template)])
    why = needed_text(reason, "reason", gettext_noop("Say why nothing was applied."))
    signing = _proven(job, member, password, checked)
    body = content.not_applied(job, signing)
    _is_what_was_shown(body, body_hash)
    earlier = queries.record_of(job)
    shed.release(farm=job.farm, member=member, source=source_of(job), now=now)
    if earlier is not None:
        _put_back(job, member, now, why)
    corrected.open_all(job, member=member, now=now)
    record = _write(job, body, signing, member=member, now=now, reason=why)
    changes = {"doubt": False, "not_applied_at": now, "signed_before": None}
    details = {"record": record.seq, "hash": record.hash}
    for kind in (JOB_ASSIGNED, JOB_FINISHED):
        reminders.withdraw(farm=job.farm, kind=kind, subject=("job", job.pk), now=now)
    move(job, Step.NOT_APPLIED, member=member, now=now, changes=changes, note=why, details=details)
    template = gettext_noop("{who} signed that nothing was applied under spray job {job} on {blocks}: {reason}")
    occasion = f"not applied {record.seq}"
    tell(job, JOB_NOT_APPLIED, occasion, managers(job), template, now=now, who=member.name, reason=why)
    return record


@transaction.atomic
def void_signature(
    *,
    member: Member,
    job_id: int,
    password: str,
    checked: bool,
    body_hash: str,
    reason: str,
    now: datetime,
    expected_version: int | None = None,
) -> SprayRecord:
    """Withdraw the signature under a job's record: the spray stands as reported and is unsigned again.

    A record of its own in the chain. The blocks are closed as after any unsigned spray beside what hangs already,
    and what was signed goes on counting, until somebody signs again.
    """
    job = locked(member, job_id, Step.VOID, expected_version=expected_version)
    why = needed_text(reason, "reason", gettext_noop("Say why the signature is withdrawn."))
    signing = _proven(job, member, password, checked)
    body = content.voided(job, signing)
    _is_what_was_shown(body, body_hash)
    last = amending.spoken(job)
    before = signed_facts(last.seq, amending.content_of(last)) if last is not None else None
    record = _write(job, body, signing, member=member, now=now, reason=why)
    details = {"record": record.seq, "hash": record.hash}
    changes = {"signed_before": before, "finished_at": now}
    move(job, Step.VOID, member=member, now=now, changes=changes, note=why, details=details)
    ground.close_for_finish(job, since=job.started_at, first=True, member=member, now=now)
    template = gettext_noop(
        "{who} withdrew the signature of spray job {job} on {blocks}: {reason} The blocks are closed again until it "
        "is signed."
    )
    to = sorted({*managers(job), *people_on(job)} - {member.person_id})
    tell(job, JOB_REOPENED, f"record {record.seq}", to, template, now=now, urgent=True, who=member.name, reason=why)
    return record


def shown(job: Job, member: Member, meaning: Meaning) -> tuple[dict[str, Any], str, Signing]:
    """What this person would sign, its hash, and in which standing. Reads only."""
    signing = content.signing_of(job, member)
    body = _BODIES[meaning](job, signing)
    return body, content_hash(body), signing


_BODIES = {
    Meaning.APPLIED: content.applied,
    Meaning.NOT_APPLIED: content.not_applied,
    Meaning.VOIDED: content.voided,
}


def _proven(job: Job, member: Member, password: str, checked: bool) -> Signing:
    """The right person, the ticked box and the password; nothing is written before all three hold."""
    signing = content.signing_of(job, member)
    if checked is not True:
        raise BadInput({"checked": UNTICKED})
    prove(Person.objects.get(pk=member.person_id), password)
    return signing


def _is_what_was_shown(body: Mapping[str, Any], shown_hash: str) -> None:
    if content_hash(body) != shown_hash.strip().lower():
        raise Stale(CHANGED)


def _settle(job: Job, member: Member, now: datetime, *, again: bool) -> None:
    """Take what was used from the shed; by rising product id, so that two signatures cannot wait for each other.

    Signed ``again``, the ledger gets the difference to what was taken before.
    """
    for row in sorted(job.job_products.all(), key=lambda r: r.product_id):
        used = {
            "farm": job.farm,
            "member": member,
            "product_id": row.product_id,
            "quantity": Quantity(row.actual_amount, row.actual_unit),
            "source": source_of(job),
            "now": now,
        }
        if again:
            settle_use(**used, reason=f"{job} was corrected")
        else:
            shed.draw_down(**used)


def _put_back(job: Job, member: Member, now: datetime, why: str) -> None:
    """It was signed as sprayed before and was not: what had been taken for it is on the shelf after all."""
    for row in sorted(job.job_products.all(), key=lambda r: r.product_id):
        nothing = Quantity(Decimal(0), row.actual_unit or row.rate_unit)
        settle_use(
            farm=job.farm,
            member=member,
            product_id=row.product_id,
            quantity=nothing,
            source=source_of(job),
            reason=f"{job} was not applied: {why}",
            now=now,
        )


def _write(
    job: Job, body: Mapping[str, Any], signing: Signing, *, member: Member, now: datetime, reason: str = ""
) -> SprayRecord:
    """Append the record to the farm's chain; the farm's row is locked so that the chain never forks."""
    Farm.objects.select_for_update(no_key=True).get(pk=job.farm_id)
    last = queries.head(job.farm)
    earlier = queries.record_of(job)
    seq, prev_hash = (1, GENESIS) if last is None else (last.seq + 1, last.hash)
    text = canonical(
        {
            "seq": seq,
            "job": job.pk,
            "meaning": body["meaning"],
            "edition": 1 if earlier is None else earlier.edition + 1,
            "supersedes": None if earlier is None else earlier.seq,
            "content": body,
            "signature": {
                "by": signing.name,
                "person_id": signing.person_id,
                "at": now,
                "meaning": body["statement"],
                "reason": reason,
                "checked": True,
                "shown_hash": content_hash(body),
            },
        }
    )
    return SprayRecord.objects.add(
        farm=job.farm,
        job=job,
        seq=seq,
        edition=1 if earlier is None else earlier.edition + 1,
        supersedes=earlier,
        prev_hash=prev_hash,
        hash=chain_hash(prev_hash, text),
        body_text=text,
        meaning=body["meaning"],
        signed_by_id=member.person_id,
        signed_at=now,
    )
