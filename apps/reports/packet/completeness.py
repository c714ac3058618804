"""What a signed record lacks, or had late, by the record rules the farm goes by. Only what stands is asked."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from apps.people.models import Farm
from apps.spraying.models import SprayRecord
from apps.spraying.records import queries as records
from apps.spraying.records.rules import Kept, RecordRule, judge
from farmops.errors import Finding, Severity
from farmops.problems import translated

Content = Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class Blank:
    """One thing that is missing or was late: the record, the rule that asks, the sentence in the reader's language."""

    record: int
    rule: str
    source: str
    sentence: str

    def as_json(self) -> dict[str, Any]:
        return {"rule": self.rule, "source": self.source, "sentence": self.sentence}


@dataclass(frozen=True, kw_only=True)
class Rules:
    """What the records are held against: rules, what is kept beside them, when each job's first version was signed."""

    rules: tuple[RecordRule, ...]
    kept: Kept
    first_signed: Mapping[int, datetime]


def rules_of(farm: Farm, last: int) -> Rules:
    """The rules of a farm, read once for a packet; corrected jobs keep the day of their first signature."""
    corrected = SprayRecord.objects.for_farm(farm).filter(seq__lte=last, edition__gt=1).values("job_id")
    firsts = SprayRecord.objects.for_farm(farm).filter(job_id__in=corrected, edition=1)
    signed = dict(firsts.values_list("job_id", "signed_at"))
    return Rules(rules=records.rules_of(farm), kept=records.kept(farm), first_signed=signed)


def judged(rules: Rules, record: SprayRecord, content: Content) -> tuple[list[Blank], list[str]]:
    """(what is missing or was late, what the rules want kept outside of the book)."""
    found = judge(rules.rules, content, rules.first_signed.get(record.job_id, record.signed_at), rules.kept)
    blanks = [_blank(record, f) for f in found if f.severity is not Severity.NOTE]
    return blanks, [translated(f) for f in found if f.severity is Severity.NOTE]


def _blank(record: SprayRecord, finding: Finding) -> Blank:
    return Blank(record=record.seq, rule=finding.numbers["rule"], source=finding.source, sentence=translated(finding))
