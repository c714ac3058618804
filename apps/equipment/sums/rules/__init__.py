"""The sums for the yard: every method by its code."""

from apps.equipment.sums.rules import boom, flow, ground, product, tank
from apps.equipment.sums.rules.ask import Asked, Group, Kind, Result, Sum, Worked, read, work_out

SUMS: dict[str, Sum] = {made.code: made for part in (flow, ground, boom, tank, product) for made in part.SUMS}

__all__ = ["SUMS", "Asked", "Group", "Kind", "Result", "Sum", "Worked", "read", "work_out"]
