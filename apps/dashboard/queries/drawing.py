"""The four charts by name: facts read, handed to the chart that draws them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime

from apps.dashboard.charts import Chart, Frame, closures, intervals, limits, stock
from apps.dashboard.queries.closures import closure_facts
from apps.dashboard.queries.intervals import interval_facts
from apps.dashboard.queries.limits import limit_facts
from apps.dashboard.queries.stock import stock_facts
from apps.people.models import Farm
from farmops.errors import Said, Unknown, gettext_noop

Made = Callable[[Farm, datetime, Frame], Chart]
CHARTS: dict[str, Made] = {
    "closures": lambda farm, now, frame: closures.chart(closure_facts(farm, now), frame),
    "intervals": lambda farm, now, frame: intervals.chart(interval_facts(farm, now), frame),
    "limits": lambda farm, now, frame: limits.chart(limit_facts(farm, now), frame),
    "stock": lambda farm, now, frame: stock.chart(stock_facts(farm, now), frame),
}


def chart(farm: Farm, name: str, now: datetime) -> Chart:
    """One chart of the farm as it stands at ``now``; ``Unknown`` for a name there is no chart of."""
    if name not in CHARTS:
        raise Unknown(Said(gettext_noop("There is no such chart. Use one of: {codes}."), codes=", ".join(CHARTS)))
    return CHARTS[name](farm, now, Frame(now=now, zone_name=farm.time_zone))


def charts(farm: Farm, now: datetime) -> list[Chart]:
    """All charts in the order they are shown."""
    return [chart(farm, name, now) for name in CHARTS]
