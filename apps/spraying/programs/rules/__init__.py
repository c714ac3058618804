"""The rules of season spray programs: facts in, windows out."""

from apps.spraying.programs.rules.course import STATE_NAMES, Course, End, State, Window, follow
from apps.spraying.programs.rules.facts import (
    CHOICE_NAMES,
    END_NAMES,
    HEAVY_RAIN_IN,
    START_NAMES,
    STOP_DAYS,
    Choice,
    Decision,
    EndReason,
    Ground,
    Pass,
    Program,
    Rain,
    Spray,
    Start,
    StartKind,
    Tank,
)
from apps.spraying.programs.rules.raining import Ask, AskKind, asks
from apps.spraying.programs.rules.starting import reckoned_day, trigger_day

__all__ = [
    "CHOICE_NAMES",
    "END_NAMES",
    "HEAVY_RAIN_IN",
    "START_NAMES",
    "STATE_NAMES",
    "STOP_DAYS",
    "Ask",
    "AskKind",
    "Choice",
    "Course",
    "Decision",
    "End",
    "EndReason",
    "Ground",
    "Pass",
    "Program",
    "Rain",
    "Spray",
    "Start",
    "StartKind",
    "State",
    "Tank",
    "Window",
    "asks",
    "follow",
    "reckoned_day",
    "trigger_day",
]
