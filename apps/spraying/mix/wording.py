"""The mix sheet in the reader's words: headings, steps and amounts, for the page, the paper and the interface."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from django.utils.translation import get_language, gettext, gettext_noop

from apps.products.wording import named
from apps.spraying.mix.models import MixTick
from apps.spraying.mix.queries import MixSheet
from apps.spraying.mix.rules import AFTER, BEFORE, Because, Load, Placed
from apps.spraying.mix.rules.order import DRY
from farmops import clock, wording
from farmops.units import round_up, show, unit_name

STEP_WORDS: Mapping[str, str] = {
    "label_read": gettext_noop("The label of each product is at hand and read"),
    "wear": gettext_noop("Gear for mixing is on"),
    "water_tested": gettext_noop("The water is clean; pH and hardness are known"),
    "jar_test": gettext_noop("Jar test done: no heat, gas, layers, gel or flakes"),
    "posted": gettext_noop("Workers are told, and signs are up where they must be"),
    "sprayer_rinsed": gettext_noop("Sprayer rinsed; rinse water sprayed on ground the labels allow"),
    "containers": gettext_noop("Empty containers rinsed three times, punctured and put away"),
    "washed": gettext_noop("Gloves washed before they came off; hands and face washed"),
}
STAGE_HINTS = {stage: gettext_noop("Wait until it is all dispersed before the next one.") for stage in DRY}


@dataclass(frozen=True, kw_only=True)
class StepRow:
    """One step as it is read: what to do, how much, a hint, and who ticked it when."""

    load: int
    code: str
    words: str
    amount: str = ""
    hint: str = ""
    tick: MixTick | None = None
    said: str = ""

    @property
    def done(self) -> bool:
        """Ticked, as far as the book knows."""
        return self.tick is not None and self.tick.done


@dataclass(frozen=True, kw_only=True)
class Group:
    """Steps under one heading."""

    code: str
    title: str
    rows: tuple[StepRow, ...]


def gallons(amount: Decimal, places: int = 1) -> str:
    """Gallons of water or of mix, for reading."""
    return f"{show(amount, places)} {unit_name('gal')}"


def together(words: str) -> str:
    """A number and its unit stay on one line."""
    return re.sub(r"(?<=\d) (?=[a-zA-Z])", "\u00a0", words)


def because(row: Placed) -> str:
    """What the place of a product rests on, in words."""
    said = {
        Because.LABEL: gettext("by its label"),
        Because.CODE: gettext("by its formulation, %(code)s") % {"code": row.line.code},
        Because.KIND: gettext("by what it is for"),
        Because.UNKNOWN: gettext("not known: read its label"),
    }[row.because]
    return said if row.stage is None else f"{named(row.stage)}, {said}"


def saved(tick: MixTick | None, zone: str) -> str:
    """``Saved: Mon, Jul 6, 7:12 AM CDT, Devin Ortiz``; empty while nothing is ticked."""
    if tick is None or not tick.done:
        return ""
    at = wording.instant(clock.to_local(tick.happened_at, zone), zone, get_language())
    return gettext("Saved: %(at)s, %(who)s") % {"at": at, "who": tick.by.full_name}


def summary(made: MixSheet) -> str:
    """Sprayer, acres, rate and gallons in one line."""
    plan = made.sheet.plan
    return gettext("%(sprayer)s, %(acres)s acres at %(gpa)s gal/ac, %(total)s in all") % {
        "sprayer": made.sprayer.name,
        "acres": show(plan.acres),
        "gpa": show(plan.gpa, 3),
        "total": gallons(plan.total_gal, 2),
    }


def groups(made: MixSheet) -> list[Group]:
    """The whole checklist: before, load by load, after."""
    steps = {step for step in made.sheet.steps() if step[0] == 0}
    before = [_plain(made, code) for code in BEFORE if (0, code) in steps]
    after = [_plain(made, code) for code in AFTER]
    return [
        Group(code="before", title=gettext("Before you mix"), rows=tuple(before)),
        *(_of_load(made, load) for load in made.sheet.loads),
        Group(code="after", title=gettext("After the last load"), rows=tuple(after)),
    ]


def _plain(made: MixSheet, code: str) -> StepRow:
    return _row(made, 0, code, gettext(STEP_WORDS[code]))


def _of_load(made: MixSheet, load: Load) -> Group:
    title = gettext("Load %(n)d of %(all)d: %(gal)s for %(acres)s acres") % {
        "n": load.number,
        "all": len(made.sheet.loads),
        "gal": gallons(load.mark_gal),
        "acres": show(load.acres, 3),
    }
    products = [_product(made, load, place, row) for place, row in enumerate(made.sheet.order)]
    first = gettext("Water in first, agitation on")
    rinse = gettext("Rinse each container that is empty now three times into the tank")
    drill = gettext("Fill a quarter, cap, shake 30 seconds, pour in, drain 30 seconds; three times.")
    last = gettext("Fill up with water to the mark")
    about = gettext("about %(gal)s more, rinse water counted in") % {"gal": gallons(load.last_water_gal)}
    rows = (
        _row(made, load.number, "water_first", first, amount=gallons(load.first_water_gal)),
        *products,
        _row(made, load.number, "rinse", rinse, hint=drill),
        _row(made, load.number, "water_last", last, amount=gallons(load.mark_gal), hint=about),
    )
    return Group(code=f"load-{load.number}", title=title, rows=rows)


def _product(made: MixSheet, load: Load, place: int, row: Placed) -> StepRow:
    portion = load.portions[place]
    exact = gettext("exactly %(amount)s or less") % {"amount": portion.measure.exact}
    wait = gettext(STAGE_HINTS[row.stage]) if row.stage in STAGE_HINTS else ""
    hint = ". ".join(t for t in (exact, wait) if t)
    code = f"product-{portion.product_id}"
    return _row(made, load.number, code, portion.name, amount=together(str(portion.measure)), hint=hint)


def _row(made: MixSheet, load: int, code: str, words: str, *, amount: str = "", hint: str = "") -> StepRow:
    tick = made.ticks.get((load, code))
    said = saved(tick, made.job.farm.time_zone)
    return StepRow(load=load, code=code, words=words, amount=amount, hint=hint, tick=tick, said=said)


def entry_words(made: MixSheet) -> str:
    """The restricted-entry interval of the mix in words; unknown is said."""
    hours = made.entry.hours
    if hours is None:
        return gettext("Restricted entry: not known. Keep everybody out until it is.")
    return gettext("Restricted entry: %(hours)s hours after the end of spraying, the longest of the mix.") % {
        "hours": show(hours)
    }


def pump_words(made: MixSheet) -> str:
    """What boom, agitation and pump must give; why not, without a calibration."""
    if made.pump is None:
        return gettext("No calibration counts on this day, so flow and time per load are not known.")
    numbers = {
        "boom": show(round_up(made.pump.boom_gpm, 1), 1),
        "agitation": show(round_up(made.pump.agitation_gpm, 1), 1),
        "pump": show(round_up(made.pump.needed_gpm, 1), 1),
        "minutes": show(round_up(made.pump.minutes_per_full_load, 0), 0),
    }
    said = gettext(
        "Boom %(boom)s gal/min and agitation %(agitation)s gal/min: the pump must give %(pump)s gal/min with a "
        "reserve of a fifth. Spraying the first load takes about %(minutes)s minutes without turns."
    )
    return said % numbers


def wear(made: MixSheet) -> list[dict[str, Any]]:
    """Gear by product for mixing and for spraying, in the label's words; none noted is said."""
    none = gettext("not noted: read the label")
    return [
        {
            "product": v.product.name,
            "mixing": ", ".join(v.facts.ppe.mixing) or none,
            "applying": ", ".join(v.facts.ppe.applying) or none,
        }
        for v in made.versions
    ]
