"""What is done to sprayers: added, changed, new nozzles, calibrated. Each one transaction."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import date, datetime
from decimal import ROUND_HALF_UP, Decimal
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.equipment import queries
from apps.equipment.models import Calibration, Sprayer
from apps.equipment.rules.calibration import good_until
from apps.equipment.rules.catch import Verdict
from apps.equipment.rules.exact import positive
from apps.equipment.rules.measuring import Measured, Readings, measure
from apps.people.models import Farm
from apps.people.queries import Member
from apps.people.rules import Can
from apps.people.services import save_changes
from farmops.errors import BadInput, gettext_noop, needing_reason, refuse

# A change of any of these changes what comes out over an acre.
RATE_FIELDS = frozenset({"nozzles", "spacing_in", "nozzle_name", "nozzle_new_gpm", "nozzle_new_psi", "swath_ft"})
ABOVE_ZERO = frozenset(
    {"tank_gal", "usable_gal", "swath_ft", "spacing_in", "nozzle_new_gpm", "nozzle_new_psi", "pump_gpm"}
)
MICRO = Decimal("0.000001")


@transaction.atomic
def add_sprayer(*, member: Member, now: datetime, **values: Any) -> Sprayer:
    """A new sprayer, still without a calibration. ``BadInput`` names the field that cannot be."""
    member.require(Can.EDIT_SPRAYERS)
    _check(member, values, row=None)
    row: Sprayer = Sprayer.objects.add(farm=member.farm, **values)
    audit.record(farm=member.farm, actor=member, verb="added", subject=row, now=now, after=values)
    return row


@transaction.atomic
def edit_sprayer(
    *, member: Member, sprayer_id: int, expected_version: int, changes: Mapping[str, Any], now: datetime
) -> Sprayer:
    """Change a sprayer. Other nozzles, spacing or swath void its calibration from today on."""
    member.require(Can.EDIT_SPRAYERS)
    row = _locked(member, sprayer_id)
    _check(member, changes, row=row)
    differing = {name for name in RATE_FIELDS & set(changes) if changes[name] != getattr(row, name)}
    saved: Sprayer = save_changes(row, member=member, expected_version=expected_version, changes=changes, now=now)
    if differing:
        _void_all(member, saved, queries.today(member.farm, now), NOZZLES_DIFFER, now)
    return saved


@transaction.atomic
def change_nozzles(
    *, member: Member, sprayer_id: int, expected_version: int, changed_on: date, note: str, now: datetime
) -> Sprayer:
    """Nozzles were replaced by the same kind, or moved: every calibration up to that day is void from it on."""
    member.require(Can.EDIT_SPRAYERS)
    row = _locked(member, sprayer_id)
    if changed_on > queries.today(member.farm, now):
        raise BadInput({"changed_on": NOT_YET})
    because = note.strip() or NOZZLES_DIFFER
    saved: Sprayer = save_changes(row, member=member, expected_version=expected_version, changes={}, now=now)
    saved.version += 1
    saved.save(update_fields=["version"])
    after = {"changed_on": changed_on, "note": because}
    audit.record(farm=member.farm, actor=member, verb="changed nozzles of", subject=saved, now=now, after=after)
    _void_all(member, saved, changed_on, because, now)
    return saved


@transaction.atomic
def retire_sprayer(*, member: Member, sprayer_id: int, expected_version: int, retired: bool, now: datetime) -> Sprayer:
    """Take a sprayer out of use, or back into it. Its past stays."""
    member.require(Can.EDIT_SPRAYERS)
    row = _locked(member, sprayer_id)
    changes = {"retired_at": (row.retired_at or now) if retired else None}
    saved: Sprayer = save_changes(row, member=member, expected_version=expected_version, changes=changes, now=now)
    return saved


def preview_calibration(*, member: Member, sprayer_id: int, readings: Readings) -> Measured:
    """What readings come to, without recording anything."""
    member.require(Can.EDIT_SPRAYERS)
    return measure(queries.rig_of(queries.sprayer(member.farm, sprayer_id)), readings)


@transaction.atomic
def record_calibration(
    *,
    member: Member,
    sprayer_id: int,
    measured_on: date,
    readings: Readings,
    now: datetime,
    conditions: Mapping[str, str] | None = None,
    reason: str = "",
) -> Calibration:
    """Record what was measured in the yard; the newest one counts from its day on.

    A failed catch test is recorded too and does not count. Anything else that looks odd needs ``reason``.
    ``conditions``: gear, ground, liquid, note. ``Refused`` for a retired sprayer.
    """
    member.require(Can.EDIT_SPRAYERS)
    row = _locked(member, sprayer_id)
    if row.retired_at is not None:
        raise refuse("sprayer_retired", gettext_noop("{name} is out of use."), field="sprayer", name=row.name)
    if measured_on > queries.today(member.farm, now):
        raise BadInput({"measured_on": NOT_YET})
    result = measure(queries.rig_of(row), readings)
    if result.verdict is Verdict.CHECK and needing_reason(result.findings) and not reason.strip():
        raise BadInput({"reason": REASON_MISSING})
    values = _values(row, measured_on, readings, result, conditions or {}, reason.strip())
    made: Calibration = Calibration.objects.add(
        farm=member.farm, sprayer=row, recorded_by_id=member.person_id, recorded_at=now, **values
    )
    audit.record(farm=member.farm, actor=member, verb="recorded", subject=made, now=now, after=values)
    return made


@transaction.atomic
def void_calibration(*, member: Member, calibration_id: int, because: str, now: datetime) -> Calibration:
    """Strike a calibration that was mistyped or is doubted, from its own day on. No older one takes its place."""
    member.require(Can.EDIT_SPRAYERS)
    row = queries.calibration(member.farm, calibration_id)
    _locked(member, row.sprayer_id)
    if not because.strip():
        raise BadInput({"because": gettext_noop("Enter why this calibration does not count.")})
    _void(member, queries.calibration(member.farm, calibration_id), row.measured_on, because.strip(), now)
    return queries.calibration(member.farm, calibration_id)


NOT_YET = gettext_noop("Must be today or earlier.")
NOZZLES_DIFFER = gettext_noop("the nozzles or the swath were changed")
REASON_MISSING = gettext_noop("Enter why this calibration may be used all the same.")
NAME_TAKEN = gettext_noop("Another sprayer has this name; choose another.")
FLOW_WITH_PRESSURE = gettext_noop("Give the flow of a new nozzle and its pressure together, or neither.")


def _locked(member: Member, sprayer_id: int) -> Sprayer:
    queries.sprayer(member.farm, sprayer_id)  # Unknown for another farm's
    row: Sprayer = Sprayer.objects.for_farm(member.farm).select_for_update().get(pk=sprayer_id)
    return row


def _check(member: Member, changes: Mapping[str, Any], row: Sprayer | None) -> None:
    """What holds between fields, on the row as it would be."""

    def value(name: str) -> Any:
        return changes[name] if name in changes else getattr(row, name, None)

    if "name" in changes:
        Farm.objects.select_for_update().get(pk=member.farm.pk)  # two sprayers must not take one name at once
        same = queries.sprayers(member.farm).filter(name__iexact=changes["name"].strip())
        if same.exclude(pk=row.pk if row else None).exists():
            raise BadInput({"name": NAME_TAKEN})
    for name in ABOVE_ZERO & set(changes):
        if changes[name] is not None:
            positive(changes[name], name)
    if value("usable_gal") > value("tank_gal"):
        raise BadInput({"usable_gal": gettext_noop("Usable gallons cannot be more than the tank holds.")})
    if (value("nozzle_new_gpm") is None) != (value("nozzle_new_psi") is None):
        raise BadInput({"nozzle_new_psi": FLOW_WITH_PRESSURE})


def _void_all(member: Member, row: Sprayer, on: date, because: str, now: datetime) -> None:
    for standing in queries.calibrations_of(row).filter(void_on=None, measured_on__lte=on):
        _void(member, standing, on, because, now)


def _void(member: Member, row: Calibration, on: date, because: str, now: datetime) -> None:
    """Only the columns that may be set afterwards are written. One void already is left as it is if it is earlier."""
    if row.void_on is not None and row.void_on <= on:
        return
    row.void_on, row.void_because, row.voided_by_id = on, because[:200], member.person_id
    row.save(update_fields=["void_on", "void_because", "voided_by"])
    after = {"void_on": on, "because": because}
    audit.record(farm=member.farm, actor=member, verb="voided", subject=row, now=now, after=after)


def _texts(amounts: Sequence[Decimal]) -> list[str]:
    return [f"{amount:f}" for amount in amounts]


def _values(
    row: Sprayer,
    measured_on: date,
    readings: Readings,
    result: Measured,
    conditions: Mapping[str, str],
    reason: str,
) -> dict[str, Any]:
    typed = {k: v for k, v in asdict(readings).items() if k not in {"catches", "run_seconds"}}
    return {
        **typed,
        "catches": _texts(readings.catches),
        "run_seconds": _texts(readings.run_seconds),
        "measured_on": measured_on,
        "good_until": good_until(measured_on, row.life_days),
        "swath_ft": row.swath_ft,
        "new_nozzle_gpm": result.new_nozzle_gpm and result.new_nozzle_gpm.quantize(MICRO, ROUND_HALF_UP),
        "gear": conditions.get("gear", ""),
        "ground": conditions.get("ground", ""),
        "liquid": conditions.get("liquid", "") or "water",
        "note": conditions.get("note", ""),
        "gpa": result.gpa.quantize(MICRO, ROUND_HALF_UP),
        "speed_mph": result.speed_mph.quantize(MICRO, ROUND_HALF_UP),
        "total_gpm": result.catch.total_gpm.quantize(MICRO, ROUND_HALF_UP),
        "verdict": result.verdict,
        "findings": [f.as_json() for f in result.findings],
        "reason": reason,
    }
