"""Packets made in processes of their own: held at one query while others write, or killed at a step.

Run by ``test_packet_processes``; works on the database in ``DATABASE_URL`` and the files in ``FARMOPS_DATA``, and
prints what it found as JSON. Each child is forked without an open connection and takes one of its own.
"""

from __future__ import annotations

import hashlib
import json
import os
import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import django
import pytest  # noqa: F401  with it the settings are those of the tests

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "farmops.settings")
django.setup()

from django.db import connection, connections  # noqa: E402

from apps.audit.models import AuditEvent  # noqa: E402
from apps.people.models import Farm  # noqa: E402
from apps.people.queries import Member, active_member_for_person  # noqa: E402
from apps.reminders.models import Notice  # noqa: E402
from apps.reminders.services.sweeping import sweep  # noqa: E402
from apps.reminders.sources import know_kinds  # noqa: E402
from apps.reports.models import Packet  # noqa: E402
from apps.reports.packet import queue, rules, services, sheet, writing  # noqa: E402
from apps.reports.packet.press import Press  # noqa: E402
from apps.reports.packet.rules import Ask, Audience  # noqa: E402
from apps.spraying import queries  # noqa: E402
from apps.spraying.amending.services import amend_job  # noqa: E402
from apps.spraying.models import Job, SprayRecord  # noqa: E402
from apps.spraying.rules.states import JobState  # noqa: E402
from farmops.errors import Unknown  # noqa: E402
from tests.factories.spraying import Bench  # noqa: E402

NIGHTLY = bool(os.environ.get("NIGHTLY"))
STRIDE = 1 if NIGHTLY else 4
"""By night every query is a place to stop at, by day every fourth."""


@dataclass
class Scene:
    """The farm, its people, one signed job, and an hour that moves on."""

    farm: Farm
    boss: Member
    hand: Member
    job_id: int
    now: datetime
    loads: int = 3
    found: list[dict[str, Any]] = field(default_factory=list)

    def ask(self) -> int:
        self.now += timedelta(minutes=10)
        asked = Ask(audience=Audience.INSPECTOR)
        return int(services.ask_packet(member=self.boss, ask=asked, now=self.now).pk)

    def make(self, packet: int) -> bool:
        return services.make(farm=self.farm, packet_id=packet, now=self.now)

    def bench(self) -> Bench:
        nothing: Any = None
        return Bench(
            farm=self.farm, manager=self.boss, applicator=self.hand, crop=nothing, blocks=[], product=nothing,
            label=nothing, sprayer=nothing,
        )  # fmt: skip

    def amend(self) -> None:
        self.now += timedelta(minutes=1)
        self.loads = 7 - self.loads
        done = self.bench().done_values(queries.job(self.farm, self.job_id), loads=str(self.loads))
        amend_job(member=self.hand, job_id=self.job_id, done=done, reason="miscounted", now=self.now)

    def sign(self) -> None:
        self.now += timedelta(minutes=1)
        self.bench().sign(queries.job(self.farm, self.job_id), now=self.now)

    def standing(self) -> dict[str, Any]:
        """What is true of the book now: its newest record, its head, and the jobs that wait for a signature."""
        last = SprayRecord.objects.for_farm(self.farm).order_by("-seq").first()
        waiting = Job.objects.for_farm(self.farm).filter(state=JobState.SPRAYED).values_list("number", flat=True)
        return {"last": last.seq, "head": last.hash, "waiting": sorted(waiting)} if last else {}


def in_a_child(act: Callable[[], object]) -> int:
    """Fork, act, and how it ended (the signal that killed it, negative, or 0)."""
    connections.close_all()
    child = os.fork()
    if not child:
        try:
            act()
            connections.close_all()
        except BaseException as error:  # said on the way out: nobody else will
            print(repr(error), file=sys.stderr)
            os._exit(1)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    return os.waitstatus_to_exitcode(status)


# ---- held while others write -----------------------------------------------------------


class Held:
    """Says through a pipe that its ``at``-th query is about to be asked, and waits for an answer."""

    def __init__(self, at: int, says: int, hears: int) -> None:
        self.left, self.says, self.hears = at, says, hears

    def __call__(self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        self.left -= 1
        if not self.left:
            os.write(self.says, b"!")
            os.read(self.hears, 1)
        return execute(sql, params, many, context)


def meanwhile(scene: Scene, at: int, step: Callable[[], None]) -> bool:
    """Make a packet in a child; while it is held at a query, take ``step`` here. False when there is no such query."""
    packet = scene.ask()
    before = scene.standing()
    paused, go = os.pipe(), os.pipe()
    connections.close_all()
    child = os.fork()
    if not child:
        os.close(paused[0])
        os.close(go[1])
        with connection.execute_wrapper(Held(at, paused[1], go[0])):
            scene.make(packet)
        os._exit(0)
    os.close(paused[1])
    os.close(go[0])
    reached = os.read(paused[0], 1) == b"!"  # nothing comes when the child ends without being held
    step()
    after = scene.standing()
    if reached:
        os.write(go[1], b"!")
    for end in (paused[0], go[1]):
        os.close(end)
    _, status = os.waitpid(child, 0)
    told = _told(scene, packet)
    scene.found.append({"at": at, "held": reached, "code": status, "before": before, "after": after, "told": told})
    return reached


def _told(scene: Scene, packet: int) -> dict[str, Any]:
    """What a packet says, file by file, as its JSON and CSV hold it."""
    row = Packet.objects.for_farm(scene.farm).get(pk=packet)
    folder = services.folder_of(scene.farm) / row.folder
    said = json.loads((folder / "packet.json").read_text())
    lines = (folder / "packet.csv").read_text().splitlines()[1:]
    return {
        "state": row.state,
        "last": said["chain"]["through_record"],
        "head": said["chain"]["head"],
        "fault": said["chain"]["fault"],
        "records": sorted(r["record"] for r in said["records"]),
        "standing": [r["record"] for r in said["records"] if r["replaced_by_record"] is None],
        "waiting": [j["job"] for j in said["missing"]["jobs_without_record"]],
        "lines": len(lines),
    }


def hold(scene: Scene) -> list[dict[str, Any]]:
    """At every place: an amendment while a packet is made, then its signature while another is made."""
    at = 1
    while meanwhile(scene, at, scene.amend) & meanwhile(scene, at, scene.sign):
        at += STRIDE
    return scene.found


# ---- killed ----------------------------------------------------------------------------


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


@contextmanager
def fatal(owner: Any, name: str, *, nth: int = 1, after: bool = False) -> Iterator[None]:
    """The ``nth`` call of ``owner.name`` is the last thing this process does."""
    plain, calls = getattr(owner, name), [0]

    def deadly(*args: Any, **kwargs: Any) -> Any:
        calls[0] += 1
        if calls[0] == nth and not after:
            die()
        result = plain(*args, **kwargs)
        if calls[0] == nth:
            die()
        return result

    setattr(owner, name, deadly)
    yield


STEPS: dict[str, Callable[[], Any]] = {
    "claimed": lambda: fatal(services._Lease, "take", after=True),
    "folder made": lambda: fatal(writing, "write"),
    "first line of the table": lambda: fatal(writing.csv_rows, "cell", nth=30),
    "typesetter at work in its own process": lambda: fatal(Press, "apart", after=True),
    "PDF lies there": lambda: fatal(Press, "finish", after=True),
    "middle of the JSON": lambda: fatal(sheet, "proof_told"),
    "files written, not listed": lambda: fatal(writing, "_listed"),
    "last file being listed": lambda: fatal(writing, "_listed", nth=3, after=True),
    "before it is called ready": lambda: fatal(services, "_finish"),
    "called ready, not committed": lambda: fatal(services, "_tell"),
    "committed": lambda: fatal(services, "_finish", after=True),
}


class KilledAt:
    """Ends the process after its ``at``-th query."""

    def __init__(self, at: int) -> None:
        self.left = at

    def __call__(self, execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        result = execute(sql, params, many, context)
        self.left -= 1
        if not self.left:
            die()
        return result


def killed(scene: Scene, step: str, how: Any) -> bool:
    """One packet whose first maker dies; what is offered then, before its lease ends, and after each of two sweeps."""
    packet = scene.ask()

    def first() -> None:
        writing.SMALL_SHEET = 0  # the typesetter gets a process of its own, as for a long packet
        with how:
            scene.make(packet)

    code = in_a_child(first)
    seen: dict[str, Any] = {"step": step, "code": code, "dead": _offered(scene, packet)}
    packets_only: Callable[[], object] = lambda: queue.work_off(scene.farm, scene.now)  # noqa: E731
    for name, wait, act in (
        ("early", rules.LEASE / 3, packets_only),
        ("swept", rules.LEASE, lambda: sweep(scene.now)),
        ("again", rules.LEASE, packets_only),
    ):
        scene.now += wait + timedelta(seconds=1)
        seen[f"{name}_code"] = in_a_child(act)
        seen[name] = _offered(scene, packet)
    seen["leftovers"] = _leftovers(scene)
    scene.found.append(seen)
    return code != 0


def _offered(scene: Scene, packet: int) -> dict[str, Any]:
    """What somebody who asks for this packet now can fetch, and how often it was said to be ready."""
    row = Packet.objects.for_farm(scene.farm).get(pk=packet)
    whole, refused = [], []
    for name in ("packet.pdf", "packet.csv", "packet.json"):
        try:
            path, listed = services.fetch(member=scene.boss, packet_id=packet, name=name, now=scene.now)
        except Unknown:
            refused.append(name)
            continue
        content = path.read_bytes()
        if (len(content), hashlib.sha256(content).hexdigest()) == (listed["bytes"], listed["sha256"]):
            whole.append(name)
    made = AuditEvent.objects.filter(subject_type="reports.packet", subject_id=str(packet), verb="made").count()
    told = Notice.objects.for_farm(scene.farm).filter(kind="packet_ready", subject_id=str(packet)).count()
    return {"state": row.state, "tries": row.tries, "whole": whole, "refused": refused, "made": made, "told": told}


def _leftovers(scene: Scene) -> list[str]:
    """What lies in the farm's folder and belongs to no ready packet, and files of a packet that are not on its list."""
    rows = {r.folder: {f["name"] for f in r.files} for r in Packet.objects.for_farm(scene.farm) if r.folder}
    place = services.folder_of(scene.farm)
    stray = [p.name for p in place.iterdir() if p.name not in rows]
    return stray + [f"{p.name}/{f.name}" for p in place.iterdir() for f in p.iterdir() if f.name not in rows[p.name]]


def kill(scene: Scene) -> list[dict[str, Any]]:
    """Killed at every named step; by night after every query too."""
    for step, how in STEPS.items():
        killed(scene, step, how())
    at = 1
    while NIGHTLY and killed(scene, f"query {at}", connection.execute_wrapper(KilledAt(at))):
        at += 1
    return scene.found


def main(how: str, text: str) -> None:
    asked = json.loads(text)
    farm = Farm.objects.get(slug=asked["farm"])
    boss, hand = (active_member_for_person(farm, asked[who]) for who in ("boss", "hand"))
    now = datetime.fromisoformat(asked["now"])
    scene = Scene(farm=farm, boss=boss, hand=hand, job_id=asked["job"], now=now)
    know_kinds()  # every page is read in once, before the forks
    print(json.dumps({"hold": hold, "kill": kill}[how](scene)))


if __name__ == "__main__":
    main(*sys.argv[1:])
