"""A whole invented farm at Monday 6 July 2026, 1 PM: every page has something to show, every job state is there.

Built through the services and factories of the apps, so that board, shed, trail and notices agree.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from decimal import Decimal
from typing import Any

from apps.crops import services as crops
from apps.inventory.models import Lot
from apps.land.models import Block
from apps.people import services as people
from apps.products.sds.services import keep_sheet
from apps.reminders import services as reminders
from apps.reports.packet.rules import Ask, Audience
from apps.reports.packet.services import ask_packet, make_if_small
from apps.safety.gate import services as gate
from apps.safety.phones import services as phones
from apps.safety.seen.models import PossibleExposure
from apps.spraying import services
from apps.spraying.amending.services import ask_correction
from apps.spraying.bringing.services import bring_in
from apps.spraying.models import AdviceRule
from apps.spraying.policies.services import copy_advice
from apps.spraying.programs import services as programs
from apps.training.credits.services import record_credit
from apps.training.scans.services import add_scan
from apps.weather import services as weather
from tests.conftest import Cast
from tests.factories.crops import PlantingEventFactory, PlantingFactory, ScoutingNoteFactory, VarietyFactory
from tests.factories.land import BlockFactory, SensitivePlaceFactory
from tests.factories.products import DraftFactory, ProductFactory
from tests.factories.spraying import NOW, Bench, bench_for, line, plot_of, shield_document
from tests.factories.training import CertificateFactory, SuspensionFactory, TrainingFactory, a_png
from tests.factories.work import TaskFactory

SEEN_AT = NOW + timedelta(hours=6)
"""When the pages are looked at: 1 PM on the farm."""

DAY = timedelta(days=1)


@dataclass
class World:
    """The farm and, for each part of an address, the number of a thing that is there."""

    cast: Cast
    bench: Bench
    blocks: list[Block]
    parts: dict[str, object] = field(default_factory=dict)
    jobs: dict[str, int] = field(default_factory=dict)


def build(cast: Cast) -> World:
    bench = bench_for(cast)
    blocks = [*bench.blocks, *(_block(bench, n) for n in range(3, 8))]
    world = World(cast=cast, bench=bench, blocks=blocks)
    _jobs(world)
    _people(world)
    _ground(world)
    _shed(world)
    _season(world)
    _papers(world)
    return world


def _block(bench: Bench, number: int) -> Block:
    block = BlockFactory(
        farm=bench.farm, field=bench.blocks[0].field, code=f"N{number}", name=f"North {number}", polygon=plot_of(number)
    )
    PlantingFactory(
        farm=bench.farm,
        block=block,
        crop=bench.crop,
        sown_on=date(2026, 6, 10),
        harvest_from=date(2026, 9, 10),
        harvest_to=date(2026, 10, 10),
    )
    return block


def _on(block: Block, **more: Any) -> dict[str, Any]:
    return {"blocks": [{"block_id": block.pk}], **more}


def _window(starts_in: timedelta) -> dict[str, Any]:
    return {"window_starts_at": NOW + starts_in, "window_ends_at": NOW + starts_in + timedelta(hours=3)}


def _jobs(world: World) -> None:
    """One job in each state; N1 was also sprayed three weeks ago and its window after that was missed."""
    bench, (n1, n2, n3, n4, n5, n6, _) = world.bench, world.blocks
    capped = shield_document(
        caps=[{"ingredient": "quinoxyfen", "pounds": "0.39", "per": "year", "year_basis": "calendar"}]
    )
    guard = bench.product_of("Demo Guard", capped)
    _past(bench, n1, guard, NOW - 21 * DAY)
    record = bench.signed(**_on(n1, products=[line(guard)]))
    world.parts["seq"] = record.seq
    world.jobs = {
        "signed": record.job_id,
        "sprayed": bench.sprayed(**_on(n2)).pk,
        "late": bench.assigned(**_on(n3)).pk,
        "assigned": bench.assigned(**_on(n4, products=[line(guard)], **_window(DAY))).pk,
        "spraying": bench.spraying(**_on(n5)).pk,
        "draft": bench.planned(**_on(n6, **_window(DAY + timedelta(hours=4)))).pk,
    }


def _past(bench: Bench, block: Block, product: Any, at: Any) -> None:
    """A spray of an earlier day, from plan to signature."""
    hour = timedelta(hours=1)
    job = bench.spraying(
        at=at + hour,
        now=at,
        **_on(block, products=[line(product)], window_starts_at=at + hour, window_ends_at=at + 4 * hour),
    )
    done = bench.done_values(job, started_at=at + hour, ended_at=at + 2 * hour)
    services.finish_spraying(member=bench.applicator, job_id=job.pk, done=done, now=at + 2 * hour)
    job.refresh_from_db()
    bench.sign(job, now=at + 3 * hour)


def _people(world: World) -> None:
    cast, farm, manager = world.cast, world.bench.farm, world.cast.manager
    person = Cast.person(cast.applicator)
    certificate = CertificateFactory(farm=farm, person=Cast.person(cast.staff), recorded_by=Cast.person(manager))
    SuspensionFactory(certificate=certificate, from_on=date(2026, 6, 1), recorded_by=Cast.person(manager))
    invitation, code = people.invite(member=manager, full_name="Rosa Lind", roles=["staff"], now=NOW)
    token, _ = people.make_token(member=manager, name="weather post", now=NOW)
    training = TrainingFactory(farm=farm, person=person, recorded_by=Cast.person(manager))
    everybody = [m.person_id for m in (cast.manager, cast.applicator, cast.staff)]
    reminders.tell(
        farm=farm,
        kind="gate_painted",
        subject=("gate", "1"),
        occasion="once",
        to=everybody,
        template="Gate {gate} is painted.",
        numbers={"gate": "East"},
        path=f"/f/{farm.slug}/",
        now=NOW,
    )
    for who in (cast.manager, cast.applicator, cast.staff):
        task = TaskFactory(
            farm=farm, block=world.blocks[0], assigned_to=Cast.person(who), starts_at=NOW + timedelta(hours=7)
        )
    TaskFactory(farm=farm, block=world.blocks[6], assigned_to=person, starts_at=NOW - DAY, state="done")
    world.parts |= {
        "member": cast.staff.id,
        "person": person.pk,
        "certificate": certificate.pk,
        "invitation": invitation.pk,
        "token": token.pk,
        "training": training.pk,
        "code": code,
        "task": task.pk,
    }


def _ground(world: World) -> None:
    farm, block, author = world.bench.farm, world.blocks[0], Cast.person(world.cast.manager)
    planting = PlantingFactory(
        farm=farm, block=world.blocks[6], crop=world.bench.crop, planned_on=date(2026, 7, 20), purpose="cash"
    )
    VarietyFactory(farm=farm, crop=world.bench.crop)
    event = PlantingEventFactory(planting=block.plantings.get(), on=date(2026, 7, 1), recorded_by=author)
    note = ScoutingNoteFactory(block=block, looked_on=date(2026, 7, 3), recorded_by=author)
    place = SensitivePlaceFactory(farm=farm, name="Hives by the creek")
    gate_codes = gate.issue_missing(member=world.cast.manager, now=NOW)
    clinic = {"purpose": "clinic", "name": "Demo clinic", "number": "555-0142", "note": "Open day and night"}
    number = phones.add_number(member=world.cast.manager, values=clinic, now=NOW)
    world.parts |= {
        "field": block.field_id,
        "block": block.pk,
        "planting": planting.pk,
        "crop": world.bench.crop.pk,
        "event": event.pk,
        "note": note.pk,
        "place": place.pk,
        "plate": gate_codes[1].code,
        "gate_code": gate_codes[0].pk,
        "number": number.pk,
    }


def _shed(world: World) -> None:
    bench = world.bench
    empty = ProductFactory(farm=bench.farm, name="Demo Unchecked")
    draft = DraftFactory(product=empty, transcribed_by=Cast.person(world.cast.manager))
    world.parts |= {
        "product": bench.product.pk,
        "label": draft.pk,
        "lot": Lot.rows.filter(farm=bench.farm).order_by("pk").first().pk,
        "sprayer": bench.sprayer.pk,
        "calibration": bench.sprayer.calibrations.get().pk,
        "sum": "lanes",
    }


def _season(world: World) -> None:
    """A program on the first block, a count that reached its threshold, and an inch of rain."""
    bench, block = world.bench, world.blocks[0]
    mix = [line(bench.product)]
    program = programs.set_up_program(
        member=bench.manager,
        values={
            "name": "Squash, powdery mildew",
            "crop_id": bench.crop.pk,
            "targets": ["powdery mildew"],
            "start_kind": "date",
            "start_on": date(2026, 6, 15),
            "from_days": 7,
            "to_days": 10,
            "last_on": date(2026, 9, 1),
        },
        blocks=[block.pk, world.blocks[6].pk],
        passes=[mix] * 6,
        now=NOW - 25 * DAY,
    )
    count = crops.record_count(
        member=world.cast.staff,
        block_id=block.pk,
        threshold_code="powdery_mildew_leaves",
        looked_on=date(2026, 7, 6),
        places=[{"examined": 50, "found": 2}],
        now=NOW,
    )
    rain = weather.record_rainfall(
        member=world.cast.staff, from_at=NOW - DAY, until_at=NOW, inches=Decimal("1.1"), now=NOW
    )
    world.parts |= {
        "program": program.pk,
        "pass_no": 2,
        "count": count.pk,
        "threshold": count.threshold_code,
        "rainfall": rain.pk,
    }


def _papers(world: World) -> None:
    """A scanned card, credits, an exposure, a wish for a correction, a file of the past, own advice, a packet."""
    bench, block, manager = world.bench, world.blocks[0], world.cast.manager
    card = world.parts["certificate"]
    kept = keep_sheet(member=manager, product_id=bench.product.pk, sheet_on=date(2025, 3, 4), content=a_png(), now=NOW)
    scan = add_scan(member=manager, certificate_id=card, content=a_png(), signed=True, now=NOW)
    credit = record_credit(
        member=manager,
        person_id=Cast.person(world.cast.applicator).pk,
        jurisdiction="WI",
        held_on=date(2026, 3, 2),
        amount=Decimal(3),
        course="Drift and droplets",
        now=NOW,
    )
    told = {"answer": 1, "person_id": world.cast.staff.person_id, "name": "Pat Staff"}
    until = NOW + timedelta(minutes=30)
    exposure = PossibleExposure.objects.add(
        farm=bench.farm,
        block=block,
        source="closure 1",
        found_at=NOW + timedelta(hours=1),
        products=["Demo Shield"],
        people=[{**told, "from": NOW.isoformat(), "to": until.isoformat()}],
    )
    words = "The wind was 6 mph, not 5."
    asked = ask_correction(member=manager, job_id=world.jobs["signed"], words=words, now=SEEN_AT)
    past = "date,block,product,amount,unit,acres\n2025-06-20,N7,Demo Shield,40,fl oz,8\n"
    file = bring_in(member=manager, name="last-year.csv", text=past, now=NOW)
    copy_advice(member=manager, preset="extension", now=NOW)
    july = Ask(audience=Audience.INSPECTOR, first_on=date(2026, 6, 1), last_on=date(2026, 7, 5))
    ask_packet(member=manager, ask=july, now=SEEN_AT)  # waits, on the list
    packet = ask_packet(member=world.cast.staff, ask=replace(july, audience=Audience.WORKER), now=SEEN_AT)
    make_if_small(farm=bench.farm, packet_id=packet.pk, now=SEEN_AT)  # everybody may open their own; managers open all
    world.parts |= {
        "scan": scan.pk,
        "sheet": kept.pk,
        "credit": credit.pk,
        "exposure": exposure.pk,
        "asked": asked.pk,
        "file": file.pk,
        "rule": AdviceRule.rows.filter(farm=bench.farm).order_by("pk").first().pk,
        "packet": packet.pk,
    }
