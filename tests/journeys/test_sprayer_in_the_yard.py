"""One person with a phone: calibrates, opens tomorrow's job, and fills three loads with the network cut half-way."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import timedelta
from decimal import Decimal as D
from typing import Any

import pytest
from django.core.servers.basehttp import ServerHandler

from apps.equipment.models import Calibration
from apps.spraying import queries
from apps.spraying.mix.models import MixTick
from apps.spraying.mix.queries import mix_sheet
from tests.factories.spraying import NOW, Bench, bench_for, line, shield_document
from tests.journeys.conftest import PHONE, Seat

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

FARM = "/f/alder-bend/"
EVENING = NOW - timedelta(hours=14)  # the evening before the job
GRANULE = shield_document(
    formulation_code="WG",
    ingredients=[{"name": "mancozeb", "amount": "0.75", "basis": "fraction"}],
    groups=[{"scheme": "frac", "code": "M03"}],
    uses=[
        {"site_code": "winter_squash", "rate_min": "1", "rate_max": "3", "rate_unit": "lb", "rate_basis": "per_acre",
         "phi_days": 3, "min_interval_days": 7},
    ],
)  # fmt: skip
KEPT = """
async (path) => { for (const name of await caches.keys()) {
  if (await (await caches.open(name)).match(path, {ignoreVary: true})) return true; } return false; }
"""
READY = """
async () => { await navigator.serviceWorker.ready;
  while (!navigator.serviceWorker.controller) { await new Promise((go) => setTimeout(go, 20)); } }
"""


@pytest.fixture
def bench(cast: Any, monkeypatch: pytest.MonkeyPatch) -> Bench:
    monkeypatch.setattr("farmops.clock.now", lambda: EVENING)
    return bench_for(cast)


@pytest.fixture
def job(bench: Bench) -> Any:
    """Tomorrow, 8 acres at 30 gal/ac out of 100 gallons: loads of 100, 100 and 40."""
    granule = bench.product_of("Demo Granule", GRANULE, amount="40", unit="lb")
    made = bench.assigned(
        blocks=[{"block_id": bench.blocks[0].pk, "planned_acres": "8"}],
        products=[line(bench.product), line(granule, "2", "lb")],
        now=EVENING,
    )
    return queries.job(bench.farm, made.pk)


@pytest.fixture
def phone(bench: Bench, sit: Any) -> Seat:
    seat: Seat = sit(bench.applicator, size=PHONE, service_workers="allow")
    return seat


def calibrate(phone: Seat, bench: Bench) -> Calibration:
    """Cup after cup: 64 fl oz under each of four nozzles in a minute, 88 ft in 12 s; one cup is typed wrong first."""
    page = phone.page
    phone.go(f"{FARM}sprayers/{bench.sprayer.pk}/calibrate/")
    for name, typed in {
        "pressure_psi": "40",
        "gauge_psi": "44",
        "course_ft": "88",
        "run_1": "12",
        "seconds": "60",
    }.items():
        page.fill(f"[name={name}]", typed)
    for n, typed in ((1, "64"), (2, "64"), (3, "54"), (4, "64")):
        assert page.locator('[name^="cup_"]:visible').count() == 1
        page.fill(f"[name=cup_{n}]", typed)
        if n < 4:
            page.click("[data-next]")
    assert page.inner_text("#cup-guide [data-said]") == (
        "Average of 4 cups: 61.50. Nozzle 3 is 12.2 % below: clean it and catch again."
    )
    page.click("[data-back]")
    page.fill("[name=cup_3]", "64")
    assert page.inner_text("#cup-guide [data-said]") == "Average of 4 cups: 64.00."
    page.click("text=Record this calibration")
    page.wait_for_url("**/calibrations/*/")
    return Calibration.objects.for_farm(bench.farm).order_by("-id").first()


def press(phone: Seat, load: int, *codes: str) -> None:
    for code in codes:
        phone.page.click(f'[data-load="{load}"][data-step="{code}"] button.tick')


def said(phone: Seat, load: int, code: str) -> str:
    return phone.page.inner_text(f'[data-load="{load}"][data-step="{code}"] .said')


def amount(phone: Seat, load: int, code: str) -> str:
    return phone.page.inner_text(f'#load-{load} [data-step="{code}"] .big').replace("\u00a0", " ")


def waits_for(phone: Seat, load: int, code: str, text: str) -> None:
    phone.until(
        """([load, step, text]) => document.querySelector(
             `[data-load="${load}"][data-step="${step}"] .said`).textContent.startsWith(text)""",
        [str(load), code, text],
    )


@contextmanager
def no_network(phone: Seat) -> Iterator[None]:
    """The browser is told that it is offline, and the site hangs up on whatever still comes through.

    The browser alone is not enough: a page loaded anew may send for a moment before it is cut off too.
    """

    def hang_up(handler: ServerHandler, application: Any) -> None:
        handler.request_handler.close_connection = True

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ServerHandler, "run", hang_up)
        phone.page.context.set_offline(True)
        yield
    phone.page.context.set_offline(False)


def test_from_the_catch_cup_to_the_third_load(bench: Bench, job: Any, phone: Seat) -> None:
    measured = calibrate(phone, bench)
    assert (measured.gpa, measured.gauge_psi, measured.verdict) == (D(30), D(44), "good")

    page, there = phone.page, f"{FARM}jobs/{job.pk}/mix/"
    phone.go(f"{FARM}jobs/{job.pk}/")
    page.click("text=Mix sheet, load by load")
    page.evaluate(READY)
    for _ in range(100):
        if page.evaluate(KEPT, there):
            break
        page.wait_for_timeout(50)
    wet, dry, rest = f"product-{bench.product.pk}", f"product-{other(job, bench)}", ("rinse", "water_last")

    # By hand: 100/30 acres x 2 lb = 6.666 lb = 6 lb 10.6 oz; x 5 fl oz = 16.666 fl oz = 1 pt and 19 mL.
    assert "6 lb + 10.6 oz (weight)" in amount(phone, 1, dry)
    assert "1 pt + 19 mL (0.6 fl oz)" in amount(phone, 1, wet)
    # The last 40 gallons: 2.666 lb = 2 lb 10.6 oz; 6.666 fl oz = 197 mL.
    assert "2 lb + 10.6 oz (weight)" in amount(phone, 3, dry)
    assert "197 mL (6.6 fl oz)" in amount(phone, 3, wet)
    # 16.666 + 16.666 + 6.666 = 39.998 of 40 fl oz; 6.666 + 6.666 + 2.666 = 15.998 of 16 lb.
    totals = page.inner_text("main table")
    assert all(sum_ in totals for sum_ in ("39.998 fl oz", "40 fl oz", "15.998 lb", "16 lb"))

    press(phone, 1, "water_first", dry, wet, *rest)
    waits_for(phone, 1, "water_last", "Saved: ")
    assert MixTick.objects.for_farm(bench.farm).count() == 5

    with no_network(phone):
        press(phone, 2, "water_first", dry)
        waits_for(phone, 2, dry, "On this phone only. Not saved yet.")
        assert "Not saved yet, on this phone only: 2" in page.inner_text("#mix-state")
        page.reload()
        assert page.is_visible("#kept")
        assert said(phone, 2, "water_first") == "On this phone only. Not saved yet."
        assert said(phone, 1, "water_last").startswith("Saved: ")
        press(phone, 2, wet, *rest)
        press(phone, 3, "water_first", dry, wet, *rest)
        waits_for(phone, 3, "water_last", "On this phone only. Not saved yet.")
        assert MixTick.objects.for_farm(bench.farm).count() == 5

    waits_for(phone, 3, "water_last", "Saved: ")
    assert page.is_hidden("#mix-state")
    rows = MixTick.objects.for_farm(bench.farm).order_by("id")
    filled = ["water_first", dry, wet, *rest]
    assert [(row.load, row.step) for row in rows] == [(load, code) for load in (1, 2, 3) for code in filled]
    assert {row.by_id for row in rows} == {bench.applicator.person_id}
    made = mix_sheet(job)
    assert (made.changed, made.done) == (False, 15)
    page.reload()
    assert page.locator('[aria-pressed="true"]').count() == 15
    trouble = [t for t in phone.taken() if "ERR_INTERNET_DISCONNECTED" not in t and "ERR_EMPTY_RESPONSE" not in t]
    assert trouble == []
    assert page.evaluate("document.documentElement.scrollWidth") <= PHONE[0]


def test_what_the_book_does_not_take_stays_and_says_why(bench: Bench, job: Any, phone: Seat) -> None:
    phone.go(f"{FARM}jobs/{job.pk}/mix/")
    type(job).objects.for_farm(bench.farm).filter(pk=job.pk).update(state="called_off")
    press(phone, 1, "water_first")
    waits_for(phone, 1, "water_first", "Not taken: ")
    assert "Tell the manager what is in the tank." in said(phone, 1, "water_first")
    assert MixTick.objects.for_farm(bench.farm).count() == 0


def other(job: Any, bench: Bench) -> int:
    """The product of the job that is not the usual one."""
    return next(row.product_id for row in job.job_products.all() if row.product_id != bench.product.pk)
