"""Without reception: what a phone keeps, what it never keeps, and what waits to be sent. Real Chromium, real worker."""

from __future__ import annotations

import pytest

from apps.people.models import Person
from apps.safety.phones import services as phones
from farmops import clock
from tests.factories.land import BlockFactory
from tests.journeys.conftest import PHONE

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

FARM = "/f/alder-bend/"
_CACHES = """
async () => { const all = {}; for (const name of await caches.keys()) {
  all[name.split("-")[0]] = (await (await caches.open(name)).keys())
  .map((r) => new URL(r.url).pathname); } return all; }
"""
_WORKER_READY = """
async () => { await navigator.serviceWorker.ready;
  while (!navigator.serviceWorker.controller) { await new Promise((go) => setTimeout(go, 20)); } }
"""


@pytest.fixture
def block(cast):
    emergency = {"purpose": "poison", "name": "Demo poison line", "number": "555-0199", "note": ""}
    phones.add_number(member=cast.manager, values=emergency, now=clock.now())
    return BlockFactory(farm=cast.farm, name="North Seven")


@pytest.fixture
def phone(cast, block, sit):
    """A phone of the crew whose worker has kept what it should."""
    seat = sit(cast.staff, size=PHONE, service_workers="allow")
    seat.go(FARM + "phones/")
    seat.page.evaluate(_WORKER_READY)
    kept(seat, FARM + "phones/", FARM + "no-connection/")
    return seat


def kept(seat, *paths: str) -> list[str]:
    """Waits until the worker holds these pages; everything it holds."""
    for _ in range(100):
        found = seat.page.evaluate(_CACHES).get("kept", [])
        if set(paths) <= set(found):
            return sorted(found)
        seat.page.wait_for_timeout(50)
    raise AssertionError(f"{paths} not kept: {found}")


def cut(seat) -> None:
    seat.page.context.set_offline(True)


def heading(seat) -> list[str]:
    return seat.page.inner_text("h1").split("\n")


def test_numbers_are_read_without_reception_and_say_that_they_are_a_copy(phone):
    cut(phone)
    phone.go(FARM + "phones/")
    assert phone.page.is_visible("#kept")
    assert phone.page.inner_text("#kept").startswith("No connection. This is a copy kept on this phone, from ")
    assert "Demo poison line 555-0199" in phone.page.inner_text("main")
    assert phone.page.get_attribute("main a.call >> nth=1", "href") == "tel:5550199"


def test_a_yes_is_never_kept_and_without_reception_its_page_says_keep_out(phone, block):
    there = f"{FARM}blocks/{block.pk}/may-i-enter/"
    phone.go(there)
    assert heading(phone) == ["Entry allowed", "Entrada permitida"]
    phone.go(FARM + "board/")
    assert kept(phone) == [FARM + "no-connection/", FARM + "phones/"]
    cut(phone)
    for path in (there, FARM + "board/", FARM + "tasks/"):
        phone.go(path)
        assert heading(phone) == ["KEEP OUT", "NO ENTRE"]
        assert "Not confirmed. The farm book cannot be reached." in phone.page.inner_text("main")
        assert "Ines Prado 555-0101" in phone.page.inner_text("main a.call >> nth=0")
        assert phone.page.evaluate("""document.querySelectorAll('[data-answer="yes"]').length""") == 0
    phone.page.go_back()
    assert heading(phone) == ["KEEP OUT", "NO ENTRE"]


def test_even_a_page_that_asks_for_it_is_not_kept_with_a_yes_in_it(phone, monkeypatch):
    monkeypatch.setattr("apps.safety.pages.BoardPage.keep_offline", True)
    answer = phone.go(FARM + "board/")
    assert answer.headers["keep-offline"] == "yes"
    phone.page.wait_for_timeout(300)
    assert kept(phone) == [FARM + "no-connection/", FARM + "phones/"]


def test_a_phone_that_never_kept_anything_of_the_farm_says_keep_out_all_the_same(cast, block, sit):
    seat = sit(cast.staff, size=PHONE, service_workers="allow")
    seat.go(FARM + "phones/")
    seat.page.evaluate(_WORKER_READY)
    seat.page.evaluate(
        "async () => { for (const n of await caches.keys()) if (!n.startsWith('shell')) await caches.delete(n); }"
    )
    cut(seat)
    seat.go(f"{FARM}blocks/{block.pk}/may-i-enter/")
    assert heading(seat) == ["KEEP OUT", "NO ENTRE"]


def test_copies_go_when_the_person_logs_out(phone):
    phone.go(FARM + "me/")
    with phone.page.expect_navigation(url="**/log-in/"):
        phone.page.click("form[action='/log-out/'] button")
    found = phone.page.evaluate(_CACHES)
    assert "kept" not in found and "who" not in found
    cut(phone)
    phone.go(FARM + "phones/")
    assert "555-0199" not in phone.page.inner_text("main")


def test_copies_of_one_person_are_not_shown_to_the_next(phone, cast):
    from django.test import Client

    client = Client()
    client.force_login(Person.objects.get(pk=cast.manager.person_id))
    cookie = {"name": "sessionid", "value": client.cookies["sessionid"].value, "url": phone.base}
    phone.page.context.add_cookies([cookie])
    phone.go(FARM + "phones/")
    kept(phone, FARM + "phones/", FARM + "no-connection/")
    cut(phone)
    phone.go(FARM + "phones/")
    assert "Add a number" in phone.page.inner_text("main")


# ---- what waits to be sent ----

_OUTBOX_FORM = """
() => { const form = document.querySelector("main form"); form.setAttribute("data-outbox", "My name");
  form.setAttribute("data-outbox-stay", ""); form.setAttribute("data-draft", ""); }
"""


def name_of(cast) -> str:
    return Person.objects.get(pk=cast.staff.person_id).full_name


def test_a_form_waits_on_the_phone_and_is_sent_once_when_reception_is_back(cast, block, sit):
    seat = sit(cast.staff, size=PHONE)
    seat.go(FARM + "me/")
    seat.page.evaluate(_OUTBOX_FORM)
    seat.page.fill("input[name=full_name]", "Ana Ruiz Soto")
    cut(seat)
    seat.page.click("main form button.main")
    seat.page.wait_for_selector("[data-outbox-said]")
    assert seat.page.inner_text("[data-outbox-said]") == "On this phone only. Not sent yet."
    assert seat.page.inner_text("#outbox [data-outbox-count]") == "Not sent yet, on this phone only: 1"
    assert name_of(cast) == "Ana Ruiz"
    seat.page.context.set_offline(False)
    seat.page.wait_for_selector("#outbox", state="hidden")
    assert name_of(cast) == "Ana Ruiz Soto"
    assert seat.page.evaluate("Object.keys(localStorage).filter((n) => n.startsWith('outbox/')).length") == 0


@pytest.mark.parametrize(
    ("status", "body"),
    [(500, "broken"), (200, "<h1>Welcome to the hotel</h1>"), (200, '{"next": "/x'), (503, "")],
    ids=str,
)
def test_nothing_but_the_books_own_word_counts_as_sent(cast, block, sit, status, body):
    seat = sit(cast.staff, size=PHONE)
    seat.go(FARM + "me/")
    seat.page.evaluate(_OUTBOX_FORM)
    seat.page.route("**/me/", lambda route: route.fulfill(status=status, body=body))
    seat.page.click("main form button.main")
    seat.until("() => document.querySelector('form[data-outbox]').dataset.outboxSending === undefined")
    assert seat.page.inner_text("[data-outbox-said]") == "On this phone only. Not sent yet."
    assert seat.page.inner_text("#outbox [data-outbox-count]") == "Not sent yet, on this phone only: 1"


def test_what_the_book_does_not_take_is_shown_by_the_book_with_what_was_typed(cast, block, sit):
    seat = sit(cast.staff, size=PHONE)
    seat.go(FARM + "me/")
    seat.page.evaluate(_OUTBOX_FORM)
    seat.page.fill("input[name=full_name]", "")
    seat.page.click("main form button.main")
    seat.page.wait_for_selector(".trouble")
    assert seat.page.title().startswith("Error:")
    assert seat.page.is_visible("#outbox") is False


def test_leaving_with_something_unsent_warns_once_and_names_it(cast, block, sit):
    seat = sit(cast.staff, size=PHONE)
    seat.go(FARM + "me/")
    seat.page.evaluate(_OUTBOX_FORM)
    cut(seat)
    seat.page.click("main form button.main")
    seat.page.wait_for_selector("#outbox:not([hidden])")
    seat.page.click("form[action='/log-out/'] button")
    said = seat.page.inner_text("form[action='/log-out/'] [data-outbox-said]")
    assert said.startswith("Not sent yet: My name.")


_DRAFTED = """
() => { const add = () => { const form = document.querySelector("main form"); 
    if (form) form.setAttribute("data-draft", ""); };
  new MutationObserver(add).observe(document, {childList: true, subtree: true}); }
"""
_DRAFTS = "Object.keys(localStorage).filter((name) => name.startsWith('draft/')).length"


def test_a_draft_survives_a_closed_page_and_goes_when_the_book_has_it(cast, block, sit):
    seat = sit(cast.manager, size=PHONE)
    seat.page.add_init_script(f"({_DRAFTED})()")  # stands in for a template that marks its form
    seat.go(FARM + "phones/new/")
    seat.page.check("input[value=clinic]")
    seat.page.fill("input[name=name]", "Night clinic")
    assert seat.page.evaluate(_DRAFTS) == 1
    seat.page.goto("about:blank")
    seat.go(FARM + "phones/new/")
    assert (seat.page.input_value("input[name=name]"), seat.page.is_checked("input[value=clinic]")) == (
        "Night clinic",
        True,
    )
    assert seat.page.inner_text("main form .note").startswith("What you typed before was kept on this phone")
    seat.page.click("main form button.main")  # the number is missing: the book refuses, the draft stays
    assert seat.page.title().startswith("Error:") and seat.page.evaluate(_DRAFTS) == 1
    seat.page.fill("input[name=number]", "555-0155")
    with seat.page.expect_navigation():
        seat.page.click("main form button.main")
    assert "Night clinic 555-0155" in seat.page.inner_text("main")
    assert seat.page.evaluate(_DRAFTS) == 0


def test_a_draft_holds_no_password_and_no_key(cast, block, sit):
    seat = sit(cast.manager, size=PHONE)
    seat.page.add_init_script(f"({_DRAFTED})()")
    seat.go(FARM + "me/password/")
    seat.page.fill("input[name=old_password]", "a-long-password")
    kept = seat.page.evaluate("JSON.stringify(Object.entries(localStorage))")
    assert "a-long-password" not in kept and "csrf" not in kept and "once_key" not in kept
