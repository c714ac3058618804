"""Asking for a packet, making it once however often a process dies, fetching its files, taking them away in time."""

from __future__ import annotations

import logging
import secrets
import shutil
import time
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from django.conf import settings
from django.db import transaction

from apps.audit import services as audit
from apps.land.models import Block
from apps.people.models import Farm
from apps.people.queries import Member
from apps.people.rules import Can
from apps.products.models import Product
from apps.reminders.rules import Level, register
from apps.reminders.services import tell
from apps.reports.models import Packet
from apps.reports.packet import queries, rules, writing
from apps.reports.packet.rules import Ask, Audience, PacketState
from farmops import clock
from farmops.errors import BadInput, Unknown, gettext_noop

log = logging.getLogger(__name__)
PACKET_READY = register("packet_ready", Level.INFORMATION)
PACKET_FAILED = register("packet_failed", Level.DO_TODAY)
RETRY = timedelta(seconds=60)


# ---- asking ----------------------------------------------------------------------------


def allowed(member: Member, ask: Ask) -> Ask:
    """The ask with the asker's own name put in where it is about themselves.

    Everybody may ask about their own work; anything else is for those who may read records.
    """
    if ask.audience is Audience.WORKER and ask.about_id is None and not ask.about.strip():
        ask = replace(ask, about_id=member.person_id)
    if rules.own(ask, member.person_id):
        return replace(ask, about=member.name)
    member.require(Can.READ_RECORDS)
    return ask


@transaction.atomic
def ask_packet(*, member: Member, ask: Ask, now: datetime) -> Packet:
    """Put a packet on the list. ``BadInput`` names what is missing; nothing is made yet."""
    member.require(Can.READ_FARM)
    ask = allowed(member, ask)
    faults = rules.faults(ask, today=clock.to_local(now, member.farm.time_zone).date())
    for name, model in (("block_id", Block), ("product_id", Product)):
        key = getattr(ask, name)
        if key is not None and not model.objects.for_farm(member.farm).filter(pk=key).exists():
            faults[name] = gettext_noop("There is no such entry in this farm's book.")
    if faults:
        raise BadInput(faults)
    row: Packet = Packet.objects.add(farm=member.farm, asked_by_id=member.person_id, asked_at=now, ask=ask.as_json())
    audit.record(farm=member.farm, actor=member, verb="asked for", subject=row, now=now, after=ask.as_json())
    return row


def make_if_small(*, farm: Farm, packet_id: int, now: datetime) -> None:
    """Make a short packet at once; a long one waits for the background."""
    row = Packet.objects.for_farm(farm).get(pk=packet_id)
    if len(queries.chosen(farm, rules.read_ask(row.ask), queries.last_seq(farm))) <= rules.SMALL:
        make(farm=farm, packet_id=packet_id, now=now, told=False)


# ---- making ----------------------------------------------------------------------------


class _Lease:
    """One try at a packet. What it writes counts only while the try is still the packet's own."""

    def __init__(self, farm: Farm, packet_id: int, now: datetime) -> None:
        self.farm, self.packet_id, self.begun_at = farm, packet_id, now
        self.claim = secrets.token_hex(8)
        self._since = time.monotonic()

    @property
    def now(self) -> datetime:
        """The sweep's instant, moved on by the time that has really passed."""
        return self.begun_at + timedelta(seconds=time.monotonic() - self._since)

    @property
    def folder(self) -> str:
        return f"{self.packet_id}-{self.claim}"

    def take(self) -> bool:
        """Claim the packet; False when somebody else is making it or it has been tried too often."""
        free = queries.unfinished(self.farm, self.now).filter(pk=self.packet_id)
        if free.filter(tries__gte=rules.MAX_TRIES).update(state=PacketState.FAILED, claimed_until=None):
            self._tell_failed()
            return False
        row = free.first()
        if row is None:
            return False
        mine = free.filter(tries=row.tries)  # the number of tries moves with every claim: two claims cannot both win
        taken = mine.update(
            state=PacketState.MAKING,
            claim=self.claim,
            tries=row.tries + 1,
            done=0,
            claimed_until=self.now + rules.LEASE,
        )
        return bool(taken)

    def held(self) -> Any:
        """The packet's row, while this try is its own."""
        rows = Packet.objects.for_farm(self.farm)
        return rows.filter(pk=self.packet_id, claim=self.claim, state=PacketState.MAKING)

    def alive(self, done: int) -> None:
        if not self.held().update(done=done, claimed_until=self.now + rules.LEASE):
            raise Superseded

    def put_off(self, error: Exception) -> None:
        """A try that failed: again later, or given up."""
        row = self.held().first()
        if row is None:
            return
        last = row.tries >= rules.MAX_TRIES
        said = f"{type(error).__name__}: {error}"[:300]
        state = PacketState.FAILED if last else PacketState.WAITING
        self.held().update(state=state, last_error=said, claimed_until=None if last else self.now + RETRY)
        if last:
            self._tell_failed()

    def _tell_failed(self) -> None:
        row = Packet.objects.for_farm(self.farm).get(pk=self.packet_id)
        template = gettext_noop("Your packet of records could not be made. Ask for it again, or for a shorter time.")
        _tell(row, PACKET_FAILED, template, self.now)


class Superseded(Exception):
    """Another process has taken this packet over."""


def make(*, farm: Farm, packet_id: int, now: datetime, told: bool = True) -> bool:
    """Make a packet that waits; True when it is ready. A process that dies leaves it to the next one.

    The files lie in a folder that belongs to this try alone, and count only from the one update that names it.
    """
    lease = _Lease(farm, packet_id, now)
    if not lease.take():
        return False
    folder = folder_of(farm) / lease.folder
    try:
        made = _write(lease, folder)
    except Superseded:
        shutil.rmtree(folder, ignore_errors=True)
        return False
    except Exception as error:  # one packet's fault never stops another's
        log.exception("packet %s could not be made", packet_id)
        shutil.rmtree(folder, ignore_errors=True)
        lease.put_off(error)
        return False
    if not _finish(lease, made, told=told):
        shutil.rmtree(folder, ignore_errors=True)
        return False
    return True


def _write(lease: _Lease, folder: Path) -> writing.Made:
    row = lease.held().get()
    plan = writing.plan(lease.farm, rules.read_ask(row.ask), lease.now)
    lease.held().update(total=len(plan.keys))
    folder.mkdir(parents=True, mode=0o700)
    return writing.write(plan, folder, alive=lease.alive)


@transaction.atomic
def _finish(lease: _Lease, made: writing.Made, *, told: bool) -> bool:
    now = lease.now
    ended = lease.held().update(
        state=PacketState.READY,
        done=made.records,
        total=made.records,
        claimed_until=None,
        last_error="",
        made_at=now,
        expires_at=now + rules.LIFE,
        last_seq=made.last_seq,
        findings=made.findings,
        folder=lease.folder,
        files=list(made.files),
    )
    if not ended:
        return False
    row = Packet.objects.for_farm(lease.farm).get(pk=lease.packet_id)
    after = {"records": made.records, "findings": made.findings, "head": made.head, "files": row.files}
    audit.record(farm=lease.farm, actor=None, verb="made", subject=row, now=now, after=after)
    if told:
        _tell(
            row, PACKET_READY, gettext_noop("Your packet of {n} records is ready to fetch."), now, n=str(made.records)
        )
    return True


def _tell(row: Packet, kind: str, template: str, now: datetime, **numbers: str) -> None:
    tell(
        farm=row.farm,
        kind=kind,
        subject=("packet", row.pk),
        occasion=kind,
        to=[row.asked_by_id],
        template=template,
        numbers=numbers,
        path=f"/f/{row.farm.slug}/packets/{row.pk}/",
        now=now,
    )


# ---- fetching --------------------------------------------------------------------------


def folder_of(farm: Farm) -> Path:
    """Where a farm's packets lie: under the data folder, never among the static files."""
    return Path(settings.DATA_DIR) / "packets" / str(farm.pk)


@transaction.atomic
def fetch(*, member: Member, packet_id: int, name: str, now: datetime) -> tuple[Path, dict[str, Any]]:
    """The path of one of a packet's files and what is known of it; every fetching is audited.

    ``Unknown`` for somebody else's packet, one that is not ready, or a name that is not on its list.
    """
    row = queries.packet(member, packet_id)
    listed = next((f for f in row.files if f["name"] == name), None)
    path = folder_of(member.farm) / row.folder / name
    if row.state != PacketState.READY or listed is None or not path.is_file():
        raise Unknown(gettext_noop("This file is not there. Ask for the packet again."))
    audit.record(farm=member.farm, actor=member, verb="fetched", subject=row, now=now, after={"file": name})
    return path, listed


# ---- tidying ---------------------------------------------------------------------------


@transaction.atomic
def _expire(*, farm: Farm, now: datetime) -> None:
    for row in queries.over(farm, now):
        ended = Packet.objects.for_farm(farm).filter(pk=row.pk, state=PacketState.READY)
        ended.update(state=PacketState.EXPIRED, files=[], folder="")
        audit.record(farm=farm, actor=None, verb="took away the files of", subject=row, now=now)


def tidy(*, farm: Farm, now: datetime) -> None:
    """Take away the files whose time is over, and what a process that died has left behind."""
    _expire(farm=farm, now=now)
    place = folder_of(farm)
    lying = sorted(p.name for p in place.iterdir()) if place.is_dir() else []
    if not lying:
        return
    rows = Packet.objects.for_farm(farm).filter(state__in=[PacketState.READY, PacketState.MAKING])
    wanted = {folder or f"{pk}-{claim}" for pk, folder, claim in rows.values_list("pk", "folder", "claim")}
    for name in set(lying) - wanted:
        shutil.rmtree(place / name, ignore_errors=True)
