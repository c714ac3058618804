"""Pre-harvest and restricted-entry intervals against the harvest and the work that is scheduled.

The same two functions answer the field board, so plan and board can never disagree.
"""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal

from apps.products.rules import phi_days, rei_hours
from apps.safety.rules import about_work, entry_end, harvest_opens
from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.mix import Judged
from apps.spraying.rules.outcome import intervals_of
from apps.spraying.rules.saying import PROJECT, justify, note, on_label, plain, refuse
from farmops.errors import Finding, gettext_noop

REI_LAW = "40 CFR 170.407"
COUNTING = "project rule: full days of 24 hours after the end, never earlier than the calendar"


def findings(facts: CheckFacts) -> list[Finding]:
    """Codes: phi, phi_unknown, harvest_unknown, rei_harvest, rei_entry, rei_unknown, value_late."""
    return [*_phi(facts), *_rei_unknown(facts), *_rei(facts), *_value(facts)]


def harvests(facts: CheckFacts) -> list[datetime]:
    """Every moment at which picking is expected at or after the start."""
    return [at for at, _ in _pickings(facts)]


def _pickings(facts: CheckFacts) -> list[tuple[datetime, str | None]]:
    """(when, what kind of work) of every expected picking, earliest first."""
    planned = [(e.at, e.activity) for e in facts.entries if e.is_harvest and e.at >= facts.start_at]
    stated = [(facts.harvest_at, facts.harvest_activity)] if facts.harvest_at else []
    return sorted([*planned, *stated], key=lambda row: row[0])


def _phi(facts: CheckFacts) -> list[Finding]:
    if not facts.is_cash_crop:
        return []
    found, listed = [], [j for j in facts.judged if j.listed]
    for j in listed:
        if phi_days(j.use, j.rate_amount) is None:
            template = gettext_noop(
                "{product}: the days before harvest are not on record for this crop. Unknown is not zero."
            )
            source = on_label(j.line, "phi_days", "days before harvest")
            found.append(justify("phi_unknown", template, source=source, product=j.line.name))
    picks = harvests(facts)
    if not picks:
        template = gettext_noop("No harvest is planned on {block}, so the days before harvest were not compared.")
        waits = any(phi_days(j.use, j.rate_amount) != 0 for j in listed)
        return [*found, *([note("harvest_unknown", template, source=PROJECT, block=facts.block_name)] if waits else [])]
    return found + [f for j in listed if (f := _too_early(facts, j, picks[0])) is not None]


def _too_early(facts: CheckFacts, j: Judged, pick_at: datetime) -> Finding | None:
    days = phi_days(j.use, j.rate_amount)
    opens_at = harvest_opens(facts.end_at, days, facts.zone)
    if opens_at is None or pick_at >= opens_at:
        return None
    template = gettext_noop(
        "{product}: {days} days before harvest, so not before {opens}; harvest is planned for {harvest}."
    )
    numbers = {
        "product": j.line.name,
        "days": str(days),
        "opens": facts.local(opens_at),
        "harvest": facts.local(pick_at),
    }
    source = on_label(j.line, "phi_days", f"days before harvest; {COUNTING}")
    return refuse("phi", template, source=source, field="start_at", **numbers)


def longest_rei(facts: CheckFacts, activity: str | None) -> tuple[Decimal, Judged] | None:
    """The longest known interval in the tank that binds a kind of work, as the board reads it, and whose it is."""
    rows = [
        (Decimal(said.hours), j)
        for j in facts.judged
        for said in intervals_of(j.line, j)
        if said.hours is not None and about_work(said.activities, activity)
    ]
    return max(rows, key=lambda row: (row[0], row[1].line.name), default=None)


def _rei_unknown(facts: CheckFacts) -> list[Finding]:
    template = gettext_noop(
        "{product}: no restricted-entry interval on record. The board will say unknown until there is one."
    )
    return [
        justify("rei_unknown", template, source=on_label(j.line, "rei_hours", REI_LAW), product=j.line.name)
        for j in facts.judged
        if rei_hours(j.label, j.use) is None
    ]


def _rei(facts: CheckFacts) -> list[Finding]:
    found = _picked_too_early(facts)
    for entry in facts.entries:
        row = longest_rei(facts, entry.activity)
        ends_at = entry_end(facts.end_at, row[0]) if row else None
        if row and ends_at and not entry.is_harvest and facts.start_at <= entry.at < ends_at:
            template = gettext_noop(
                "{product}: entry is restricted for {hours} h, until {ends}; work scheduled for {at} will be held."
            )
            found.append(justify("rei_entry", template, **_said(facts, row, ends_at, entry.at)))
    return found


def _picked_too_early(facts: CheckFacts) -> list[Finding]:
    """The first picking inside the longer of two intervals: that of its own kind of work, and that of the harvest."""
    for at, activity in _pickings(facts):
        rows = [row for kind in (facts.harvest_activity, activity) if (row := longest_rei(facts, kind)) is not None]
        row = max(rows, key=lambda known: known[0], default=None)
        ends_at = entry_end(facts.end_at, row[0]) if row else None
        if row and ends_at and at < ends_at:
            template = gettext_noop(
                "{product}: entry is restricted for {hours} h, until {ends}; harvest is planned for {at}."
            )
            return [refuse("rei_harvest", template, **_said(facts, row, ends_at, at))]
    return []


def _said(facts: CheckFacts, row: tuple[Decimal, Judged], ends_at: datetime, at: datetime) -> dict[str, str]:
    return {
        "source": on_label(row[1].line, "rei_hours", f"restricted-entry interval; {REI_LAW}"),
        "field": "start_at",
        "product": row[1].line.name,
        "hours": plain(row[0]),
        "ends": facts.local(ends_at),
        "at": facts.local(at),
    }


def _value(facts: CheckFacts) -> list[Finding]:
    """Advice only: a spray on fruit that is all mature is usually wasted."""
    if not (facts.is_cash_crop and facts.all_mature):
        return []
    template = gettext_noop("All fruit on {block} is noted as mature: this spray may not pay for itself.")
    source = "Purdue, Vegetable Crops Hotline, late season disease management in pumpkins"
    return [justify("value_late", template, source=source, block=facts.block_name)]
