"""A yes ends on screen: at its time, offline, after sleep, after Back, and whatever the phone's clock says.

Real Chromium; its timers and its clock are moved by hand (Playwright's clock stands in for both).
"""

from __future__ import annotations

import pytest

from apps.reminders.models import SweepRun
from apps.safety.rules import EntryInterval, for_signature
from apps.safety.services import hang_closures
from farmops import clock
from tests.factories.land import BlockFactory
from tests.journeys.conftest import PHONE

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

SEEN = """
() => [...document.querySelectorAll("main h1, main .big, #picking, #picking-stale, .board .word")]
  .filter((e) => e.checkVisibility({visibilityProperty: true})).map((e) => e.innerText.split("\\n")[0])
"""
ALLOWED = ["Entry allowed", "Picking allowed"]
ENDED = ["KEEP OUT", "Do not pick yet"]


@pytest.fixture
def block(cast):
    return BlockFactory(farm=cast.farm, name="North Seven")


@pytest.fixture
def phone(cast, block, sit):
    """A phone of the crew with an allowed answer on it; its clock is in the test's hands from here on."""
    seat = sit(cast.staff, size=PHONE)
    seat.page.clock.install()
    seat.go(f"/f/alder-bend/blocks/{block.pk}/may-i-enter/")
    assert seat.page.evaluate(SEEN) == ALLOWED
    return seat


def hide(seat, hidden: bool) -> None:
    """What the page is told when the phone is locked or another app comes to the front."""
    seat.page.evaluate(
        """(hidden) => { Object.defineProperty(document, "hidden", {configurable: true, value: hidden});
        document.dispatchEvent(new Event("visibilitychange")); }""",
        hidden,
    )


def test_it_stays_while_it_is_good_and_ends_at_its_time(phone):
    phone.page.clock.run_for("29:50")
    assert phone.page.evaluate(SEEN) == ALLOWED
    phone.page.clock.run_for("00:15")
    assert phone.page.evaluate(SEEN) == ENDED
    assert phone.page.title() == "KEEP OUT / NO ENTRE"
    assert phone.taken() == []


def test_it_is_not_on_the_screen_while_nobody_looks_and_comes_back_only_if_fresh(phone):
    hide(phone, True)
    assert phone.page.evaluate(SEEN) == []
    phone.page.clock.run_for("05:00")
    hide(phone, False)
    assert phone.page.evaluate(SEEN) == ALLOWED
    hide(phone, True)
    phone.page.clock.fast_forward("40:00")
    hide(phone, False)
    assert phone.page.evaluate(SEEN) == ENDED


def test_losing_the_connection_ends_it(phone):
    phone.page.context.set_offline(True)
    phone.page.wait_for_selector("#stale:not([hidden])")
    assert phone.page.evaluate(SEEN) == ENDED


@pytest.mark.parametrize("event", ["freeze", "resume"])
def test_a_frozen_tab_wakes_without_it(phone, event):
    phone.page.evaluate("(name) => document.dispatchEvent(new Event(name))", event)
    assert phone.page.evaluate(SEEN) == ENDED


def test_back_from_the_browsers_memory_does_not_show_it(phone):
    phone.page.evaluate('() => window.dispatchEvent(new PageTransitionEvent("pageshow", {persisted: true}))')
    assert phone.page.evaluate(SEEN) == ENDED


@pytest.mark.parametrize("shift", ["-86400000", "86400000"], ids=["a day back", "a day ahead"])
def test_a_phone_clock_that_jumps_ends_it_and_never_lengthens_it(phone, shift):
    phone.page.evaluate(f"() => {{ const now = Date.now; Date.now = () => now() + {shift}; }}")
    phone.page.clock.run_for("00:02")
    assert phone.page.evaluate(SEEN) == ENDED


def test_a_keep_out_stays_on_the_screen(cast, block, sit):
    _closed(cast, block)
    seat = sit(cast.staff, size=PHONE)
    seat.page.clock.install()
    seat.go(f"/f/alder-bend/blocks/{block.pk}/may-i-enter/")
    before = seat.page.evaluate(SEEN)
    seat.page.clock.run_for("02:00:00")
    assert seat.page.evaluate(SEEN) == before == ["KEEP OUT", "Do not pick yet"]


def test_the_board_ends_every_allowed_line(cast, block, sit):
    seat = sit(cast.staff, size=PHONE)
    seat.page.clock.install()
    seat.go("/f/alder-bend/board/")
    assert seat.page.evaluate(SEEN) == ["0 blocks closed", "Entry allowed"]
    seat.page.clock.run_for("30:05")
    assert seat.page.evaluate(SEEN) == ["Not confirmed", "Keep out, not confirmed"]
    assert seat.page.title() == "Not confirmed"
    assert seat.page.inner_text("#stale") == "Not confirmed any more. Load this page again."


def test_without_scripts_the_first_page_already_says_the_word(cast, block, sit):
    seat = sit(cast.staff, size=PHONE, java_script_enabled=False)
    seat.page.goto(f"{seat.base}/f/alder-bend/blocks/{block.pk}/may-i-enter/")
    assert seat.page.inner_text("h1").split("\n") == ["Entry allowed", "Entrada permitida"]
    assert seat.page.is_visible("#stale") is False


def _closed(cast, block):
    now = clock.now()
    mix = [EntryInterval(product="Demo A", hours=120)]
    closures = for_signature(block.pk, started_at=now, ended_at=now, intervals=mix, waits=[], zone="America/Chicago")
    hang_closures(farm=cast.farm, member=cast.applicator, source="job:1", closures=closures, now=now)


_BOXES = """
() => { const box = (e) => document.querySelector(e).getBoundingClientRect(), size = (e) => parseFloat(
  getComputedStyle(document.querySelector(e)).fontSize);
  return {until: box(".until").bottom, call: box("a.call"), word: size("h1"), text: size("main p.both:not(.until)"),
  works: Math.min(...[...document.querySelectorAll(".works a")].map((a) => a.getBoundingClientRect().height))}; }
"""


@pytest.mark.parametrize("language", ["en", "es"])
def test_word_time_and_call_fit_on_the_first_screen_and_targets_are_large(cast, block, sit, language):
    """Project rule: 44 px word, 20 px text, call at least 72 px high, other targets 64, on a phone of 360 x 640."""
    _closed(cast, block)
    now = clock.now()
    SweepRun.objects.update_or_create(pk=SweepRun.ONLY, defaults={"last_started_at": now, "last_finished_at": now})
    seat = sit(cast.staff, size=PHONE, language=language)
    seat.go(f"/f/alder-bend/blocks/{block.pk}/may-i-enter/")
    boxes = seat.page.evaluate(_BOXES)
    assert (boxes["word"], boxes["text"]) == (44, 20)
    assert boxes["until"] <= 560
    assert boxes["call"]["bottom"] <= 640
    assert (boxes["call"]["height"] >= 72, boxes["works"] >= 64) == (True, True)
