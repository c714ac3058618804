"""How the check words a finding: number texts with units, and where a limit stands."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.mix import Event, MixLine
from farmops.errors import Finding, Severity
from farmops.units import CONTEXT, show, unit_name

REST = "rest"
PROJECT = "project rule"


def plain(value: Fraction | Decimal | int) -> str:
    """A number for reading, at most four decimals."""
    exact = Fraction(value)
    return show(CONTEXT.divide(Decimal(exact.numerator), Decimal(exact.denominator)))


def amount(value: Fraction | Decimal, unit: str) -> str:
    """A number with a unit of ``farmops.units``."""
    return f"{plain(value)} {unit_name(unit)}"


def pounds(value: Fraction | Decimal) -> str:
    return f"{plain(value)} lb"


# A limit of two fields: its place may be noted under the name of either.
_ALSO = {"rate": ("rate_max", "rate_min"), "stage_before": ("stage_from",)}


def on_label(line: MixLine, key: str = "", words: str = "") -> str:
    """Where a limit stands: product, label version, and the section the transcriber noted for ``key``."""
    noted = line.label.sections if line.label else {}
    section = next((noted[name] for name in (key, *_ALSO.get(key, ())) if noted.get(name)), "")
    return ", ".join(p for p in (f"label of {line.name}", line.label_ref, words, section) if p)


def say(
    code: str, severity: Severity, template: str, *, source: str, field: str = "", subject: str = "", **numbers: str
) -> Finding:
    return Finding(
        code=code,
        severity=severity,
        template=template,
        numbers=numbers,
        source=source,
        field=field,
        subject=subject or numbers.get("product", ""),
    )


def refuse(code: str, template: str, *, source: str, field: str = "", subject: str = "", **numbers: str) -> Finding:
    """A finding that stops the job."""
    return say(code, Severity.REFUSE, template, source=source, field=field, subject=subject, **numbers)


def justify(code: str, template: str, *, source: str, field: str = "", subject: str = "", **numbers: str) -> Finding:
    """A finding that needs a written reason."""
    return say(code, Severity.JUSTIFY, template, source=source, field=field, subject=subject, **numbers)


def note(code: str, template: str, *, source: str, field: str = "", subject: str = "", **numbers: str) -> Finding:
    """A finding that is only shown."""
    return say(code, Severity.NOTE, template, source=source, field=field, subject=subject, **numbers)


def grounds(facts: CheckFacts) -> dict[str, tuple[Event, ...]]:
    """The pieces of the planned ground with the past of each, oldest first.

    A spray that covered only part of the block counts on that part. A spray whose part is not
    known counts everywhere. If the whole block is planned, every part that was ever named is a piece,
    and so is the rest. Measured pieces cut each of them once more: where a named part lies among them is not known.
    """
    ordered = sorted(facts.history, key=lambda e: (e.on_date, e.starts_at.timestamp() if e.starts_at else 0.0))
    named = facts.parts or frozenset(part for event in ordered for part in event.parts)
    parts: list[str | None] = [*sorted(named), *([] if facts.parts else [None])]
    pieces: list[str | None] = [*sorted({piece for event in ordered for piece in event.pieces}), None]
    return {
        _piece(part, piece): tuple(
            e for e in ordered if (not e.parts or part in e.parts) and (not e.pieces or piece in e.pieces)
        )
        for part in parts
        for piece in pieces
    }


def _piece(part: str | None, piece: str | None) -> str:
    return ", ".join(name for name in (part, piece) if name) or REST


def by_ground(facts: CheckFacts, judge: Callable[[CheckFacts, tuple[Event, ...]], Iterable[Finding]]) -> list[Finding]:
    """What ``judge`` says on each piece of ground; the same finding is said once, ``{ground}`` naming the pieces."""
    pieces = grounds(facts)
    said: dict[tuple[object, ...], tuple[Finding, list[str]]] = {}
    for piece, events in pieces.items():
        for finding in judge(facts, events):
            key = (finding.code, finding.template, tuple(sorted(finding.numbers.items())), finding.source)
            said.setdefault(key, (finding, []))[1].append(piece)
    everywhere = set(pieces)
    return [
        replace(finding, numbers={**finding.numbers, "ground": _ground(facts, where, everywhere)})
        for finding, where in said.values()
    ]


def _ground(facts: CheckFacts, where: list[str], everywhere: set[str]) -> str:
    if set(where) == everywhere and not facts.parts:
        return facts.block_name
    return f"{facts.block_name} [{', '.join(dict.fromkeys(where))}]"
