"""Reading what the home pages and charts show: constant query counts, rows to facts."""

from .closures import closure_facts
from .drawing import CHARTS, chart, charts
from .home import Closed, Home, MyDay, home, my_day
from .intervals import interval_facts
from .limits import limit_facts
from .stock import stock_facts

__all__ = [
    "CHARTS",
    "Closed",
    "Home",
    "MyDay",
    "chart",
    "charts",
    "closure_facts",
    "home",
    "interval_facts",
    "limit_facts",
    "my_day",
    "stock_facts",
]
