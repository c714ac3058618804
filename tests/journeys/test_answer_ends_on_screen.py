"""A yes ends on screen: at its time, offline, after sleep, after Back, and whatever the phone's clock says.

Real Chromium; its timers and its clock are moved by hand (Playwright's clock stands in for both).
"""

from __future__ import annotations

import contextlib
import time
from datetime import timedelta

import pytest
from playwright.sync_api import Error

from apps.reminders.models import SweepRun
from apps.safety.gate.services import issue_code
from apps.safety.rules import EntryInterval, Kind, NewClosure, Reason, for_signature
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


# The book goes on saying the same, at once: for tests in which an hour passes in a moment.
STILL_SAYS = """
() => { const mark = document.querySelector("script[data-mark]").dataset.mark; window.fetch = () => Promise.resolve(
  {ok: true, headers: {get: () => "entry=yes harvest=yes mark=" + mark}}); }
"""


@pytest.fixture
def block(cast):
    return BlockFactory(farm=cast.farm, name="North Seven")


@pytest.fixture
def staff_address(block):
    return f"/f/alder-bend/blocks/{block.pk}/may-i-enter/"


@pytest.fixture
def gate_address(cast, block):
    return f"/g/{issue_code(member=cast.manager, block_id=block.pk, now=clock.now()).code}/"


def opened(seat, address):
    """An allowed answer on the screen; the phone's clock is in the test's hands from here on."""
    seat.page.clock.install()
    seat.go(address)
    assert seat.page.evaluate(SEEN) == ALLOWED
    return seat


@pytest.fixture
def phone(cast, staff_address, sit):
    """A phone of the crew with an allowed answer on it."""
    return opened(sit(cast.staff, size=PHONE), staff_address)


def seen_soon(seat, expected) -> None:
    """What is on the screen once the book has answered."""
    seat.until(f"(e) => JSON.stringify(({SEEN.strip()})()) === JSON.stringify(e)", expected)


def hide(seat, hidden: bool) -> None:
    """What the page is told when the phone is locked or another app comes to the front."""
    seat.page.evaluate(
        """(hidden) => { Object.defineProperty(document, "hidden", {configurable: true, value: hidden});
        document.dispatchEvent(new Event("visibilitychange")); }""",
        hidden,
    )


def test_it_stays_while_it_is_good_and_ends_at_its_time(phone):
    phone.page.evaluate(STILL_SAYS)
    phone.page.clock.run_for("29:50")
    assert phone.page.evaluate(SEEN) == ALLOWED
    phone.page.clock.run_for("00:15")
    assert phone.page.evaluate(SEEN) == ENDED
    assert phone.page.title() == "KEEP OUT / NO ENTRE"
    assert phone.taken() == []


def test_it_is_not_on_the_screen_while_nobody_looks_and_comes_back_only_when_the_book_says_it_again(phone):
    hide(phone, True)
    assert phone.page.evaluate(SEEN) == []
    assert phone.page.inner_text("#checking").split("\n") == ["Checking again…", "Revisando otra vez…"]
    phone.page.clock.run_for("05:00")
    hide(phone, False)
    seen_soon(phone, ALLOWED)
    phone.page.route("**/*", lambda route: route.abort())
    hide(phone, True)
    hide(phone, False)
    seen_soon(phone, ENDED)


def test_asked_for_again_too_late_it_does_not_come_back(phone):
    phone.page.evaluate(STILL_SAYS)
    hide(phone, True)
    phone.page.clock.fast_forward("40:00")
    hide(phone, False)
    assert phone.page.evaluate(SEEN) == ENDED


LOGGED_OUT = {"status": 302, "headers": {"Location": "/log-in/"}}
WRONG = {
    "HTTP 500": {"status": 500, "body": "broken"},
    "HTTP 502 of a proxy": {"status": 502, "body": "<h1>Bad gateway</h1>"},
    "captive portal": {"status": 200, "content_type": "text/html", "body": "<h1>Welcome to the hotel</h1>"},
    "garbage": {"status": 200, "content_type": "application/json", "body": '{"answer": "ye'},
    "an answer without its mark": {"status": 200, "headers": {"Farm-Answer": "entry=yes harvest=yes"}},
    "logged out": LOGGED_OUT,
}


def answering(answer):
    return lambda route: route.fulfill(**answer)


def test_any_error_when_it_asks_again_ends_it(phone):
    for name, answer in WRONG.items():
        phone.page.unroute_all()
        phone.page.reload()
        assert phone.page.evaluate(SEEN) == ALLOWED, name
        phone.page.route("**/*", answering(answer))
        phone.page.clock.run_for("01:01")
        seen_soon(phone, ENDED)
        assert phone.page.inner_text("#stale .both >> nth=1").startswith("Not confirmed any more. Ask again.")
        assert phone.page.inner_text("a.call") == "Call / Llame: Ines Prado 555-0101"


def test_at_the_gate_it_ends_in_the_same_ways(gate_address, cast, block, sit):
    gate = opened(sit(None, size=PHONE), gate_address)
    gate.page.evaluate(STILL_SAYS)
    gate.page.clock.run_for("30:05")
    assert gate.page.evaluate(SEEN) == ENDED
    gate = opened(sit(None, size=PHONE), gate_address)
    gate.page.context.set_offline(True)
    seen_soon(gate, ENDED)
    gate.page.context.set_offline(False)
    gate.page.reload()
    gate.page.evaluate("() => document.dispatchEvent(new Event('freeze'))")
    assert gate.page.evaluate(SEEN) == ENDED
    gate.page.reload()
    _hang(cast, block, Kind.UNDERWAY, Reason.SPRAYING)
    gate.page.clock.run_for("01:01")
    gate.page.wait_for_selector(".answer.out")
    assert gate.page.evaluate("localStorage.length + document.cookie.length") == len("django_language=en")
    assert [t for t in gate.taken() if "ERR_INTERNET_DISCONNECTED" not in t] == []


def test_a_book_that_does_not_answer_ends_it_after_eight_seconds(phone):
    phone.page.route("**/*", lambda route: None)
    phone.page.clock.run_for("01:01")
    assert phone.page.evaluate(SEEN) == ALLOWED
    phone.page.clock.run_for("00:09")
    seen_soon(phone, ENDED)


def test_a_job_that_starts_meanwhile_is_on_the_screen_within_a_minute(phone, cast, block):
    _hang(cast, block, Kind.UNDERWAY, Reason.SPRAYING)
    phone.page.clock.run_for("01:01")
    phone.page.wait_for_selector(".answer.out")
    assert phone.page.inner_text("h1").split("\n") == ["KEEP OUT", "NO ENTRE"]
    assert "Spraying now. No end time yet." in phone.page.inner_text(".until")


def test_a_tab_whose_script_stood_still_ends_it_the_moment_it_runs_again(cast, staff_address, sit, monkeypatch):
    """The browser's own debugger holds the tab, with the real clock: nothing of the page runs meanwhile."""
    monkeypatch.setattr("apps.safety.showing.seconds_left", lambda answer, now: 2)
    seat = sit(cast.staff, size=PHONE)
    seat.go(staff_address)
    assert seat.page.evaluate(SEEN) == ALLOWED
    tab = seat.page.context.new_cdp_session(seat.page)
    tab.send("Debugger.enable")
    tab.send("Debugger.pause")
    time.sleep(2.5)
    tab.send("Debugger.resume")
    tab.send("Debugger.disable")
    seen_soon(seat, ENDED)


def test_a_tab_that_the_browser_froze_or_wakes_has_it_no_more(phone):
    for event in ("freeze", "resume"):
        phone.page.reload()
        assert phone.page.evaluate(SEEN) == ALLOWED
        phone.page.evaluate("(name) => document.dispatchEvent(new Event(name))", event)
        assert phone.page.evaluate(SEEN) == ENDED


def test_back_without_reception_does_not_bring_it_back(phone):
    phone.page.goto("about:blank")
    phone.page.context.set_offline(True)
    with contextlib.suppress(Error):
        phone.page.go_back(timeout=3000)
    phone.page.wait_for_load_state()
    phone.page.wait_for_timeout(300)
    assert phone.page.evaluate("""document.querySelectorAll('[data-answer="yes"]').length""") == 0


def test_losing_the_connection_ends_it(phone):
    phone.page.context.set_offline(True)
    phone.page.wait_for_selector("#stale:not([hidden])")
    assert phone.page.evaluate(SEEN) == ENDED


def test_back_from_the_browsers_memory_does_not_show_it(phone):
    phone.page.evaluate('() => window.dispatchEvent(new PageTransitionEvent("pageshow", {persisted: true}))')
    assert phone.page.evaluate(SEEN) == ENDED


def test_a_phone_clock_that_jumps_ends_it_and_never_lengthens_it(phone):
    for days in (-1, 1):
        phone.page.reload()
        assert phone.page.evaluate(SEEN) == ALLOWED
        phone.page.evaluate(f"() => {{ const now = Date.now; Date.now = () => now() + {days} * 86400000; }}")
        phone.page.clock.run_for("00:02")
        assert phone.page.evaluate(SEEN) == ENDED


def test_a_phone_clock_that_was_wrong_from_the_start_neither_opens_a_block_nor_lengthens_a_yes(
    cast, block, staff_address, sit
):
    seat = sit(cast.staff, size=PHONE)
    seat.page.clock.install(time=clock.now() + timedelta(days=2))
    seat.go(staff_address)
    seat.page.evaluate(STILL_SAYS)
    seat.page.clock.run_for("29:50")
    assert seat.page.evaluate(SEEN) == ALLOWED
    seat.page.clock.run_for("00:15")
    assert seat.page.evaluate(SEEN) == ENDED
    _closed(cast, block, hours=24)
    seat.page.reload()
    assert seat.page.evaluate(SEEN)[0] == "KEEP OUT"


def test_a_keep_out_stays_on_the_screen(cast, block, sit):
    _closed(cast, block)
    seat = sit(cast.staff, size=PHONE)
    seat.page.clock.install()
    seat.go(f"/f/alder-bend/blocks/{block.pk}/may-i-enter/")
    before = seat.page.evaluate(SEEN)
    seat.page.clock.run_for("02:00:00")
    assert seat.page.evaluate(SEEN) == before == ["KEEP OUT", "Do not pick yet"]
    seat.page.wait_for_selector("#last-known:not([hidden])")


def test_a_keep_out_never_turns_into_a_yes_on_an_open_page(cast, block, staff_address, sit, monkeypatch):
    seat = sit(cast.staff, size=PHONE)
    _closed(cast, block, hours=1)
    seat.page.clock.install()
    seat.go(staff_address)
    assert seat.page.evaluate(SEEN)[0] == "KEEP OUT"
    over = clock.now() + timedelta(hours=2)
    monkeypatch.setattr("farmops.clock.now", lambda: over)
    with seat.page.expect_response(lambda answer: answer.request.method == "HEAD") as asked:
        seat.page.clock.run_for("01:01")
    assert asked.value.headers["farm-answer"].startswith("entry=yes")
    assert seat.page.evaluate(SEEN) == ["KEEP OUT", "Do not pick yet"]


def test_a_longer_keep_out_is_on_the_screen_within_a_minute(cast, block, staff_address, sit):
    _closed(cast, block)
    seat = sit(cast.staff, size=PHONE)
    seat.page.clock.install()
    seat.go(staff_address)
    before = seat.page.inner_text(".until")
    _closed(cast, block, hours=150)
    with seat.page.expect_navigation():
        seat.page.clock.run_for("01:01")
    after = seat.page.inner_text(".until")
    assert before.startswith("until ") and after.startswith("until ") and after != before


def test_the_board_ends_every_allowed_line(cast, block, sit):
    seat = sit(cast.staff, size=PHONE)
    seat.page.clock.install()
    seat.go("/f/alder-bend/board/")
    assert seat.page.evaluate(SEEN) == ["0 blocks closed", "Entry allowed"]
    seat.page.evaluate(STILL_SAYS)
    seat.page.clock.run_for("30:05")
    assert seat.page.evaluate(SEEN) == ["Not confirmed", "Keep out, not confirmed"]
    assert seat.page.title() == "Not confirmed"
    assert seat.page.inner_text("#stale") == "Not confirmed any more. Load this page again."


def test_without_scripts_the_first_page_already_says_the_word(cast, block, sit):
    seat = sit(cast.staff, size=PHONE, java_script_enabled=False)
    seat.page.goto(f"{seat.base}/f/alder-bend/blocks/{block.pk}/may-i-enter/")
    assert seat.page.inner_text("h1").split("\n") == ["Entry allowed", "Entrada permitida"]
    assert seat.page.is_visible("#stale") is False


def _closed(cast, block, hours=120):
    now = clock.now()
    mix = [EntryInterval(product="Demo A", hours=hours)]
    closures = for_signature(block.pk, started_at=now, ended_at=now, intervals=mix, waits=[], zone="America/Chicago")
    hang_closures(farm=cast.farm, member=cast.applicator, source=f"job:{hours}", closures=closures, now=now)


def _hang(cast, block, kind, reason, **more):
    now = clock.now()
    new = NewClosure(block_id=block.pk, kind=kind, starts_at=now, reason_code=reason, **more)
    return hang_closures(farm=cast.farm, member=cast.applicator, source="job:9", closures=[new], now=now)[0]


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
