"""Benchmark, not a test: what an entry answer and the board cost beside bare doors of the same server and database.

Run: DJANGO_SETTINGS_MODULE=farmops.settings python -m tests.safety.bench_answer
(DATABASE_URL chooses PostgreSQL; a throw-away test database is made.)

CPU seconds of this process (``time.process_time``) per request through the whole stack of middlewares, logged in by
session, interleaved, the best of the rounds. Floors from the same run: a bare view of one indexed row as JSON, and
``values()`` with orjson over the rows the board reads.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from datetime import timedelta
from typing import Any

ROUNDS = int(os.environ.get("ROUNDS", "40"))
OPEN = 5  # closures that hang and still say something, at every size of history


def main() -> None:
    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "farmops.settings")
    os.environ.setdefault("SECRET_KEY", "only for the benchmark")
    django.setup()
    from django.conf import settings
    from django.db import connection

    settings.ROOT_URLCONF = "tests.safety.bench_urls"
    settings.ALLOWED_HOSTS = ["*"]
    settings.DEBUG = False
    connection.settings_dict["TEST"]["MIGRATE"] = False  # the tables and indexes of the models, without their history
    connection.creation.create_test_db(verbosity=0)
    try:
        print(f"database {connection.vendor}, python {sys.version.split()[0]}, best of {ROUNDS} rounds, CPU ms")
        measure()
    finally:
        connection.creation.destroy_test_db(connection.settings_dict["NAME"], verbosity=0)


def client_of(person: Any) -> Any:
    from django.test import Client

    client = Client(raise_request_exception=True)
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def sender(client: Any, address: str) -> Callable[[], Any]:
    """Sends a request through the handler without the test client's own bookkeeping."""
    from django.core.handlers.wsgi import WSGIHandler, WSGIRequest

    handler = WSGIHandler()
    environ = client._base_environ(PATH_INFO=address, QUERY_STRING="")

    def send() -> Any:
        response = handler.get_response(WSGIRequest(dict(environ)))
        assert response.status_code == 200, (address, response.status_code)
        return response

    return send


def best(doors: dict[str, Callable[[], Any]], times: int) -> dict[str, float]:
    """Name -> CPU ms per request, the best of the rounds, the doors taking turns."""
    found = dict.fromkeys(doors, float("inf"))
    for _ in range(ROUNDS):
        for name, send in doors.items():
            begun = time.process_time()
            for _ in range(times):
                send()
            found[name] = min(found[name], (time.process_time() - begun) / times * 1000)
    return found


def queries_of(send: Callable[[], Any], *, only: str = "") -> int:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as asked:
        send()
    return sum(1 for q in asked if only in q["sql"])


def history(block: Any, past: int, now: Any) -> None:
    """Closures of past jobs that have run, and always the same number that hang."""
    from apps.safety.models import Closure
    from apps.safety.rules import FAR_AHEAD, Kind, Reason

    def row(kind: Kind, reason: Reason, starts: Any, ends: Any, lifted: Any = None) -> Closure:
        return Closure(
            farm=block.farm, block=block, kind=kind, reason_code=reason, starts_at=starts, ends_at=ends,
            speaks_until=ends or FAR_AHEAD, source="job:1", set_by_name="Luis Mora", contact="Ines 555-0101",
            hung_at=starts, lifted_at=lifted, lift_reason="signed" if lifted else "", product_names=["Demo Shield"],
        )  # fmt: skip

    now = now.replace(second=0, microsecond=0)  # the services round every end up to the minute
    made = []
    for n in range(past):
        at = now - timedelta(days=2 + n)
        made.append(row(Kind.UNCONFIRMED, Reason.UNSIGNED, at, None, at + timedelta(hours=1)))
        made.append(row(Kind.ENTRY, Reason.REI, at, at + timedelta(hours=12)))
    for n in range(OPEN):
        kind, reason = (Kind.HARVEST, Reason.PHI) if n % 2 else (Kind.ENTRY, Reason.REI)
        made.append(row(kind, reason, now - timedelta(hours=3), now + timedelta(hours=9 + n)))
    Closure.rows.bulk_create(made, batch_size=2000)


def world(blocks: int, past: int) -> tuple[Any, Any, list[Any]]:
    from apps.people.models import Membership
    from farmops import clock
    from tests.factories.land import BlockFactory
    from tests.factories.people import FarmFactory, PersonFactory

    farm, person = FarmFactory(), PersonFactory()
    Membership.rows.create(farm=farm, person=person, is_staff_member=True)
    rows = [BlockFactory(farm=farm) for _ in range(blocks)]
    for row in rows:
        history(row, past, clock.now())
    return farm, client_of(person), rows


def measure() -> None:
    print(f"\n{'history':>8} {'bare':>7} {'entry':>7} {'ratio':>6} {'of them answering':>18}")
    first = None
    for past in (10, 100, 1000):
        farm, client, rows = world(1, past)
        api = f"/api/v1/farms/{farm.slug}/blocks/{rows[0].pk}/entry/"
        doors = {"bare": sender(client, f"/bare/{rows[0].pk}/"), "entry": sender(client, api)}
        for send in doors.values():
            send()
        took = best(doors, 10)
        first = first or took["entry"] / took["bare"]
        answering = queries_of(doors["entry"], only="land_block") + queries_of(doors["entry"], only='FROM "safety')
        print(
            f"{past * 2:>8} {took['bare']:>7.2f} {took['entry']:>7.2f} "
            f"{took['entry'] / took['bare']:>6.2f} {answering:>18}"
        )
    print(f"\n{'blocks':>8} {'history':>8} {'values':>8} {'board':>8} {'ratio':>6} {'queries':>8}")
    for blocks, past in ((100, 10), (500, 2), (500, 20)):
        farm, client, rows = world(blocks, past)
        doors = {
            "values": sender(client, f"/bare-rows/{farm.pk}/"),
            "board": sender(client, f"/api/v1/farms/{farm.slug}/board/"),
        }
        for send in doors.values():
            send()
        took = best(doors, 1 if blocks > 100 else 3)
        asked = queries_of(doors["board"])
        print(
            f"{blocks:>8} {past * 2:>8} {took['values']:>8.2f} {took['board']:>8.2f} "
            f"{took['board'] / took['values']:>6.2f} {asked:>8}"
        )


if __name__ == "__main__":
    main()
