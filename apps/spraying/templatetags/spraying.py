"""Words of spraying in templates."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from django import template
from django.utils.translation import get_language, gettext
from rest_framework.utils.encoders import JSONEncoder

from apps.spraying.policies.rules import Told
from apps.spraying.rules.attempt import Change
from apps.spraying.rules.passed import Passed
from farmops import wording
from farmops.errors import Severity, gettext_noop

register = template.Library()


@register.filter
def plain_words(code: str) -> str:
    """``powdery_mildew`` as people write it."""
    return code.replace("_", " ")


@register.filter
def told(row: Change | Passed | Told) -> str:
    """A change of the plan, a passed rule or a piece of advice in the reader's language."""
    return wording.fill(gettext(row.template), row.numbers, get_language())


@register.filter
def as_json(value: Any) -> str:
    """Plain values for a hidden field."""
    return json.dumps(value, cls=JSONEncoder)


GROUPS = {
    Severity.REFUSE: gettext_noop("What stops the job"),
    Severity.JUSTIFY: gettext_noop("What needs a written reason"),
    Severity.NOTE: gettext_noop("For your information"),
}


@register.filter
def by_weight(findings: Iterable[Any]) -> list[dict[str, Any]]:
    """Findings or their snapshots as groups that hold any: ``name`` and ``rows``."""
    found = list(findings)
    weights = [f["severity"] if isinstance(f, dict) else f.severity for f in found]
    rows = {s: [f for f, weight in zip(found, weights, strict=True) if weight == s] for s in Severity}
    return [{"name": GROUPS[s], "rows": rows[s]} for s in Severity if rows[s]]
