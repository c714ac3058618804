"""The rules of the mix sheet: order, measures, loads and cautions."""

from apps.spraying.mix.rules.cautions import Entry, Pump
from apps.spraying.mix.rules.measures import Measure, measure
from apps.spraying.mix.rules.order import Because, Placed, TankLine, in_order, placed
from apps.spraying.mix.rules.sheet import AFTER, BEFORE, Load, Portion, Sheet, Total, jar, product_code, sheet

__all__ = [
    "AFTER",
    "BEFORE",
    "Because",
    "Entry",
    "Load",
    "Measure",
    "Placed",
    "Portion",
    "Pump",
    "Sheet",
    "TankLine",
    "Total",
    "in_order",
    "jar",
    "measure",
    "placed",
    "product_code",
    "sheet",
]
