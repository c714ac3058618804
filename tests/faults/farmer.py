"""The farm's own people, in a process of their own: one command a line in, one answer a line out.

``python -m tests.faults.farmer <clock file>``. Everything goes through the product's services, as the doors do.
A database that is away is waited for; a command whose transaction broke is done again.
"""

from __future__ import annotations

import json
import os
import sys
import time
from datetime import date, datetime, timedelta
from datetime import time as hour
from decimal import Decimal
from pathlib import Path
from typing import Any

from tests.faults import simulated

AT_WORK = timedelta(seconds=50)
"""A letter is due at the moment it was put together, which is up to a sweep's length after the hour that is played.

One that a dead worker still holds must not be passed over: the next hour may be the one that takes its reason back.
"""


class Undone(Exception):
    """Thrown to roll a change back."""


class Farmer:
    """Names stay the driver's: people, tasks, blocks by the name it gave them."""

    def __init__(self) -> None:
        self.members: dict[str, Any] = {}
        self.tasks: dict[str, Any] = {}

    def build_tables(self, by_migrations: bool) -> None:
        """The short form makes them from the models; that migrations lead to the same is another test's matter."""
        from django.apps import apps
        from django.conf import settings
        from django.core.management import call_command

        if not by_migrations:
            settings.MIGRATION_MODULES = {config.label: None for config in apps.get_app_configs()}
        call_command("migrate", verbosity=0, run_syncdb=not by_migrations)

    def open_book(self, hook_url: str, zone: str) -> dict[str, Any]:
        from apps.people.queries import active_member_for_person
        from apps.reminders import services
        from farmops import clock
        from tests.factories.land import BlockFactory
        from tests.factories.people import FarmFactory, MembershipFactory, PersonFactory
        from tests.factories.products import ProductFactory

        self.farm = FarmFactory(slug="alder-bend", name="Alder Bend Farm", time_zone=zone)
        roles = {"ines": "is_manager", "otto": "is_manager", "luis": "is_applicator", "ana": "is_staff_member"}
        for name, role in roles.items():
            person = PersonFactory(username=name, full_name=name.title(), email=f"{name}@farm.example")
            MembershipFactory(farm=self.farm, person=person, **{role: True})
            self.members[name] = active_member_for_person(self.farm, person.pk)
        self.blocks = [BlockFactory(farm=self.farm, code=f"B{n}", name=f"Plot {n}") for n in range(30)]
        self.product = ProductFactory(farm=self.farm)
        for name in ("ana", "luis"):  # these two hear everything at once, the managers what is usual
            self._at_once(name)
        _, secret = services.add_endpoint(member=self.members["ines"], url=hook_url, kinds=[], now=clock.now())
        return {"secret": secret}

    def _at_once(self, name: str) -> None:
        from apps.reminders import rules, services
        from farmops import clock

        calm = [kind for kind, level in rules.kinds() if level is not rules.Level.CALL_NOW]
        services.set_wishes(
            member=self.members[name],
            quiet_from=hour(0),
            quiet_to=hour(0),
            digest_at=hour(5, 15),
            email=dict.fromkeys(calm, "now"),
            not_in_calendar=[],
            now=clock.now(),
        )

    def plan_task(self, name: str, starts_at: str, block: int, undo: bool = False) -> None:
        from django.db import transaction

        from apps.work import services
        from farmops import clock

        try:
            with transaction.atomic():
                row = services.plan_task(
                    member=self.members["ines"],
                    block_id=self.blocks[block].pk,
                    title=name,
                    activity=self._activity(),
                    assigned_to_id=self.members["ana"].person_id,
                    starts_at=datetime.fromisoformat(starts_at),
                    now=clock.now(),
                )
                if undo:
                    raise Undone
        except Undone:
            return
        self.tasks[name] = row.pk

    @staticmethod
    def _activity() -> str:
        from apps.safety.rules import Activity

        return str(next(a for a in Activity if "scout" in a.value))

    def call_off_task(self, name: str) -> None:
        from apps.work import services
        from farmops import clock

        services.call_off_task(
            member=self.members["ines"], task_id=self.tasks[name], reason=f"rain on {name}", now=clock.now()
        )

    def move_task(self, name: str, starts_at: str) -> None:
        from apps.work import queries, services
        from farmops import clock

        row = queries.task(self.farm, self.tasks[name])
        services.edit_task(
            member=self.members["ines"],
            task_id=row.pk,
            expected_version=row.version,
            changes={"starts_at": datetime.fromisoformat(starts_at)},
            now=clock.now(),
        )

    def certificate(self, number: str, valid_to: str) -> None:
        from apps.training import services
        from farmops import clock

        until = date.fromisoformat(valid_to)
        services.record_certificate(
            member=self.members["ines"],
            person_id=self.members["luis"].person_id,
            number=number,
            jurisdiction=number,  # each a place of its own, so that none is overshadowed by a longer one
            kind="private",
            categories=["general"],
            valid_from=until - timedelta(days=1000),
            valid_to=until,
            note="",
            now=clock.now(),
        )

    def lot(self, name: str, expires_on: str) -> None:
        from apps.inventory import services
        from farmops import clock
        from farmops.units import Quantity

        on = date.fromisoformat(expires_on)
        services.receive_delivery(
            member=self.members["ines"],
            product_id=self.product.pk,
            lot_number=name,
            quantity=Quantity(Decimal("2.5"), "gal"),
            received_on=clock.to_local(clock.now(), self.farm.time_zone).date(),
            expires_on=on,
            now=clock.now(),
        )

    def closure(self, block: int, ends_at: str) -> None:
        """As a finished job leaves it: hung in one transaction with its line in the trail."""
        from django.db import transaction

        from apps.audit import services as audit
        from farmops import clock
        from tests.factories.safety import ClosureFactory

        with transaction.atomic():
            starts_at = datetime.fromisoformat(ends_at) - timedelta(hours=12)
            row = ClosureFactory(block=self.blocks[block], starts_at=starts_at, ends_at=datetime.fromisoformat(ends_at))
            audit.record(farm=self.farm, actor=self.members["luis"], verb="hung", subject=row, now=clock.now())

    def danger(self, name: str, undo: bool = False) -> None:
        from django.db import transaction

        from apps.reminders import services
        from farmops import clock

        try:
            with transaction.atomic():
                services.tell(
                    farm=self.farm,
                    kind="job_called_off",
                    subject=("job", name),
                    occasion="danger",
                    to=[self.members["luis"].person_id],
                    template="Danger {name}: stop.",
                    numbers={"name": name},
                    urgent=True,
                    now=clock.now(),
                )
                if undo:
                    raise Undone
        except Undone:
            pass

    def acknowledge(self, name: str) -> None:
        from apps.reminders import services
        from apps.reminders.models import Notice
        from farmops import clock

        mine = Notice.objects.for_farm(self.farm).filter(person_id=self.members["luis"].person_id, subject_id=name)
        services.mark_seen(member=self.members["luis"], notice_id=mine.get().pk, now=clock.now())

    def busy(self) -> dict[str, Any]:
        """What has still to happen at this hour; empty when the book is at rest."""
        from apps.audit.models import FarmChange
        from apps.reminders.models import UNPOSTED, WAITING, Call, Letter, Notice, SweepRun, Watch
        from farmops import clock

        now = clock.now()
        run = SweepRun.objects.filter(pk=1).first() or SweepRun()
        found = {
            "marks": FarmChange.objects.count(),
            "farms": Watch.objects.filter(look_at__lte=now).exclude(looked_at__gte=now).count(),
            "unposted": Notice.rows.filter(UNPOSTED, due_at__lte=now, urgent=True).count(),
            "letters": Letter.rows.filter(WAITING, due_at__lte=now + AT_WORK).count(),
            "calls": Call.rows.filter(WAITING, due_at__lte=now).count(),
            "sweep": int(run.last_finished_at is None or run.last_finished_at < now),
        }
        return {**{name: count for name, count in found.items() if count}, "sweeps": run.sweeps}


def serve() -> None:
    from django.db import Error, connection

    farmer = Farmer()
    for line in sys.stdin:
        name, given = json.loads(line)
        for _ in range(200):
            try:
                said = getattr(farmer, name)(**given)
                break
            except Error as error:  # the database went away: nothing of this command was kept
                print(f"{name}: {error!r}", file=sys.stderr, flush=True)
                connection.close()
                time.sleep(0.2)
        else:
            raise SystemExit(f"{name} could not be done")
        print(json.dumps(said), flush=True)


def main() -> None:
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "farmops.settings")
    simulated.install(Path(sys.argv[1]))
    import django

    django.setup()
    serve()


if __name__ == "__main__":
    main()
