"""What each rule that binds a record says about it: what is missing, by when, how long it is kept. Plain Python."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from apps.spraying.records.rules.facts import (
    ELEMENT_NAMES,
    NOTHING_KEPT,
    Asks,
    Element,
    Kept,
    RecordRule,
    Sprayed,
    binds,
    due_at,
    keep_until,
    shown_until,
)
from apps.spraying.records.rules.holding import blanks, elsewhere, sprayed_of
from farmops.errors import Finding, Severity, gettext_noop
from farmops.wording import stamp


@dataclass(frozen=True, kw_only=True)
class Standing:
    """How one record stands against one rule that binds it."""

    rule: RecordRule
    missing: tuple[Element, ...]
    elsewhere: tuple[Element, ...]
    due_at: datetime | None
    late: bool
    keep_until: date | None
    shown_until: datetime | None


def standings(
    rules: Iterable[RecordRule], content: Mapping[str, Any], first_signed_at: datetime, kept: Kept = NOTHING_KEPT
) -> list[Standing]:
    """How a record that says what was applied stands against every rule that binds it.

    ``first_signed_at`` is when its first edition was signed: a correction does not make a record late. ``kept`` is what
    the book keeps beside its records.
    """
    sprayed = sprayed_of(content)
    return [_standing(rule, sprayed, content, first_signed_at, kept) for rule in rules if binds(rule, sprayed)]


def _standing(
    rule: RecordRule, sprayed: Sprayed, content: Mapping[str, Any], signed_at: datetime, kept: Kept
) -> Standing:
    due = due_at(rule, sprayed)
    return Standing(
        rule=rule,
        missing=tuple(blanks(content, rule.elements)),
        elsewhere=tuple(elsewhere(content, rule.elements, kept)),
        due_at=due,
        late=due is not None and rule.asks is not Asks.REPORT and signed_at >= due,
        keep_until=keep_until(rule, sprayed),
        shown_until=shown_until(rule, sprayed),
    )


_BLANK = gettext_noop("{rule}: {what} is missing. It was due {due}.")
_BLANK_OPEN = gettext_noop("{rule}: {what} is missing.")
_LATE = gettext_noop("{rule}: signed {signed}, due before {due}.")
_ELSEWHERE = gettext_noop("{rule} also asks for {what}. It is not in the book: keep it on paper.")


def judge(
    rules: Iterable[RecordRule], content: Mapping[str, Any], first_signed_at: datetime, kept: Kept = NOTHING_KEPT
) -> list[Finding]:
    """What is missing in a record, for which rule and by when; what was late; what is kept elsewhere (notes)."""
    if content["meaning"] != "applied":
        return []
    zone, found = str(content["farm"]["time_zone"]), []
    for row in standings(rules, content, first_signed_at, kept):
        due = "" if row.due_at is None else stamp(row.due_at, zone)
        template = _BLANK if due else _BLANK_OPEN
        found += [
            _finding("record_blank", Severity.JUSTIFY, template, row, what=_name(e), due=due) for e in row.missing
        ]
        if row.late:
            signed = stamp(first_signed_at, zone)
            found.append(_finding("record_late", Severity.JUSTIFY, _LATE, row, signed=signed, due=due))
        found += [_finding("record_elsewhere", Severity.NOTE, _ELSEWHERE, row, what=_name(e)) for e in row.elsewhere]
    return found


def _name(element: Element) -> str:
    return ELEMENT_NAMES[element]


def _finding(code: str, severity: Severity, template: str, row: Standing, **numbers: str) -> Finding:
    return Finding(
        code=code,
        severity=severity,
        template=template,
        numbers={"rule": row.rule.name, **numbers},
        source=row.rule.source,
    )


def first_due(rules: Iterable[RecordRule], sprayed: Sprayed) -> tuple[datetime, RecordRule] | None:
    """The earliest time by which any record or display must be there, and the rule that sets it."""
    found = [
        (due, rule)
        for rule in rules
        if rule.asks is not Asks.REPORT and binds(rule, sprayed) and (due := due_at(rule, sprayed)) is not None
    ]
    return min(found, key=lambda pair: pair[0], default=None)
