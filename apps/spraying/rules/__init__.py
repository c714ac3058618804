"""The rules of a spray job: facts in, findings out."""

from apps.spraying.rules.checking import check
from apps.spraying.rules.facts import (
    BloomNearby,
    CertificateFact,
    CheckFacts,
    Entry,
    Span,
    SprayerFact,
    StockFact,
    TrainingFact,
    Weather,
    Worker,
)
from apps.spraying.rules.ground import may_plant
from apps.spraying.rules.mix import Event, MixLine
from apps.spraying.rules.policies import PRESETS, BeeHours, FarmPolicy, GroupRule

__all__ = [
    "PRESETS",
    "BeeHours",
    "BloomNearby",
    "CertificateFact",
    "CheckFacts",
    "Entry",
    "Event",
    "FarmPolicy",
    "GroupRule",
    "MixLine",
    "Span",
    "SprayerFact",
    "StockFact",
    "TrainingFact",
    "Weather",
    "Worker",
    "check",
    "may_plant",
]
