"""What a spray leaves behind: the waits it puts on the ground, what was really used, who says when it ended."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from fractions import Fraction

from apps.crops.rules import FALLOW_COVER
from apps.products.rules import Rate, amount_in, phi_days, rei_hours
from apps.safety.rules import EntryInterval, HarvestWait, Reason
from apps.spraying.rules.mix import Judged, MixLine, judge
from farmops.errors import BadInput, Finding, Severity, gettext_noop
from farmops.units import CONTEXT, Quantity, round_up, show

DEVIATION = Fraction(5, 100)
"""More than this off the planned rate asks for a reason (project rule)."""

CLOCKS_DIFFER = timedelta(minutes=2)
LONGEST = timedelta(hours=36)
"""One job that lasted longer is a slip in a date (project rule)."""

_DRY = re.compile(r"\bdr(?:y|ied|ies)\b", re.I)


def entry_intervals(
    lines: Iterable[MixLine], site_code: str | None, spray_gpa: Decimal | None
) -> tuple[EntryInterval, ...]:
    """Every restricted-entry statement of the products in the tank (40 CFR 170.407; label text).

    A product without a label, or whose label has no interval, gives one without hours: unknown. An activity
    with an interval of its own is hung beside the general one, so a shorter one never shortens it.
    """
    return tuple(i for line in lines for i in intervals_of(line, judge(line, site_code, spray_gpa)))


def intervals_of(line: MixLine, judged: Judged | None) -> list[EntryInterval]:
    """The restricted-entry statements of one product."""
    if judged is None:
        return [EntryInterval(product=line.name)]
    label, use = judged.label, judged.use
    general = label.rei_hours if use.rei_hours is None else use.rei_hours
    condition = _condition(label.condition_release)
    found = [EntryInterval(product=line.name, hours=general, condition=condition)]
    for activity in sorted({row.activity for row in (*label.activity_rei, *use.activity_rei)}):
        hours = rei_hours(label, use, activity)
        found.append(EntryInterval(product=line.name, hours=hours, activities=frozenset({activity})))
    return found


def _condition(text: str) -> Reason | None:
    """``until sprays have dried`` waits for dryness; any other condition for a level that somebody attests."""
    if not text.strip():
        return None
    return Reason.UNTIL_DRY if _DRY.search(text) else Reason.UNTIL_LEVEL


def harvest_waits(
    lines: Iterable[MixLine], site_code: str | None, spray_gpa: Decimal | None
) -> tuple[HarvestWait, ...] | None:
    """The days before harvest of each product at its rate; ``None`` where only a cover crop stands.

    Nothing on record, no label, or a crop the label does not name is unknown, which is not zero.
    """
    if site_code == FALLOW_COVER:
        return None
    found = []
    for line in lines:
        judged = judge(line, site_code, spray_gpa)
        known = judged is not None and judged.listed
        days = phi_days(judged.use, judged.rate_amount) if judged is not None and known else None
        found.append(HarvestWait(product=line.name, days=days))
    return tuple(found)


# ---- what was really used --------------------------------------------------------------


def per_acre(amount: Quantity, acres: Decimal) -> Quantity:
    """An amount spread over treated acres."""
    return Quantity(CONTEXT.divide(amount.amount, acres), amount.unit)


def achieved_gpa(sprayed_gal: Decimal, acres: Decimal) -> Decimal:
    """The spray volume that was really put on: gallons over treated acres (both above 0), in gal/ac."""
    return CONTEXT.divide(sprayed_gal, acres)


def deviation(planned: Quantity, actual: Quantity) -> Fraction:
    """How far the amount per acre is off the plan, as a share of the plan: 0.05 is 5 % more."""
    return amount_in(actual, planned.unit) / Fraction(planned.amount) - 1


def off_plan(planned: Quantity, actual: Quantity) -> bool:
    """More than 5 % either way, beyond what rounding in a measuring jug leaves."""
    return abs(deviation(planned, actual)) > DEVIATION + Fraction(1, 10**6)


def percent_text(share: Fraction) -> str:
    """``+7.5 %`` for a share of 0.075."""
    value = CONTEXT.divide(Decimal(share.numerator * 100), Decimal(share.denominator))
    return f"{'+' if value > 0 else ''}{show(value, 1)} %"


def higher_rate(planned: Rate, actual: Rate | None, spray_gpa: Decimal | None) -> Rate:
    """While nobody has signed, the larger of what was planned and what was reported counts (project rule)."""
    expected = planned.per_acre(spray_gpa)
    if actual is None or expected is None or expected.dimension is not actual.quantity.dimension:
        return planned
    return actual if amount_in(actual.quantity, expected.unit) > Fraction(expected.amount) else planned


def product_needed(rate: Rate, *, acres: Decimal, spray_gpa: Decimal | None) -> Quantity | None:
    """Product for all acres of a job, rounded up to a ten-thousandth; ``None`` while the spray volume is missing."""
    each = rate.per_acre(spray_gpa)
    if each is None:
        return None
    return Quantity(round_up(CONTEXT.multiply(each.amount, acres), 4), each.unit)


# ---- when it was -----------------------------------------------------------------------


@dataclass(frozen=True, kw_only=True)
class Claim:
    """What one person says about start and end."""

    person_id: int
    started_at: datetime
    ended_at: datetime


@dataclass(frozen=True, kw_only=True)
class Agreed:
    """The times that count: the earliest start and the latest end that anybody claims."""

    started_at: datetime
    ended_at: datetime
    disputed: bool


def agree(claims: Sequence[Claim]) -> Agreed:
    """Each person's last word; where two people differ the longer stretch counts (project rule)."""
    last = {claim.person_id: claim for claim in claims}.values()
    ends = {claim.ended_at for claim in last}
    starts = {claim.started_at for claim in last}
    return Agreed(started_at=min(starts), ended_at=max(ends), disputed=len(ends) > 1)


def check_times(started_at: datetime, ended_at: datetime, *, now: datetime) -> None:
    """``BadInput`` naming the field of a time that cannot be."""
    errors: dict[str, str] = {}
    if started_at > now + CLOCKS_DIFFER:
        errors["started_at"] = gettext_noop("The start cannot be later than now.")
    if ended_at > now + CLOCKS_DIFFER:
        errors["ended_at"] = gettext_noop("The end cannot be later than now.")
    elif ended_at <= started_at:
        errors["ended_at"] = gettext_noop("The end must be after the start.")
    elif ended_at - started_at > LONGEST:
        errors["ended_at"] = gettext_noop("More than 36 hours after the start: check the date.")
    if errors:
        raise BadInput(errors)


def early_start(window_starts_at: datetime, now: datetime, stamped: str) -> list[Finding]:
    """Nobody sprays before the window: until then the board tells people that they may be there."""
    if now >= window_starts_at:
        return []
    template = gettext_noop(
        "The window begins {window}. Until then people may have been told that they can be in the block."
    )
    return [
        Finding(
            code="too_early",
            severity=Severity.REFUSE,
            template=template,
            numbers={"window": stamped},
            source="project rule: no spraying before the window that the board announced",
            field="start_at",
        )
    ]
