"""What the job is done with: stock in the shed, the sprayer and its calibration."""

from __future__ import annotations

from fractions import Fraction

from apps.spraying.rules.facts import CheckFacts, StockFact
from apps.spraying.rules.mix import MixLine
from apps.spraying.rules.saying import PROJECT, justify, note, plain, refuse
from farmops.errors import Finding, gettext_noop


def findings(facts: CheckFacts) -> list[Finding]:
    """Codes: stock_short, stock_unit, sprayer_missing, calibration_missing, calibration_old, calibration_differs."""
    return [*_stock(facts), *_sprayer(facts)]


def _stock(facts: CheckFacts) -> list[Finding]:
    if facts.stock is None:
        return []
    lines = {line.product_id: line for line in facts.lines}
    return [f for line in lines.values() for f in _in_shed(line, facts.stock.get(line.product_id))]


def _in_shed(line: MixLine, stock: StockFact | None) -> list[Finding]:
    if stock is None:
        template = gettext_noop("{product}: nothing is on record in the shed.")
        return [refuse("stock_short", template, source="shed ledger", field="products", product=line.name)]
    numbers = {"product": line.name, "available": str(stock.available), "needed": str(stock.needed)}
    if stock.available.dimension is not stock.needed.dimension:
        template = gettext_noop(
            "{product}: the shed holds {available}, the job needs {needed}; these cannot be compared."
        )
        return [refuse("stock_unit", template, source="shed ledger", field="products", **numbers)]
    if stock.needed <= stock.available:
        return []
    template = gettext_noop("{product}: the job needs {needed}, {available} is available.")
    return [refuse("stock_short", template, source="shed ledger", field="products", **numbers)]


def _sprayer(facts: CheckFacts) -> list[Finding]:
    sprayer = facts.sprayer
    if sprayer is None:
        template = gettext_noop("No sprayer is named.")
        word = refuse if facts.at_start else note
        return [word("sprayer_missing", template, source=PROJECT, field="sprayer")]
    if sprayer.measured_on is None or not sprayer.measured_gpa:
        template = gettext_noop("{sprayer} has no calibration on record: its gallons per acre are a guess.")
        return [justify("calibration_missing", template, source=PROJECT, field="sprayer", sprayer=sprayer.name)]
    found = []
    if sprayer.good_until is None or sprayer.good_until < facts.on_date:
        template = gettext_noop("{sprayer} was calibrated on {on}, good until {until}.")
        until = str(sprayer.good_until or "?")
        numbers = {"sprayer": sprayer.name, "on": str(sprayer.measured_on), "until": until}
        found.append(justify("calibration_old", template, source=PROJECT, field="sprayer", **numbers))
    if facts.spray_gpa is not None:
        off = abs(Fraction(facts.spray_gpa) - Fraction(sprayer.measured_gpa)) / Fraction(sprayer.measured_gpa)
        if off > facts.policy.gpa_tolerance:
            template = gettext_noop("{planned} gal/acre is planned; {sprayer} was measured at {measured} gal/acre.")
            numbers = {
                "planned": plain(facts.spray_gpa),
                "sprayer": sprayer.name,
                "measured": plain(sprayer.measured_gpa),
            }
            source = facts.policy.where("gpa_tolerance", PROJECT)
            found.append(justify("calibration_differs", template, source=source, field="spray_gpa", **numbers))
    return found
