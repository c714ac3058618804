"""Is there a checked label, and does it name this crop?"""

from __future__ import annotations

from apps.products.rules import uses_on
from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.mix import Judged, MixLine
from apps.spraying.rules.saying import PROJECT, justify, note, on_label, refuse
from farmops.errors import Finding, gettext_noop

MISUSE = "using a product inconsistent with its labeling: 7 USC 136j(a)(2)(G)"


def findings(facts: CheckFacts) -> list[Finding]:
    """Codes: nothing_planned, label_missing, label_unchecked, site_unknown, crop_not_on_label, target_not_on_label,
    target_open, label_condition, double_notification, condition_release, stated_twice."""
    if not facts.lines:
        return [refuse("nothing_planned", gettext_noop("No product is planned."), source=PROJECT, field="products")]
    found = [f for line in facts.lines for f in _paper(line)]
    found += [f for j in facts.judged for f in (*_site(facts, j), *_target(facts, j), *_conditions(j))]
    names = [line.name for place, line in enumerate(facts.lines) if line.product_id in _ids(facts.lines[:place])]
    twice = gettext_noop("{product} stands in the mix more than once: each line is counted.")
    return found + [note("stated_twice", twice, source=PROJECT, product=name) for name in dict.fromkeys(names)]


def _ids(lines: tuple[MixLine, ...]) -> set[int | str]:
    return {line.product_id for line in lines}


def _paper(line: MixLine) -> list[Finding]:
    if line.label is None:
        template = gettext_noop("{product} has no label in the library that is in force on the day.")
        return [refuse("label_missing", template, source=PROJECT, field="products", product=line.name)]
    if not line.label_checked:
        template = gettext_noop("The label of {product} is not marked as checked against the paper by a named person.")
        source = ", ".join((PROJECT, on_label(line)))
        return [refuse("label_unchecked", template, source=source, field="products", product=line.name)]
    return []


def _site(facts: CheckFacts, j: Judged) -> list[Finding]:
    if j.listed:
        return []
    if facts.site_code is None:
        template = gettext_noop("Nothing is recorded as growing on {block}, so no use of {product} can be picked.")
        return [refuse("site_unknown", template, source=PROJECT, block=facts.block_name, product=j.line.name)]
    template = gettext_noop("{product} is not labelled for {crop}.")
    crop = facts.crop_name or facts.site_code
    return [
        refuse("crop_not_on_label", template, source=on_label(j.line, "uses", MISUSE), product=j.line.name, crop=crop)
    ]


def _target(facts: CheckFacts, j: Judged) -> list[Finding]:
    if not j.listed:
        return []
    on_site = uses_on(j.label, facts.site_code)
    wanted = ", ".join(j.line.targets)
    if j.line.targets and not uses_on(j.label, facts.site_code, j.line.targets):
        template = gettext_noop("The label of {product} does not name {targets} on this crop.")
        source = on_label(j.line, "uses", "lawful on a listed site unless the label forbids it: 7 USC 136(ee)")
        return [justify("target_not_on_label", template, source=source, product=j.line.name, targets=wanted)]
    if not j.line.targets and len(on_site) > 1:
        template = gettext_noop(
            "The label of {product} has {count} uses on this crop. No target is named, so the strictest limits count."
        )
        return [
            note("target_open", template, source=on_label(j.line, "uses"), product=j.line.name, count=str(len(on_site)))
        ]
    return []


def _conditions(j: Judged) -> list[Finding]:
    found = []
    for code, key, text, words in (
        ("label_condition", "conditions", j.use.conditions if j.listed else "", "conditions of use"),
        ("condition_release", "condition_release", j.label.condition_release, "entry"),
    ):
        if text:
            template = gettext_noop("{product}, from the label: {text}")
            found.append(note(code, template, source=on_label(j.line, key, words), product=j.line.name, text=text))
    if j.label.double_notification:
        template = gettext_noop("{product}: the label asks for a spoken warning and a posted sign.")
        source = on_label(j.line, "double_notification", "40 CFR 156.210")
        found.append(note("double_notification", template, source=source, product=j.line.name))
    return found
