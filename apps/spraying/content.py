"""What a signature is put under: everything the job was done with and judged by, copied."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from apps.equipment.queries import sprayer_facts
from apps.equipment.rules import SprayerFacts
from apps.equipment.rules.zone import Method, label_method
from apps.land.rules import acres_of
from apps.people.queries import Member
from apps.products.models import LabelVersion
from apps.safety.rules import NewClosure, for_signature
from apps.spraying.amending import queries as amending
from apps.spraying.amending.rules import changes_between
from apps.spraying.facts import settings_of
from apps.spraying.history import Labels, actual_rate, mix_line, planned_rate, treated_acres
from apps.spraying.mixing import achieved_volume
from apps.spraying.models import Job, JobBlock, JobProduct
from apps.spraying.policies.queries import policy_of
from apps.spraying.rules.outcome import entry_intervals, harvest_waits
from apps.spraying.rules.record import Meaning
from apps.spraying.rules.signing import CORRECTED, STATEMENTS, Signing, Standing, who_signs
from apps.training.queries import credentials
from apps.training.rules import CertificateFacts, Credentials, certificate_on, signing_findings
from farmops import clock
from farmops.errors import Finding, NotYourRole, Said, Severity, gettext_noop
from farmops.units import show

FORM = 1
FINGER = Decimal("1.02")
"""What a finger on a map misses (project rule)."""


def signing_of(job: Job, member: Member) -> Signing:
    """Whether this person may sign the job, and in which standing; ``NotYourRole`` with the reason if not."""
    day = _day(job)
    known = credentials(job.farm, [p for p in (job.applicator_id, job.supervisor_id) if p])
    category = _category(job)
    certified = {p: certificate_on(known[p], day, job.farm.jurisdiction, category) for p in known}
    allowed = who_signs(
        supervised=job.supervisor_id is not None, applicator_certified=certified.get(job.applicator_id) is not None
    )
    mine = {Standing.APPLIED: job.applicator_id, Standing.SUPERVISED: job.supervisor_id}
    for standing in Standing:
        if standing in allowed and mine[standing] == member.person_id:
            return Signing(
                standing=standing,
                person_id=member.person_id,
                name=member.name,
                certificate=certified.get(member.person_id),
            )
    who = " / ".join(person.full_name for s, person in _people(job).items() if s in allowed and person is not None)
    raise NotYourRole(
        Said(gettext_noop("Only the applicator who did or supervised this spray can sign it: {who}."), who=who)
    )


def since_applied(job: Job, signing: Signing, signed_on: date) -> list[Finding]:
    """What the day of signing adds: a certificate that was valid then and has ended since is noted."""
    known = credentials(job.farm, [signing.person_id])
    if signing.certificate is None:
        return []
    return signing_findings(
        known[signing.person_id],
        applied_on=_day(job),
        signed_on=signed_on,
        jurisdiction=job.farm.jurisdiction,
        category=_category(job),
    )


def flags(job: Job) -> list[dict[str, Any]]:
    """What was not as the label or the farm's rules allow, as it was found when the spray was reported."""
    return [
        {**finding, "subject": ", ".join(t for t in (block["block"], finding["subject"]) if t)}
        for block in job.finish_findings
        for finding in block["findings"]
        if finding["severity"] == Severity.REFUSE
    ]


def _people(job: Job) -> dict[Standing, Any]:
    return {Standing.APPLIED: job.applicator, Standing.SUPERVISED: job.supervisor}


def _day(job: Job) -> date:
    return clock.to_local(job.started_at or job.window_starts_at, job.farm.time_zone).date()


def _category(job: Job) -> str | None:
    """The certificate category the way of applying asks for, as the check asks for it."""
    return policy_of(settings_of(job.farm)).method_categories.get(label_method(Method(job.sprayer.method)))


def applied(job: Job, signing: Signing) -> dict[str, Any]:
    """The content of a record of a spray that was made."""
    day = _day(job)
    known = credentials(job.farm, [p for p in (job.applicator_id, job.supervisor_id) if p])
    waits = closures_after(job)
    return _correcting(
        job,
        signing,
        {
            **_frame(job, signing, Meaning.APPLIED),
            "applicator": _person(job.applicator, known, day),
            "supervisor": _person(job.supervisor, known, day),
            "started_at": job.started_at,
            "ended_at": job.ended_at,
            "disputed": job.disputed,
            "loads": job.loads,
            "sprayed_gal": job.sprayed_gal,
            "achieved_gpa": achieved_volume(job),
            "spray_gpa": job.spray_gpa,
            "water_ph": job.water_ph,
            "surfactant": job.surfactant,
            "sprayer": _sprayer(sprayer_facts(job.sprayer, day)),
            "readings": {"start": job.start_readings, "end": job.end_readings},
            "treated_acres": treated_acres(job.job_blocks.all()),
            "blocks": [_block(row, waits[row.block_id]) for row in job.job_blocks.all()],
            "products": [_product(row, treated_acres(job.job_blocks.all())) for row in job.job_products.all()],
            "deviation_reason": job.deviation_reason,
            "findings": {
                "assigned": job.findings,
                "start": job.start_findings,
                "finish": job.finish_findings,
            },
        },
    )


def not_applied(job: Job, signing: Signing) -> dict[str, Any]:
    """The content of a record that says that nothing was applied, with what had been reported before, if anything."""
    reported = None
    if job.ended_at is not None:
        reported = {
            "started_at": job.started_at,
            "ended_at": job.ended_at,
            "blocks": [{"block_id": b.block_id, "treated_acres": b.treated_acres} for b in job.job_blocks.all()],
            "products": [
                {"name": p.product.name, "amount": p.actual_amount, "unit": p.actual_unit}
                for p in job.job_products.all()
            ],
        }
    return _correcting(
        job,
        signing,
        {
            **_frame(job, signing, Meaning.NOT_APPLIED),
            "started_at": job.started_at,
            "blocks": [{"block_id": b.block_id, "name": str(b.block)} for b in job.job_blocks.all()],
            "products": [{"product_id": p.product_id, "name": p.product.name} for p in job.job_products.all()],
            "reported_before": reported,
        },
    )


def voided(job: Job, signing: Signing) -> dict[str, Any]:
    """The content of a record that withdraws the signature under the last edition of this job's record."""
    return exact(
        {
            **_frame(job, signing, Meaning.VOIDED),
            "voids": _reference(job),
            "blocks": [{"block_id": b.block_id, "name": str(b.block)} for b in job.job_blocks.all()],
            "products": [{"product_id": p.product_id, "name": p.product.name} for p in job.job_products.all()],
        }
    )


def _reference(job: Job) -> dict[str, Any] | None:
    """The edition that says what happened so far; ``None`` before the first signature."""
    last = amending.spoken(job)
    if last is None:
        return None
    return {
        "record": last.seq,
        "hash": last.hash,
        "signed_by": json.loads(last.body_text)["signature"]["by"],
        "signed_at": last.signed_at,
    }


def _correcting(job: Job, signing: Signing, content: dict[str, Any]) -> dict[str, Any]:
    """The content with what it corrects: the edition before, why, and every difference; ``None`` for a first one."""
    plain, reference = exact(content), _reference(job)
    if reference is None:
        return {**plain, "amends": None}
    last, step = amending.spoken(job), amending.reopened_by(job)
    changes = [c.as_json() for c in changes_between(amending.content_of(last), plain)] if last else []
    reason = str(step.details.get("reason") or step.note) if step is not None else ""
    plain["statement"] = CORRECTED[Meaning(plain["meaning"]), signing.standing]
    return {**plain, "amends": {**reference, "reason": reason, "changes": changes}}


def _frame(job: Job, signing: Signing, meaning: Meaning) -> dict[str, Any]:
    """What both kinds of record share."""
    farm = job.farm
    return {
        "form": FORM,
        "meaning": meaning,
        "statement": STATEMENTS[meaning, signing.standing],
        "farm": {
            "slug": farm.slug,
            "name": farm.name,
            "time_zone": farm.time_zone,
            "jurisdiction": farm.jurisdiction,
        },
        "signer": {
            "person_id": signing.person_id,
            "name": signing.name,
            "standing": signing.standing,
            "certificate": _certificate(signing.certificate),
        },
        "job": {
            "id": job.pk,
            "number": job.number,
            "targets": job.targets,
            "notes": job.notes,
            "expected_weather": {
                "wind_mph": job.expected_wind_mph,
                "high_f": job.expected_high_f,
                "dry_hours": job.expected_dry_hours,
            },
            "planned_by": job.created_by.full_name,
            "window_starts_at": job.window_starts_at,
            "window_ends_at": job.window_ends_at,
            "reason": job.reason,
        },
    }


def _person(person: Any, known: Mapping[int, Credentials], day: date) -> dict[str, Any] | None:
    if person is None:
        return None
    held = known[person.pk]
    return {
        "person_id": person.pk,
        "name": person.full_name,
        "certificates": [
            {**(_certificate(c) or {}), "suspended": c.suspended_on(day)}
            for c in sorted(held.certificates, key=lambda c: (c.jurisdiction, c.number))
        ],
        "trainings": [
            {"kind": t.kind.value, "topic": t.topic, "trained_on": t.trained_on}
            for t in sorted(held.trainings, key=lambda t: (t.trained_on, t.kind, t.topic))
        ],
    }


def _certificate(c: CertificateFacts | None) -> dict[str, Any] | None:
    if c is None:
        return None
    return {
        "number": c.number,
        "jurisdiction": c.jurisdiction,
        "kind": c.kind.value,
        "categories": sorted(c.categories),
        "valid_from": c.valid_from,
        "valid_to": c.valid_to,
    }


def _sprayer(facts: SprayerFacts) -> dict[str, Any]:
    measured = facts.calibration
    return {
        "name": facts.name,
        "method": facts.method.value,
        "usable_gal": facts.usable_gal,
        "swath_ft": facts.swath_ft,
        "droplet_class": facts.droplet_class.value if facts.droplet_class else None,
        "release_height_in": facts.release_height_in,
        "calibration": None
        if measured is None
        else {
            "gpa": measured.gpa,
            "speed_mph": measured.speed_mph,
            "pressure_psi": measured.pressure_psi,
            "measured_on": measured.measured_on,
            "good_until": measured.good_until,
        },
    }


def _block(row: JobBlock, closures: Iterable[NewClosure]) -> dict[str, Any]:
    block = row.block
    return {
        "block_id": block.pk,
        "code": block.code,
        "name": block.name,
        "field": block.field.name,
        "mapped_acres": block.mapped_acres,
        "planted_acres": block.planted_acres,
        "planned_acres": row.planned_acres,
        "treated_acres": row.treated_acres,
        "zone": row.zone,
        "part": row.part,
        "part_note": row.part_note,
        "site_code": row.site_code or None,
        "crop": row.crop_name,
        "closures": [closure_text(c) for c in closures],
    }


def closure_text(closure: NewClosure) -> dict[str, Any]:
    """A closure as a record names it; ``check_records`` looks for the same on the board."""
    return {
        "kind": closure.kind.value,
        "reason": closure.reason_code.value,
        "ends_at": closure.ends_at,
        "activities": sorted(closure.activities),
        "products": list(closure.product_names),
        "numbers": dict(closure.numbers),
        **({} if closure.part is None else {"part": closure.part}),
    }


def _product(row: JobProduct, acres: Decimal) -> dict[str, Any]:
    used = actual_rate(row, acres)
    return {
        "product_id": row.product_id,
        "name": row.product.name,
        "registration_number": row.product.registration_number,
        "planned_rate": {"amount": row.rate_amount, "unit": row.rate_unit, "basis": row.rate_basis},
        "planned_text": str(planned_rate(row)),
        "amount": row.actual_amount,
        "unit": row.actual_unit,
        "per_acre": None if used is None else used.quantity.amount,
        "label": _label(row.label_version),
    }


def _label(version: LabelVersion | None) -> dict[str, Any] | None:
    if version is None:
        return None
    return {
        "version": version.number,
        "effective_on": version.effective_on,
        "checked_at": version.checked_at,
        "checked_by_id": version.checked_by_id,
        "body_hash": version.body_hash,
        "body": version.body,
    }


def closures_after(job: Job) -> dict[int, list[NewClosure]]:
    """block id -> the entry and harvest closures this spray leaves; none where nothing was treated."""
    labels, acres = Labels(), treated_acres(job.job_blocks.all())
    return {
        row.block_id: _closures(job, row, labels, acres) if row.treated_acres else [] for row in job.job_blocks.all()
    }


def _closures(job: Job, row: JobBlock, labels: Labels, acres: Decimal) -> list[NewClosure]:
    site = row.site_code or None
    lines = [
        mix_line(p, version=p.label_version, rate=rate, labels=labels, targets=job.targets, site_code=site)
        for p in job.job_products.all()
        if (rate := actual_rate(p, acres)) is not None and rate.quantity.amount > 0
    ]
    return for_signature(
        row.block_id,
        started_at=job.started_at,
        ended_at=job.ended_at,
        intervals=entry_intervals(lines, site, job.spray_gpa),
        waits=harvest_waits(lines, site, job.spray_gpa),
        zone=job.farm.time_zone,
        **_kept_to(row),
    )


def _kept_to(row: JobBlock) -> dict[str, Any]:
    """The mapped part that was treated; nothing when it was not drawn, or more acres were treated than it holds."""
    mapped = acres_of(row.part) if row.part else Decimal(0)
    if not mapped or row.treated_acres is None or row.treated_acres > mapped * FINGER:
        return {}
    return {"part": row.part, "part_acres": f"{show(mapped, 1)} acres"}


def exact(value: Any) -> Any:
    """Map coordinates are the only floats in a record; they are written as the decimals they stand for."""
    if isinstance(value, float):
        return Decimal(repr(value))
    if isinstance(value, Mapping):
        return {str(k): exact(v) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [exact(v) for v in value]
    return value
