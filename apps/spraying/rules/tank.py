"""What the mix itself asks for: pH of the water, surfactant, partners that the label warns of."""

from __future__ import annotations

from apps.products.rules import Kind
from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.mix import Judged
from apps.spraying.rules.saying import PROJECT, justify, note, on_label, plain, refuse
from farmops.errors import Finding, gettext_noop


def findings(facts: CheckFacts) -> list[Finding]:
    """Codes: solution_ph, data_missing_ph, copper_surfactant, surfactant_unknown, mix_caution."""
    return [f for j in facts.judged for f in (*_ph(facts, j), *_surfactant(facts, j), *_cautions(facts, j))]


def _ph(facts: CheckFacts, j: Judged) -> list[Finding]:
    least = j.label.solution_ph_min
    if least is None:
        return []
    source, product = on_label(j.line, "solution_ph_min", "pH of the spray"), j.line.name
    if facts.water_ph is None:
        template = gettext_noop("{product} needs a spray of pH {limit} or more, and the pH of the water is not known.")
        word = justify if facts.at_start else note
        return [word("data_missing_ph", template, source=source, field="water_ph", product=product, limit=plain(least))]
    if facts.water_ph >= least:
        return []
    template = gettext_noop("{product}: pH {ph} is below the label's {limit}.")
    numbers = {"product": product, "ph": plain(facts.water_ph), "limit": plain(least)}
    return [refuse("solution_ph", template, source=source, field="water_ph", **numbers)]


def _surfactant(facts: CheckFacts, j: Judged) -> list[Finding]:
    if not j.label.surfactant_caution:
        return []
    source, product = on_label(j.line, "surfactant_caution", "surfactants"), j.line.name
    if facts.surfactant or any(other.label.kind is Kind.ADJUVANT for other in facts.judged):
        template = gettext_noop("{product} with a surfactant may burn leaves.")
        return [justify("copper_surfactant", template, source=source, field="products", product=product)]
    if facts.surfactant is None:
        template = gettext_noop("{product}: the label warns of surfactants. Is none in the tank?")
        return [note("surfactant_unknown", template, source=f"{source}; {PROJECT}", field="products", product=product)]
    return []


def _cautions(facts: CheckFacts, j: Judged) -> list[Finding]:
    template = gettext_noop("{product}: the label warns of mixing with {ingredient}, which is in {other}.")
    return [
        justify(
            "mix_caution",
            template,
            source=on_label(j.line, "mix_cautions", "mixing"),
            field="products",
            product=j.line.name,
            other=other.line.name,
            ingredient=ingredient,
        )
        for other in facts.judged
        if other is not j
        for ingredient in j.label.mix_cautions
        if ingredient in other.label.ingredient_names
    ]
