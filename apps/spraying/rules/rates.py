"""Rates, ingredient per pass, spray volume and method against the label."""

from __future__ import annotations

from fractions import Fraction

from apps.products.rules import CapPer, LabelUse, RateBasis, exceeds
from apps.spraying.rules.caps import caps_for
from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.mix import Judged, total_pounds
from apps.spraying.rules.saying import PROJECT, justify, note, on_label, plain, pounds, refuse
from farmops.errors import Finding, gettext_noop
from farmops.units import unit_name

LOWER_IS_LAWFUL = "a lower rate is lawful unless the label forbids it: 7 USC 136(ee)"


def findings(facts: CheckFacts) -> list[Finding]:
    """Codes: rate_unit, rate_unknown, rate_high, rate_low, rate_ai_single, gpa_unknown, gpa_low,
    gpa_below_recommended, method_unknown, method."""
    found = [f for j in facts.judged for f in (*_rate(j), *_volume(facts, j), *_method(facts, j))]
    return found + _single_pass(facts)


def rate_text(use: LabelUse, value: Fraction) -> str:
    return f"{plain(value)} {unit_text(use)}"


def unit_text(use: LabelUse) -> str:
    """What a label counts in: ``fl oz/acre``."""
    against = {RateBasis.PER_ACRE: "/acre", RateBasis.PER_100_GAL: "/100 gal", RateBasis.PERCENT_VV: ""}
    return unit_name(use.rate_unit) + against[use.rate_basis]


def _rate(j: Judged) -> list[Finding]:
    product, given, source = j.line.name, str(j.line.rate), on_label(j.line, "rate", "rate")
    if not j.comparable:
        template = gettext_noop("{product}: {given} cannot be compared with the label, which counts in {unit}.")
        unit = unit_text(j.use)
        return [refuse("rate_unit", template, source=source, field="rate", product=product, given=given, unit=unit)]
    if j.rate_amount is None:
        template = gettext_noop("{product}: the rate {given} cannot be judged without the spray volume.")
        return [refuse("rate_unknown", template, source=source, field="spray_gpa", product=product, given=given)]
    rate, high = rate_text(j.use, j.rate_amount), Fraction(j.use.rate_max)
    if exceeds(j.rate_amount, high):
        template = gettext_noop("{product}: {rate} is above the label's highest rate, {limit}.")
        limit = rate_text(j.use, high)
        return [refuse("rate_high", template, source=source, field="rate", product=product, rate=rate, limit=limit)]
    if j.use.rate_min is not None and exceeds(Fraction(j.use.rate_min), j.rate_amount):
        template = gettext_noop("{product}: {rate} is below the label's lowest rate, {limit}.")
        limit, source = rate_text(j.use, Fraction(j.use.rate_min)), f"{source}; {LOWER_IS_LAWFUL}"
        return [justify("rate_low", template, source=source, field="rate", product=product, rate=rate, limit=limit)]
    return []


def _single_pass(facts: CheckFacts) -> list[Finding]:
    """All of one ingredient in this tank against the strictest limit for one pass."""
    found, tank = [], total_pounds(facts.judged)
    for ingredient, cap, line in caps_for(facts, CapPer.PASS):
        total = tank.get(ingredient, Fraction(0))
        if exceeds(total, Fraction(cap.pounds)):
            template = gettext_noop(
                "{ingredient}: {total} per acre in this tank, {limit} allowed in one application ({product})."
            )
            source = on_label(line, "caps", f"{ingredient} in one application")
            numbers = {"ingredient": ingredient, "total": pounds(total), "limit": pounds(cap.pounds)}
            found.append(refuse("rate_ai_single", template, source=source, field="rate", product=line.name, **numbers))
    return found


def _volume(facts: CheckFacts, j: Judged) -> list[Finding]:
    least = j.label.min_spray_gpa if j.use.min_spray_gpa is None else j.use.min_spray_gpa
    product, source = j.line.name, on_label(j.line, "min_spray_gpa", "spray volume")
    if facts.spray_gpa is None:
        if least is None:
            return []
        template = gettext_noop("{product} needs at least {limit} gal/acre and the spray volume is not known.")
        word = refuse if facts.at_start else justify
        return [word("gpa_unknown", template, source=source, field="spray_gpa", product=product, limit=plain(least))]
    gpa = plain(facts.spray_gpa)
    if least is not None and facts.spray_gpa < least:
        template = gettext_noop("{product}: {gpa} gal/acre is less than the label's {limit} gal/acre.")
        numbers = {"product": product, "gpa": gpa, "limit": plain(least)}
        return [refuse("gpa_low", template, source=source, field="spray_gpa", **numbers)]
    best = j.label.recommended_gpa
    if best is not None and facts.spray_gpa < best:
        template = gettext_noop("{product}: {gpa} gal/acre is less than the {limit} gal/acre the label recommends.")
        source = on_label(j.line, "recommended_gpa", "spray volume")
        numbers = {"product": product, "gpa": gpa, "limit": plain(best)}
        return [note("gpa_below_recommended", template, source=source, field="spray_gpa", **numbers)]
    return []


def _method(facts: CheckFacts, j: Judged) -> list[Finding]:
    allowed, product = j.methods, j.line.name
    if allowed is None or facts.method in allowed:
        return []
    source, listed = on_label(j.line, "methods", "method"), ", ".join(allowed)
    if not allowed:
        template = gettext_noop("{product}: its uses on this crop share no method. Name one target.")
        return [refuse("method", template, source=source, field="products", product=product)]
    if facts.method is None:
        template = gettext_noop("{product} may only go out by {listed}, and the method is not known.")
        word = refuse if facts.at_start else justify
        source = f"{source}; {PROJECT}"
        return [word("method_unknown", template, source=source, field="method", product=product, listed=listed)]
    template = gettext_noop("{product} may not go out by {method}: the label allows {listed}.")
    numbers = {"product": product, "method": facts.method.value, "listed": listed}
    return [refuse("method", template, source=source, field="method", **numbers)]
