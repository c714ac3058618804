"""Facts to figures and tables. No queries here: a figure and its table come from the same facts."""

from . import closures, intervals, limits, stock
from .table import Cell, Chart, Column, Frame

__all__ = ["Cell", "Chart", "Column", "Frame", "closures", "intervals", "limits", "stock"]
