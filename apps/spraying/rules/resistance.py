"""Resistance management: runs, windows, counts and shares of one group on one piece of ground.

Groups are (scheme, code); a premix counts for each of its groups; a tank is one spray. A label's own
run limit refuses, advice asks for a reason.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from fractions import Fraction

from apps.products.rules import Group
from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.mix import Event, MixLine, fights, groups_in
from apps.spraying.rules.policies import GroupRule, class_of
from apps.spraying.rules.saying import by_ground, justify, on_label, refuse
from farmops.errors import Finding, gettext_noop


def findings(facts: CheckFacts) -> list[Finding]:
    """Codes: group_consec_label, group_consec, group_window, group_max_crop, group_max_year, group_share, group_rest,
    group_generation, group_after_failure, no_multisite_partner."""
    return [*by_ground(facts, _on_ground), *_partner(facts)]


@dataclass(frozen=True)
class Sequence:
    """The sprays of one story in order, each as the groups it held; ``at`` is the place of the planned one."""

    events: tuple[tuple[Event, ...], ...]
    at: int

    def has(self, place: int, group: Group) -> bool:
        return any(same_target(g, group) for event in self.events[place] for g in groups_in(event.lines))

    def count(self, group: Group) -> int:
        return sum(self.has(place, group) for place in range(len(self.events)))

    def run(self, group: Group) -> int:
        """Sprays in a row with ``group`` that the planned one belongs to."""
        first = last = self.at
        while first > 0 and self.has(first - 1, group):
            first -= 1
        while last + 1 < len(self.events) and self.has(last + 1, group):
            last += 1
        return last - first + 1

    def most_in(self, group: Group, size: int) -> int:
        """The most sprays with ``group`` in any ``size`` in a row that hold the planned one."""
        starts = range(max(0, self.at - size + 1), self.at + 1)
        return max(sum(self.has(p, group) for p in range(s, min(s + size, len(self.events)))) for s in starts)

    def owed_rest(self, group: Group) -> tuple[int, int]:
        """(length of the last run of ``group`` before the planned spray, sprays without it since)."""
        place, rest, run = self.at - 1, 0, 0
        while place >= 0 and not self.has(place, group):
            place, rest = place - 1, rest + 1
        while place >= 0 and self.has(place, group):
            place, run = place - 1, run + 1
        return run, rest


def same_target(a: Group, b: Group) -> bool:
    """Whether two groups share a target site: the number counts, IRAC sub-groups (4A, 4D) together."""
    return a.scheme is b.scheme and a.number == b.number


def _on_ground(facts: CheckFacts, events: tuple[Event, ...]) -> list[Finding]:
    found: list[Finding] = []
    for group in groups_in(facts.lines):
        refused = _label_run(facts, events, group)
        found += refused
        found += _advice(facts, events, group, run_refused=bool(refused))
    return found


def classes_for(facts: CheckFacts, group: Group) -> frozenset[str]:
    """What the planned lines of a group are aimed at; empty when no target is named."""
    lines = [line for line in facts.lines if line.label and group in line.label.groups]
    if not all(line.targets for line in lines):
        return frozenset()
    return frozenset(class_of(t) for line in lines for t in line.targets)


def in_scope(facts: CheckFacts, event: Event, group: Group, classes: frozenset[str]) -> bool:
    """Whether a past spray stands in the story of ``group``: same crop, same kind of spray, same class of target.

    Where the crop or target of a past spray is not known it counts if it held the group and is passed over if
    it did not: unknown is taken the strictest way.
    """
    held = any(same_target(g, group) for g in groups_in(event.lines))
    if event.site_code != facts.site_code and (event.site_code is not None or not held):
        return False
    lines = [line for line in event.lines if fights(line, group.scheme)]
    if not lines:
        return False
    if not classes:
        return True
    return any(_aimed(line, group, classes) for line in lines)


def _aimed(line: MixLine, group: Group, classes: frozenset[str]) -> bool:
    if line.targets:
        return bool({class_of(t) for t in line.targets} & classes)
    return line.label is not None and any(same_target(g, group) for g in line.label.groups)


def this_crop(facts: CheckFacts, event: Event) -> bool:
    """Since planting where that is known, otherwise in the same calendar year."""
    if facts.planted_on is not None:
        return event.on_date >= facts.planted_on
    return event.on_date.year == facts.on_date.year


def sequence(
    facts: CheckFacts, events: Iterable[Event], group: Group, keep: Callable[[CheckFacts, Event], bool] = this_crop
) -> Sequence:
    """The story of ``group``: one spray a day, oldest first, with the planned one in its place."""
    classes = classes_for(facts, group)
    days: dict[date, list[Event]] = {facts.on_date: [facts.planned_event]}
    for event in events:
        if keep(facts, event) and in_scope(facts, event, group, classes):
            days.setdefault(event.on_date, []).append(event)
    order = sorted(days)
    return Sequence(tuple(tuple(days[day]) for day in order), order.index(facts.on_date))


def _label_run(facts: CheckFacts, events: tuple[Event, ...], group: Group) -> list[Finding]:
    limits = [
        (limit.max_in_a_row, line)
        for line in facts.lines
        if line.label
        for limit in line.label.group_run_limits
        if same_target(limit.group, group)
    ]
    if not limits:
        return []
    most, line = min(limits, key=lambda row: (row[0], row[1].name))
    run = sequence(facts, events, group).run(group)
    if run <= most:
        return []
    template = gettext_noop(
        "{group}: this would be {count} sprays in a row on {ground}; the label of {product} allows {limit}."
    )
    numbers = {"group": str(group), "count": str(run), "limit": str(most), "product": line.name}
    source = on_label(line, "group_run_limits", "sprays of one group in a row")
    return [refuse("group_consec_label", template, source=source, **numbers)]


def _advice(facts: CheckFacts, events: tuple[Event, ...], group: Group, *, run_refused: bool) -> list[Finding]:
    rules = [r for r in facts.policy.group_rules if r.covers(group, classes_for(facts, group))]
    found: dict[str, Finding] = {}
    for rule in rules:
        story = sequence(facts, events, group, _any_season if rule.carry_over else this_crop)
        for finding in _broken(facts, story, group, rule):
            if not (run_refused and finding.code == "group_consec"):
                found.setdefault(finding.code, finding)
        for finding in (*_year(facts, events, group, rule), *_generation(facts, events, group, rule)):
            found.setdefault(finding.code, finding)
    return list(found.values())


def _any_season(facts: CheckFacts, event: Event) -> bool:
    return True


def _broken(facts: CheckFacts, story: Sequence, group: Group, rule: GroupRule) -> list[Finding]:
    found = []
    run, count = story.run(group), story.count(group)
    if rule.max_in_a_row is not None and run > rule.max_in_a_row:
        template = gettext_noop(
            "{group}: this would be {count} sprays in a row on {ground}; advised is at most {limit}."
        )
        found.append(_said("group_consec", template, group, rule, count=run, limit=rule.max_in_a_row))
    if rule.window is not None and (most := story.most_in(group, rule.window[1])) > rule.window[0]:
        template = gettext_noop("{group}: {count} of {size} sprays in a row on {ground}; advised is at most {limit}.")
        most_of = {"count": most, "limit": rule.window[0], "size": rule.window[1]}
        found.append(_said("group_window", template, group, rule, **most_of))
    if rule.max_per_crop is not None and count > rule.max_per_crop:
        template = gettext_noop(
            "{group}: this would be spray {count} in this crop on {ground}; advised is at most {limit}."
        )
        found.append(_said("group_max_crop", template, group, rule, count=count, limit=rule.max_per_crop))
    if rule.rest_equal:
        before, rest = story.owed_rest(group)
        if 0 < rest < before:
            template = gettext_noop(
                "{group}: {limit} in a row on {ground}, then only {count} sprays of other groups since."
            )
            found.append(_said("group_rest", template, group, rule, count=rest, limit=before))
    if rule.never_after_failure and (failed := _failed_before(story, group)):
        template = gettext_noop(
            "{group}: the spray of {on} on {ground} failed; do not follow a failure with the same group."
        )
        found.append(
            justify("group_after_failure", template, source=rule.source, group=str(group), on=str(failed.on_date))
        )
    return found + _share(facts, story, group, rule, count)


def _share(facts: CheckFacts, story: Sequence, group: Group, rule: GroupRule, count: int) -> list[Finding]:
    """Against the season program's length where there is one: a share of a program half done is noise."""
    total = max(len(story.events), facts.program_sprays or 0)
    many = rule.share is not None and total >= rule.share_from and Fraction(count, total) > rule.share
    few = rule.few is not None and total < rule.share_from and count > rule.few
    if not (many or few):
        return []
    template = gettext_noop("{group}: {count} of {total} sprays on {ground}; advised is a share of at most {limit}.")
    limit = f"{rule.few}/{total}" if few else str(rule.share)
    numbers = {"group": str(group), "count": str(count), "total": str(total), "limit": limit}
    return [justify("group_share", template, source=rule.source, **numbers)]


def _year(facts: CheckFacts, events: tuple[Event, ...], group: Group, rule: GroupRule) -> list[Finding]:
    """All crops of the year on the same ground."""
    if rule.max_per_year is None:
        return []
    days = {
        e.on_date
        for e in events
        if e.on_date.year == facts.on_date.year and any(same_target(g, group) for g in groups_in(e.lines))
    }
    count = len(days | {facts.on_date})
    if count <= rule.max_per_year:
        return []
    template = gettext_noop("{group}: this would be spray {count} this year on {ground}; advised is at most {limit}.")
    return [_said("group_max_year", template, group, rule, count=count, limit=rule.max_per_year)]


def _generation(facts: CheckFacts, events: tuple[Event, ...], group: Group, rule: GroupRule) -> list[Finding]:
    """Stretches of days from the first spray of the story on; two neighbouring ones should not share a group."""
    if rule.generation_days is None:
        return []
    story = sequence(facts, events, group)
    first = story.events[0][0].on_date

    def stretch(place: int) -> int:
        return (story.events[place][0].on_date - first).days // (rule.generation_days or 1)

    here = stretch(story.at)
    near = [p for p in range(len(story.events)) if abs(stretch(p) - here) == 1 and story.has(p, group)]
    if not near:
        return []
    template = gettext_noop(
        "{group}: also sprayed on {on} on {ground}, in the neighbouring stretch of {days} days; "
        "the next generation of the pest should not meet the same group."
    )
    numbers = {"group": str(group), "on": str(story.events[near[0]][0].on_date), "days": str(rule.generation_days)}
    return [justify("group_generation", template, source=rule.source, **numbers)]


def _failed_before(story: Sequence, group: Group) -> Event | None:
    """The spray just before the planned one, if it failed and held the group."""
    if story.at == 0 or not story.has(story.at - 1, group):
        return None
    return next((event for event in story.events[story.at - 1] if event.failed), None)


def _said(code: str, template: str, group: Group, rule: GroupRule, **counts: int) -> Finding:
    numbers = {name: str(value) for name, value in counts.items()}
    return justify(code, template, source=rule.source, group=str(group), **numbers)


def _partner(facts: CheckFacts) -> list[Finding]:
    """Groups that should never go out without a multi-site product in the same tank."""
    groups = groups_in(facts.lines)
    if any(group.multisite for group in groups):
        return []
    lone = [
        (group, rule)
        for group in groups
        for rule in facts.policy.group_rules
        if rule.needs_multisite and rule.covers(group, classes_for(facts, group))
    ]
    if not lone:
        return []
    template = gettext_noop("{groups} without a multi-site product in the same tank.")
    names = ", ".join(sorted({str(group) for group, _ in lone}))
    return [
        justify(
            "no_multisite_partner",
            template,
            source=min(rule.source for _, rule in lone),
            field="products",
            groups=names,
        )
    ]
