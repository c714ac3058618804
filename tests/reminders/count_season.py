"""Counts what each person of the demo farm is told on each day of the demo season.

``python -m tests.reminders.count_season`` (on a database file of its own; minutes). Every deed of the demo is done
at its own hour, in the order of the hours, and the sweep comes in between, as it would have come. Each
job of the book is played by a thread of its own that waits until its hour has come.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import threading
from collections import Counter, defaultdict
from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any


class Actor(threading.Thread):
    """Does what it is told to, stopping before each deed until its hour has come."""

    def __init__(self, play: Callable[[], None]) -> None:
        super().__init__(daemon=True)
        self.play, self.go, self.parked = play, threading.Event(), threading.Event()
        self.at: datetime | None = None  # of the next deed; None when there is none
        self.trouble: BaseException | None = None

    def run(self) -> None:
        from django.db import connection

        try:
            self.play()
        except BaseException as error:
            self.trouble = error
        finally:
            self.at = None
            connection.close()
            self.parked.set()

    def wait_until(self, at: datetime) -> None:
        self.at = at
        self.parked.set()
        self.go.wait()
        self.go.clear()

    def advance(self) -> None:
        """Let it do one deed (or come to its first) and stop before the next."""
        self.parked.clear()
        self.go.set() if self.ident else self.start()
        self.parked.wait()
        if self.trouble:
            raise self.trouble


class Timed:
    """A module of services whose calls wait for their ``now``."""

    def __init__(self, module: Any) -> None:
        self.module = module

    def __getattr__(self, name: str) -> Any:
        found = getattr(self.module, name)
        if not callable(found):
            return found

        def call(*args: Any, **given: Any) -> Any:
            actor = threading.current_thread()
            if isinstance(actor, Actor) and "now" in given:
                actor.wait_until(given["now"])
            return found(*args, **given)

        return call


def play(days: int, ahead: int, step: timedelta) -> Any:
    """The demo farm after its season, swept from ``days`` before its loading until ``ahead`` days after."""
    from apps.reminders import services
    from farmops import clock
    from farmops.demo import ground, season
    from farmops.management.commands.load_demo import ACTS

    for name in ("crops", "posting", "jobs", "programs", "training", "weather", "work", "displays"):
        if hasattr(season, name):
            setattr(season, name, Timed(getattr(season, name)))
    stage = ground.Stage(now=clock.now(), book=ground.read_book())
    actors: list[Actor] = []
    alone = season._play
    season._play = lambda *given: actors.append(Actor(lambda: alone(*given)))  # type: ignore[assignment]
    for act in ACTS:
        if act.__module__ == season.__name__:
            actors.append(Actor(lambda act=act: act(stage)))
        else:
            act(stage)
    at, end = stage.now - timedelta(days=days), stage.now + timedelta(days=ahead)
    for actor in list(actors):
        actor.advance()
    for actor in actors[len([a for a in ACTS if a.__module__ == season.__name__]) :]:
        actor.advance()
    while at < end or any(actor.at for actor in actors):
        while (nearest := min((a for a in actors if a.at), key=lambda a: a.at, default=None)) and nearest.at <= at:
            known = len(actors)
            nearest.advance()
            for born in actors[known:]:  # the history has named its jobs
                born.advance()
        services.sweep(at)
        at += step
    return stage


def count(stage: Any) -> None:
    from apps.reminders.models import Letter, Notice
    from farmops import clock

    a_day: dict[str, Counter[Any]] = defaultdict(Counter)
    kept: dict[str, Counter[Any]] = defaultdict(Counter)
    kinds: Counter[str] = Counter()
    of_day: dict[Any, Counter[str]] = defaultdict(Counter)
    for row in Notice.objects.for_farm(stage.manager.farm).select_related("person"):
        on = clock.to_local(row.created_at, stage.zone).date()
        a_day[row.person.username][on] += row.turn
        if row.withdrawn_at is None or clock.to_local(row.withdrawn_at, stage.zone).date() > on:
            kept[row.person.username][on] += 1
        if row.person.username == "marta":
            kinds[row.kind] += row.turn
            of_day[on][row.kind] += row.turn
    mailed: dict[str, Counter[Any]] = defaultdict(Counter)
    for letter in Letter.objects.for_farm(stage.manager.farm).filter(outcome="sent").select_related("person"):
        mailed[letter.person.username][clock.to_local(letter.done_at, stage.zone).date()] += 1
    print("person: notices, days with one, mean and most on such a day, days over 2 and over 6; e-mails, most a day")
    for name, days in sorted(a_day.items()):
        post = mailed[name]
        over = [sum(n > most for n in days.values()) for most in (2, 6)]
        print(
            f"{name}: {days.total()}, {len(days)}, {days.total() / len(days):.1f}, {max(days.values())}, "
            f"{over[0]}, {over[1]}; {post.total()}, {max(post.values(), default=0)}"
        )
        print("   fullest days:", ", ".join(f"{on} {n}" for on, n in days.most_common(5)))
        left = kept[name]
        many = [sum(n > most for n in left.values()) for most in (2, 6)]
        print(
            f"   still true at the end of its day: {left.total()}, {left.total() / len(days):.1f} a day, "
            f"most {max(left.values())}, {many[0]} days over 2, {many[1]} over 6"
        )
    for on, counted in sorted(of_day.items(), key=lambda pair: -pair[1].total())[:4]:
        print(f"marta on {on}:", ", ".join(f"{kind} {n}" for kind, n in counted.most_common()))
    print("marta by kind:", ", ".join(f"{kind} {n}" for kind, n in kinds.most_common()))


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__)
    asked.add_argument("--days", type=int, default=62)
    asked.add_argument("--ahead", type=int, default=1)
    asked.add_argument("--every", type=int, default=30, help="minutes between two sweeps")
    given = asked.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        os.environ |= {"FARMOPS_DATA": folder, "DATABASE_URL": "", "REDIS_URL": "", "SECRET_KEY": "only-for-tests"}
        os.environ["EMAIL_BACKEND"] = "django.core.mail.backends.locmem.EmailBackend"
        os.environ["DJANGO_SETTINGS_MODULE"] = "farmops.settings"
        import django

        django.setup()
        from django.apps import apps
        from django.conf import settings
        from django.core.management import call_command

        settings.MIGRATION_MODULES = {config.label: None for config in apps.get_app_configs()}
        call_command("migrate", verbosity=0, run_syncdb=True)
        count(play(given.days, given.ahead, timedelta(minutes=given.every)))


if __name__ == "__main__":
    main()
