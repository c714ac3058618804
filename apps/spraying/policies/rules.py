"""A farm's own advice: how a typed row is read, how a shipped rule becomes a row, and how a rule is told.

Advice never refuses and never stands in for a label: it asks for a written reason.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from apps.products.rules import Group, Scheme, group
from apps.spraying.rules.policies import TARGET_CLASSES, GroupRule
from farmops.errors import BadInput, Said, gettext_noop, one_of

CLASSES = tuple(sorted(set(TARGET_CLASSES.values())))
"""Classes of targets that a rule may be told about."""

COUNTS = {
    "max_in_a_row": 20,
    "window_most": 20,
    "window_of": 40,
    "max_per_crop": 40,
    "max_per_year": 60,
    "share_part": 20,
    "share_whole": 20,
    "share_from": 40,
    "few": 20,
    "generation_days": 120,
}
FLAGS = ("needs_multisite", "rest_equal", "never_after_failure", "carry_over")
LIMITS = ("max_in_a_row", "window_most", "max_per_crop", "max_per_year", "share_part", "few", "generation_days")
SHARE_FROM = 3


@dataclass(frozen=True)
class Told:
    """One limit of a rule as a sentence."""

    template: str
    numbers: Mapping[str, str]


def read_row(values: Mapping[str, Any]) -> dict[str, Any]:
    """What was typed as one rule -> the row; ``BadInput`` naming every field that is wrong.

    An empty ``code`` means each group of the scheme that is not exempt. Empty counts mean: no such limit.
    """
    errors: dict[str, str] = {}
    row: dict[str, Any] = {name: bool(values.get(name)) for name in FLAGS}
    for name, most in COUNTS.items():
        row[name] = _count(values.get(name), name, most, errors)
    row["share_from"] = row["share_from"] or SHARE_FROM
    row |= _group(values, errors) | _classes(values, errors) | _source(values, errors)
    _in_pairs(row, errors)
    if not errors and not any(row[name] for name in (*LIMITS, "needs_multisite", "rest_equal", "never_after_failure")):
        errors["max_in_a_row"] = gettext_noop("A rule needs at least one limit.")
    if errors:
        raise BadInput(errors)
    return row


def _count(value: object, name: str, most: int, errors: dict[str, str]) -> int | None:
    text = "" if value is None else str(value).strip()
    if not text:
        return None
    if not (text.isascii() and text.isdigit()) or not 1 <= int(text[:6]) <= most:
        errors[name] = gettext_noop("Use a whole number from 1 that makes sense here, or leave it empty.")
        return None
    return int(text)


def _group(values: Mapping[str, Any], errors: dict[str, str]) -> dict[str, Any]:
    scheme, typed = str(values.get("scheme") or ""), str(values.get("code") or "").strip()
    if scheme not in set(Scheme):
        errors["scheme"] = one_of(Scheme)
        return {"scheme": scheme, "code": typed}
    found = group(Scheme(scheme), typed) if typed else None
    if typed and found is None:
        errors["code"] = gettext_noop("There is no such group in this scheme.")
    elif found is not None and found.exempt:
        errors["code"] = gettext_noop("Multi-site and unclassified groups carry no such limit.")
    return {"scheme": scheme, "code": "" if found is None else found.code}


def _classes(values: Mapping[str, Any], errors: dict[str, str]) -> dict[str, Any]:
    wanted = sorted({str(c) for c in values.get("target_classes") or ()})
    if any(c not in CLASSES for c in wanted):
        errors["target_classes"] = Said(gettext_noop("Use some of: {codes}."), codes=", ".join(CLASSES))
    return {"target_classes": wanted}


def _source(values: Mapping[str, Any], errors: dict[str, str]) -> dict[str, Any]:
    text = " ".join(str(values.get("source") or "").split())
    if not 5 <= len(text) <= 300:
        errors["source"] = gettext_noop("Say where this advice stands, in 5 to 300 characters.")
    return {"source": text}


def _in_pairs(row: Mapping[str, Any], errors: dict[str, str]) -> None:
    for one, other in (("window_most", "window_of"), ("share_part", "share_whole")):
        least, most = row[one], row[other]
        if (least is None) != (most is None):
            errors.setdefault(other if most is None else one, gettext_noop("Fill in both numbers or neither."))
        elif least is not None and most is not None and least >= most:
            errors.setdefault(one, gettext_noop("Must be less than the number it is counted in."))


def rule_from(row: Mapping[str, Any]) -> GroupRule:
    """A row as the rule that the check reads."""
    return GroupRule(
        scheme=Scheme(row["scheme"]),
        code=row["code"] or None,
        source=row["source"],
        target_classes=frozenset(row["target_classes"]),
        max_in_a_row=row["max_in_a_row"],
        window=(row["window_most"], row["window_of"]) if row["window_most"] else None,
        max_per_crop=row["max_per_crop"],
        max_per_year=row["max_per_year"],
        share=Fraction(row["share_part"], row["share_whole"]) if row["share_part"] else None,
        share_from=row["share_from"],
        few=row["few"],
        generation_days=row["generation_days"],
        **{name: row[name] for name in FLAGS},
    )


def row_of(rule: GroupRule) -> dict[str, Any]:
    """A shipped rule as the row a farm may edit; its source is kept."""
    most, size = rule.window or (None, None)
    share = (rule.share.numerator, rule.share.denominator) if rule.share else (None, None)
    return {
        "scheme": rule.scheme.value,
        "code": rule.code or "",
        "source": rule.source,
        "target_classes": sorted(rule.target_classes),
        "max_in_a_row": rule.max_in_a_row,
        "window_most": most,
        "window_of": size,
        "max_per_crop": rule.max_per_crop,
        "max_per_year": rule.max_per_year,
        "share_part": share[0],
        "share_whole": share[1],
        "share_from": rule.share_from,
        "few": rule.few,
        "generation_days": rule.generation_days,
        **{name: getattr(rule, name) for name in FLAGS},
    }


def about(rule: GroupRule) -> str:
    """The group a rule speaks about, as it is written: ``FRAC 11``, or ``IRAC`` for each of its groups."""
    return rule.scheme.upper() if rule.code is None else str(Group(rule.scheme, rule.code))


def told(rule: GroupRule) -> list[Told]:
    """Every limit of a rule as a sentence."""
    counts = [
        (rule.max_in_a_row, gettext_noop("At most {limit} sprays in a row.")),
        (rule.max_per_crop, gettext_noop("At most {limit} sprays in a crop.")),
        (rule.max_per_year, gettext_noop("At most {limit} sprays a year on the same ground.")),
        (rule.generation_days, gettext_noop("Not in two neighbouring stretches of {limit} days.")),
    ]
    found = [Told(template, {"limit": str(limit)}) for limit, template in counts if limit is not None]
    if rule.window is not None:
        template = gettext_noop("At most {limit} of any {size} sprays in a row.")
        found.append(Told(template, {"limit": str(rule.window[0]), "size": str(rule.window[1])}))
    if rule.share is not None:
        template = gettext_noop("At most {limit} of the sprays, once there are {least}.")
        found.append(Told(template, {"limit": str(rule.share), "least": str(rule.share_from)}))
    if rule.few is not None:
        template = gettext_noop("At most {limit} while there are fewer than {least} sprays.")
        found.append(Told(template, {"limit": str(rule.few), "least": str(rule.share_from)}))
    flags = [
        (rule.needs_multisite, gettext_noop("Only with a multi-site product in the same tank.")),
        (rule.rest_equal, gettext_noop("After a run, at least as many sprays of other groups.")),
        (rule.never_after_failure, gettext_noop("Never right after a spray that failed.")),
        (rule.carry_over, gettext_noop("A run goes on into the next season.")),
    ]
    return found + [Told(template, {}) for on, template in flags if on]
