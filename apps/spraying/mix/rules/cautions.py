"""What the sheet says besides amounts: water, order, leftover, entry and signs, and what the pump must give."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from apps.equipment.rules.calibration import SprayerFacts
from apps.equipment.rules.field_time import acres_per_hour
from apps.equipment.rules.flow import boom_gpm_for
from apps.equipment.rules.pump import AGITATION_PERCENT, agitation_flow, pump_gpm_needed
from apps.products.rules import Label
from apps.safety.rules import EntryInterval
from apps.safety.rules.notice import OUTDOOR_HOURS, Notice, NoticeFact, notice_for
from apps.spraying.mix.rules.order import Because, Placed
from apps.spraying.mix.rules.sheet import Sheet
from farmops.errors import Finding, Severity, gettext_noop
from farmops.units import CONTEXT, round_up, show

PH_TROUBLE = Decimal("8.0")
HARD_PPM = 150
WATER_SOURCE = "Montana State University Extension, MT201305AG"
BREAKDOWN_SOURCE = "University of Florida, PI-193; Montana State University Extension, MT201305AG"


def note(code: str, template: str, *, source: str, **numbers: str) -> Finding:
    """A caution: shown, nothing asked."""
    return Finding(code=code, severity=Severity.NOTE, template=template, numbers=numbers, source=source)


def water(labels: Iterable[tuple[str, Label]], ph: Decimal | None) -> list[Finding]:
    """pH and hardness of the carrier. What was not measured is said to be unknown."""
    found = [
        note(
            "ph_for_product",
            gettext_noop("{product} asks for a spray of pH {limit} or more."),
            source=f"label of {name}",
            product=name,
            limit=show(label.solution_ph_min),
        )
        for name, label in labels
        if label.solution_ph_min is not None
    ]
    if ph is None:
        template = gettext_noop("The pH of the water is not known. Test it: above {limit} some products break down.")
        found.append(note("ph_unknown", template, source=BREAKDOWN_SOURCE, limit=show(PH_TROUBLE)))
    elif ph > PH_TROUBLE:
        template = gettext_noop(
            "The water has pH {ph}, above {limit}: many carbamates and organophosphates break down in it within "
            "hours. Read the labels about a buffer, and spray at once."
        )
        found.append(note("ph_high", template, source=BREAKDOWN_SOURCE, ph=show(ph), limit=show(PH_TROUBLE)))
    template = gettext_noop("Hard water, above {ppm} ppm, or cloudy water weakens some products: test it.")
    return [*found, note("hardness", template, source=WATER_SOURCE, ppm=str(HARD_PPM))]


def places(order: Sequence[Placed]) -> list[Finding]:
    """Products whose place in the tank nobody knows."""
    template = gettext_noop("Where {product} goes in is not known. Read its label first; here it stands last.")
    return [
        note("mix_place_unknown", template, source="project rule", product=row.line.name)
        for row in order
        if row.because is Because.UNKNOWN
    ]


def leftover(sheet: Sheet, sprayer: SprayerFacts) -> list[Finding]:
    """What stays in the tank and where it may go."""
    spare = sum((load.spare_gal for load in sheet.loads), Decimal(0))
    stays = sprayer.tank_gal - sprayer.usable_gal
    return [
        note(
            "leftover",
            gettext_noop(
                "Left over by rounding the marks: at most {spare}. What the pump cannot draw: {stays}. Spray what "
                "is left and the rinse water only where every label of the mix names the crop, within its rate; never "
                "pour it out."
            ),
            source="product labels; the amounts are worked out",
            spare=f"{show(round_up(spare, 1), 1)} gal",
            stays=f"{show(stays, 1)} gal",
        )
    ]


@dataclass(frozen=True, kw_only=True)
class Pump:
    """What the boom takes at the calibrated speed, what agitation takes, and the pump that gives both."""

    boom_gpm: Decimal
    agitation_gpm: Decimal
    needed_gpm: Decimal
    minutes_per_full_load: Decimal


def pump(sheet: Sheet, sprayer: SprayerFacts) -> Pump | None:
    """``None`` without a calibration that counts: the speed is then not known."""
    measured = sprayer.calibration
    if measured is None:
        return None
    boom = boom_gpm_for(gpa=sheet.plan.gpa, speed_mph=measured.speed_mph, swath_ft=sprayer.swath_ft)
    agitation = agitation_flow(tank=sprayer.tank_gal, percent_per_minute=AGITATION_PERCENT)
    work = acres_per_hour(speed_mph=measured.speed_mph, swath_ft=sprayer.swath_ft)
    return Pump(
        boom_gpm=boom,
        agitation_gpm=agitation,
        needed_gpm=pump_gpm_needed(boom_gpm=boom, agitation_gpm=agitation),
        minutes_per_full_load=CONTEXT.divide(sheet.loads[0].acres * 60, work),
    )


def pump_short(needs: Pump | None, sprayer: SprayerFacts) -> list[Finding]:
    """The pump that is there against what the job takes; nothing while either is not known."""
    if needs is None or sprayer.pump_gpm is None or sprayer.pump_gpm >= needs.needed_gpm:
        return []
    have, needed = (f"{show(round_up(q, 1), 1)} gal/min" for q in (sprayer.pump_gpm, needs.needed_gpm))
    template = gettext_noop("The pump gives {have}, {needed} are needed: agitation will be weak or pressure will fall.")
    return [note("pump_short", template, source="common practice, no source", have=have, needed=needed)]


@dataclass(frozen=True, kw_only=True)
class Entry:
    """The longest restricted-entry interval of the mix (``None``: unknown) and how people are told."""

    hours: Decimal | None
    telling: Finding


def entry(intervals: Sequence[EntryInterval], labels: Iterable[tuple[str, Label]]) -> Entry:
    """The longest interval of all products, and the notice that workers get of the mix (40 CFR 170.409(a))."""
    double = {name: label.double_notification for name, label in labels}
    hours = [None if i.hours is None else Decimal(i.hours) for i in intervals]
    facts = [
        NoticeFact(product=i.product, hours=h, double=double.get(i.product))
        for i, h in zip(intervals, hours, strict=True)
    ]
    asked = notice_for(facts)
    known = [h for h in hours if h is not None]
    longest = max(known) if known and len(known) == len(hours) else None
    return Entry(hours=longest, telling=_telling(asked, longest, [name for name, both in double.items() if both]))


def _telling(asked: Notice, longest: Decimal | None, double: Sequence[str]) -> Finding:
    source = "40 CFR 170.409(a)"
    if asked is Notice.BOTH and double:
        template = gettext_noop("Put up signs before spraying and tell every worker: the label of {product} asks it.")
        return note("tell_and_sign", template, source=source, product=", ".join(double))
    if asked is Notice.BOTH or longest is None:
        template = gettext_noop("The entry interval is not known. Put up signs before spraying, and tell every worker.")
        return note("sign_unknown", template, source="project rule")
    if asked is Notice.POSTED:
        template = gettext_noop("Put up signs before spraying: the interval is longer than {limit} hours.")
        return note("sign", template, source=source, limit=show(OUTDOOR_HOURS))
    template = gettext_noop("Tell every worker who comes near, or put up signs before spraying.")
    return note("tell_or_sign", template, source=source)
