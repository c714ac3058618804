"""Numbers for a monitor in Prometheus form, read from the database when they are asked for."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.db.models import Count, Min, Q
from prometheus_client import CollectorRegistry, generate_latest
from prometheus_client.core import GaugeMetricFamily
from prometheus_client.registry import Collector

from apps.audit.models import FarmChange
from apps.reminders import queries
from apps.reminders.models import UNPOSTED, WAITING, Call, Endpoint, Letter, Notice, SweepFault, SweepRun, Watch

Metric = GaugeMetricFamily


class Reminders(Collector):
    """Nine queries; no name of a farm or a person leaves here."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def collect(self) -> Iterator[Metric]:
        run = queries.last_run() or SweepRun()
        yield _one("late", "1 when no sweep has ended within five minutes", float(queries.late(self.now)))
        yield _one("last_sweep_age_seconds", "Since the last sweep ended; NaN when none ever did", self._age(run))
        yield _one("sweeps_total", "Sweeps that came to their end", run.sweeps)
        for name in ("looked", "made", "sent", "failed"):
            yield _one(f"last_sweep_{name}", f"What the last sweep counted as {name}", getattr(run, name))
        yield from self._outbox()
        yield _one("source_faults", "Sources that fail for a farm", SweepFault.rows.count())
        yield _one("farm_changes", "Marks of changes no sweep has looked at", FarmChange.objects.count())
        due = Watch.objects.filter(look_at__lte=self.now).count()
        yield _one("farms_to_look_at", "Farms whose time has come", due)
        failing = Endpoint.rows.filter(off_at=None, failures__gt=0).count()
        yield _one("endpoints_failing", "Targets of other programs that take nothing", failing)

    def _age(self, run: SweepRun) -> float:
        if run.last_finished_at is None:
            return float("nan")
        return (self.now - run.last_finished_at).total_seconds()

    def _outbox(self) -> Iterator[Metric]:
        waiting = Metric("farmops_reminders_waiting", "Due and not gone out", labels=["what"])
        oldest = Metric("farmops_reminders_oldest_waiting_seconds", "Age of the oldest that is due", labels=["what"])
        given_up = Metric("farmops_reminders_given_up", "Given up after too many tries", labels=["what"])
        unposted = Notice.rows.filter(UNPOSTED, due_at__lte=self.now)
        found = {"notice": unposted.aggregate(n=Count("id"), oldest=Min("due_at"))}
        due = WAITING & Q(due_at__lte=self.now)
        for name, model in (("letter", Letter), ("call", Call)):
            counts = {"n": Count("id", filter=due), "oldest": Min("due_at", filter=due)}
            found[name] = model.rows.aggregate(**counts, lost=Count("id", filter=Q(outcome="given_up")))
            given_up.add_metric([name], found[name]["lost"])
        for name, count in found.items():
            waiting.add_metric([name], count["n"])
            age = (self.now - count["oldest"]).total_seconds() if count["oldest"] else 0.0
            oldest.add_metric([name], age)
        yield from (waiting, oldest, given_up)


def _one(name: str, said: str, value: float) -> Metric:
    return Metric(f"farmops_reminders_{name}", said, value=value)


def text(now: datetime) -> bytes:
    """The exposition, from a registry of its own: nothing of this process is mixed in."""
    registry = CollectorRegistry(auto_describe=False)
    registry.register(Reminders(now))
    return bytes(generate_latest(registry))
