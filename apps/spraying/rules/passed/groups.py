"""Resistance rules that are kept: runs that a label limits, and the advice the farm follows."""

from __future__ import annotations

from collections.abc import Iterator

from apps.products.rules import Group
from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.mix import groups_in
from apps.spraying.rules.passed.row import Passed, passes
from apps.spraying.rules.policies import GroupRule
from apps.spraying.rules.resistance import Sequence, classes_for, same_target, sequence
from apps.spraying.rules.saying import grounds, on_label
from farmops.errors import gettext_noop


def passed(facts: CheckFacts) -> Iterator[Passed]:
    for group in groups_in(facts.lines):
        stories = [sequence(facts, events, group) for events in grounds(facts).values()]
        yield from _label_runs(facts, group, stories)
        for rule in facts.policy.group_rules:
            if rule.covers(group, classes_for(facts, group)) and not rule.carry_over:
                yield from _advice(group, rule, stories)


def _label_runs(facts: CheckFacts, group: Group, stories: list[Sequence]) -> Iterator[Passed]:
    run = max(story.run(group) for story in stories)
    for line in facts.lines:
        for limit in line.label.group_run_limits if line.label else ():
            if same_target(limit.group, group):
                template = gettext_noop("{group}: spray {count} in a row; the label of {product} allows {limit}.")
                numbers = {
                    "group": str(group),
                    "count": str(run),
                    "product": line.name,
                    "limit": str(limit.max_in_a_row),
                }
                source = on_label(line, "group_run_limits", "sprays of one group in a row")
                yield passes("label_run", template, "group_consec_label", source=source, about=str(group), **numbers)


def _advice(group: Group, rule: GroupRule, stories: list[Sequence]) -> Iterator[Passed]:
    about, run = str(group), max(story.run(group) for story in stories)
    if rule.max_in_a_row is not None:
        template = gettext_noop("{group}: spray {count} in a row; advised is at most {limit}.")
        numbers = {"group": about, "count": str(run), "limit": str(rule.max_in_a_row)}
        against = "group_consec group_consec_label"
        yield passes("advised_run", template, against, source=rule.source, about=about, **numbers)
    if rule.max_per_crop is not None:
        template = gettext_noop("{group}: spray {count} in this crop; advised is at most {limit}.")
        count = max(story.count(group) for story in stories)
        numbers = {"group": about, "count": str(count), "limit": str(rule.max_per_crop)}
        yield passes("advised_crop", template, "group_max_crop", source=rule.source, about=about, **numbers)
    if rule.window is not None:
        template = gettext_noop("{group}: {count} of any {size} sprays in a row; advised is at most {limit}.")
        most = max(story.most_in(group, rule.window[1]) for story in stories)
        numbers = {"group": about, "count": str(most), "size": str(rule.window[1]), "limit": str(rule.window[0])}
        yield passes("advised_window", template, "group_window", source=rule.source, about=about, **numbers)
    if rule.needs_multisite:
        template = gettext_noop("{group}: a multi-site product is in the same tank.")
        yield passes("advised_partner", template, "no_multisite_partner", source=rule.source, group=about)
