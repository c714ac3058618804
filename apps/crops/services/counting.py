"""Scouting counts, and the thresholds they are held against."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.crops import counts, rules
from apps.crops.models import NAME_LENGTH, NOTE_LENGTH, ScoutCount, ThresholdRow
from apps.crops.rules import TRAPS, Measure, Place, Surety, Unit
from apps.crops.services.scouting import day_of_look, planting_on
from apps.crops.services.typed import choice, reason_for_taking_back
from apps.land import queries as land
from apps.people.models import Farm
from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.people.services import save_changes
from farmops.errors import BadInput, NotYourRole, Said, Stale, gettext_noop
from farmops.faults import Faults
from farmops.units import number

WHOLE = {"sample_min": (1, 10_000), "places_min": (1, 40), "places": (1, 40), "per_place": (1, 1000)}


@transaction.atomic
def record_count(
    *,
    member: Member,
    block_id: int,
    threshold_code: str,
    looked_on: date,
    places: Sequence[Mapping[str, int]],
    now: datetime,
    nights: int | None = None,
    planting_id: int | None = None,
    text: str = "",
) -> ScoutCount:
    """Write down a count made by one of the farm's thresholds; anybody on the farm may.

    ``places``: ``examined`` and ``found`` for each stop of the walk. The threshold is kept beside the count as it is
    now, so that a later change does not change what was found. Raises ``BadInput`` naming each field.
    """
    member.require(Can.SCOUT)
    farm, block = member.farm, land.block(member.farm, block_id)
    rule = counts.threshold(farm, threshold_code).rule
    spots = [Place(examined=p["examined"], found=p["found"]) for p in places]
    nights = nights if rule.measure in TRAPS else None
    faults = Faults()
    faults.take(lambda: rules.check_places(rule, spots, nights), None)
    values = {
        "looked_on": faults.take(lambda: day_of_look(farm, looked_on, now), looked_on),
        "planting_id": faults.take(lambda: planting_on(block, planting_id), None),
        "text": faults.text({"text": text}, "text", "", NOTE_LENGTH, ""),
    }
    faults.raise_any()
    answer = rules.judge_count(rule, spots, nights)
    row = ScoutCount.objects.add(
        farm=farm,
        block=block,
        threshold_code=rule.code,
        pest=rule.pest,
        rule=counts.as_json(rule),
        spots=[[p.examined, p.found] for p in spots],
        nights=nights,
        verdict=answer.verdict.value,
        recorded_at=now,
        recorded_by_id=member.person_id,
        **values,
    )
    after = {**values, "threshold": rule.code, "spots": row.spots, "nights": nights, "verdict": row.verdict}
    audit.record(farm=farm, actor=member, verb="counted", subject=row, now=now, after=after)
    return row


@transaction.atomic
def withdraw_count(*, member: Member, count_id: int, reason: str, now: datetime) -> ScoutCount:
    """Take back a wrong count, with the reason; one's own, or any by a manager. The row stays."""
    member.require(Can.SCOUT)
    rows = ScoutCount.objects.for_farm(member.farm).select_for_update().filter(pk=count_id, withdrawn_at=None)
    row: ScoutCount = one(rows)
    if row.recorded_by_id != member.person_id and not member.can(Can.EDIT_CROPS):
        raise NotYourRole(gettext_noop("Only who wrote this note or a manager may withdraw it."))
    said = reason_for_taking_back(reason)
    row.withdrawn_at = now
    row.save(update_fields=["withdrawn_at"])
    audit.record(farm=member.farm, actor=member, verb="withdrew", subject=row, now=now, after={"reason": said})
    return row


@transaction.atomic
def set_threshold(
    *, member: Member, code: str, expected_version: int, changes: Mapping[str, Any], now: datetime
) -> ThresholdRow:
    """Change a threshold, or add one of the farm's own (``expected_version`` 0 while the farm has no row for it).

    One that came with the book keeps its code; changed, it is the farm's own and its source should say whose word it
    is. Raises ``Stale`` when somebody was quicker, ``BadInput`` naming each field.
    """
    member.require(Can.EDIT_CROPS)
    Farm.objects.select_for_update(no_key=True).get(pk=member.farm.pk)
    code = rules.read_code(code)
    known = counts.thresholds(member.farm).get(code)
    start = {} if known is None else {**counts.as_json(known.rule), "active": known.active}
    values = _values({**start, **changes})
    if known is not None and known.version:
        row = ThresholdRow.objects.for_farm(member.farm).select_for_update().get(code=code)
        changed: ThresholdRow = save_changes(
            row, member=member, expected_version=expected_version, changes=values, now=now
        )
        return changed
    if expected_version:
        raise Stale()
    row = ThresholdRow.objects.add(farm=member.farm, code=code, **values)
    audit.record(farm=member.farm, actor=member, verb="set", subject=row, now=now, after=values)
    return row


def _values(typed: Mapping[str, Any]) -> dict[str, Any]:
    """Checked columns of a threshold; every fault at its own field."""
    faults = Faults()
    enter, no_crops = gettext_noop("Enter a short text."), list[str]()
    values: dict[str, Any] = {
        "name": faults.text(typed, "name", "", NAME_LENGTH, enter),
        "pest": faults.take(lambda: rules.read_code(_code(typed.get("pest")), field="pest"), ""),
        "when": faults.text(typed, "when", "", NAME_LENGTH, ""),
        "walk": faults.text(typed, "walk", "", NOTE_LENGTH, ""),
        "source": faults.text(typed, "source", "", 200, gettext_noop("Say whose word this is.")),
        "measure": faults.take(lambda: choice(Measure, typed.get("measure"), "measure"), Measure.FOUND).value,
        "unit": faults.take(lambda: choice(Unit, typed.get("unit"), "unit"), Unit.PLANT).value,
        "surety": faults.take(lambda: choice(Surety, typed.get("surety", Surety.OWN), "surety"), Surety.OWN).value,
        "treat_at": faults.take(lambda: _treat_at(typed.get("treat_at")), None),
        "crops": faults.take(lambda: _crops(typed), no_crops),
        "active": bool(typed.get("active", True)),
    }
    for name, (least, most) in WHOLE.items():
        values[name] = faults.take(lambda n=name, a=least, b=most: _whole(typed.get(n), n, a, b), None)
    hold = typed.get("hold_days")
    values["hold_days"] = None if hold in (None, "") else faults.take(lambda: _whole(hold, "hold_days", 1, 60), None)
    faults.raise_any()
    return values


def _crops(typed: Mapping[str, Any]) -> list[str]:
    return [rules.read_code(code, field="crops") for code in typed.get("crops") or []]


def _code(value: object) -> str:
    return str(value or "").strip().lower().replace(" ", "_").replace("-", "_")


def _treat_at(value: object) -> Decimal:
    found = number("" if value is None else value, field="treat_at", minimum=0, maximum=10_000)  # type: ignore[arg-type]
    if found <= 0 or found != round(found, 2):
        raise BadInput({"treat_at": gettext_noop("Must be more than 0, with at most two decimals.")})
    return found


def _whole(value: object, field: str, least: int, most: int) -> int:
    text = str(value if value is not None else "").strip()
    if not (text.isascii() and text.isdigit() and len(text) < 7 and least <= int(text) <= most):
        said = gettext_noop("Must be a whole number from {least} to {most}.")
        raise BadInput({field: Said(said, least=least, most=most)})
    return int(text)
