"""The demo farm in real browsers: a job from plan to signature while staff watch the block close and open."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.core.management import call_command

from apps.land.models import Block
from apps.people.models import Person
from apps.spraying.models import Job, SprayRecord
from farmops import clock
from tests.journeys.conftest import DESK, PHONE, Seat

pytestmark = pytest.mark.browser
F = "/f/tamarack-hollow"
# Monday, June 15 2026, 10:00 AM CDT
START = datetime(2026, 6, 15, 15, 0, tzinfo=UTC)


class Hands:
    """Moves the one clock of the product."""

    def __init__(self) -> None:
        self.at = START

    def forward(self, **by: int) -> datetime:
        self.at += timedelta(**by)
        return self.at

    def field(self) -> str:
        """Now as somebody types it on the farm."""
        return clock.to_local(self.at, "America/Chicago").strftime("%Y-%m-%dT%H:%M")


@pytest.fixture
def hands(transactional_db: None, settings: Any, monkeypatch: pytest.MonkeyPatch) -> Hands:
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    made = Hands()
    monkeypatch.setattr("farmops.clock.now", lambda: made.at)
    call_command("load_demo", verbosity=0)
    return made


def person(username: str) -> Person:
    return Person.objects.get(username=username)


def headline(seat: Seat, block: Block) -> str:
    seat.go(f"{F}/blocks/{block.pk}/may-i-enter/?activity=hand_labor")
    return str(seat.page.inner_text("h1")).split("\n")[0]


def press(seat: Seat, name: str) -> None:
    seat.page.get_by_role("button", name=name, exact=True).click()
    seat.page.wait_for_load_state()


def test_plan_to_signature_with_a_second_browser_watching(sit, hands):
    block = Block.rows.get(code="CS")
    staff = sit(person("lupe"), size=PHONE)
    manager, applicator = sit(person("marta"), size=DESK), sit(person("devin"), size=PHONE)
    assert headline(staff, block) == "Entry allowed"

    job = _plan(manager, hands)
    _assign(manager, job)
    assert Job.rows.get(pk=job.pk).state == "assigned"
    assert headline(staff, block) == "Entry allowed"

    hands.forward(minutes=30)
    assert headline(staff, block) == "KEEP OUT"
    _start(applicator, job)
    assert "Spraying now" in _after(staff, block)

    hands.forward(minutes=60)
    _finish(applicator, job, block, hands)
    assert headline(staff, block) == "KEEP OUT"
    assert "Not confirmed" in _after(staff, block)

    hands.forward(minutes=5)
    _sign(applicator, job)
    assert headline(staff, block) == "KEEP OUT"
    assert "until Mon, Jun 15, 11:30 PM CDT" in _after(staff, block)

    hands.forward(hours=12)
    assert headline(staff, block) == "Entry allowed"
    assert "Do not pick yet" in _after(staff, block)
    assert [seat.taken() for seat in (staff, manager, applicator)] == [[], [], []]


def _after(seat: Seat, block: Block) -> str:
    headline(seat, block)
    return str(seat.page.inner_text("main"))


def _plan(seat: Seat, hands: Hands) -> Job:
    page = seat.page
    seat.go(f"{F}/jobs/new/")
    page.get_by_label("CS Creek South").check()
    page.fill("[name=targets]", "powdery mildew")
    page.select_option("[name=product_1]", label="Demo Elm 7-3")
    page.fill("[name=amount_1]", "10")
    page.select_option("[name=unit_1]", "floz")
    page.fill("[name=window_starts_at]", (hands.at - timedelta(hours=4, minutes=30)).strftime("%Y-%m-%dT%H:%M"))
    page.fill("[name=window_ends_at]", (hands.at - timedelta(hours=2)).strftime("%Y-%m-%dT%H:%M"))
    page.select_option("[name=sprayer_id]", label="High-volume boom")
    page.select_option("[name=applicator_id]", label="Devin Sorrel")
    press(seat, "Save and check")
    return Job.rows.order_by("-pk").first()


def _assign(seat: Seat, job: Job) -> None:
    seat.go(f"{F}/jobs/{job.pk}/assign/")
    seat.page.fill("[name=reason]", "Forecast read: 5 to 8 mph, dry. Underside coverage needed before fruit set.")
    press(seat, "Assign this job")


def _start(seat: Seat, job: Job) -> None:
    seat.go(f"{F}/jobs/{job.pk}/start/")
    for name, value in (("wind_mph", "6"), ("temperature_f", "72"), ("humidity_percent", "60")):
        seat.page.fill(f"[name={name}]", value)
    seat.page.fill("[name=reason]", "Looked at the field: nobody in it.")
    seat.page.locator("main form button.main").click()
    seat.page.wait_for_load_state()
    assert Job.rows.get(pk=job.pk).state == "spraying", seat.page.inner_text("main")


def _finish(seat: Seat, job: Job, block: Block, hands: Hands) -> None:
    page = seat.page
    seat.go(f"{F}/jobs/{job.pk}/finish/")
    page.fill("[name=ended_at]", hands.field())
    page.check(f"[name=area_{block.pk}][value=all]")
    page.fill("[name=loads]", "1")
    line = job.job_products.get()
    page.fill(f"[name=amount_{line.product_id}]", "44")
    page.locator("main form button.main").click()
    page.wait_for_load_state()
    assert Job.rows.get(pk=job.pk).state == "sprayed", page.inner_text("main")


def _sign(seat: Seat, job: Job) -> None:
    page = seat.page
    seat.go(f"{F}/jobs/{job.pk}/sign/")
    read = page.inner_text("main")
    assert "Mon, Jun 15, 11:30 PM CDT" in read  # what follows stands before the button
    assert page.is_checked("[name=checked]") is False
    page.check("[name=checked]")
    page.fill("[name=password]", "not-my-password")
    press(seat, "Sign this record")
    assert SprayRecord.rows.filter(job=job).count() == 0
    assert ["400" in said for said in seat.taken()] == [True]
    page.check("[name=checked]")
    page.fill("[name=password]", "harvest-moon-7")
    page.get_by_role("button", name="Sign this record", exact=True).dblclick()
    page.wait_for_url("**/signed/")
    assert SprayRecord.rows.filter(job=job).count() == 1
    assert Job.rows.get(pk=job.pk).state == "signed"


@pytest.mark.parametrize("username", ["marta", "devin", "lupe"])
def test_every_role_has_something_true_to_read_on_the_first_day(sit, hands, username):
    seat = sit(person(username), size=PHONE)
    for path in ("/", "/board/", "/tasks/", "/notices/", "/fields/", "/labels/"):
        answer = seat.go(F + path)
        assert (answer.status, seat.page.locator("h1").count()) == (200, 1)
        assert len(seat.page.inner_text("main")) > 60
    assert seat.taken() == []
