"""A real Chromium, and people who are logged in with it."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

import pytest
from axe_playwright_python.base import AXE_SCRIPT
from django.test import Client
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from apps.people.models import Person
from apps.people.queries import Member
from tests.journeys.world import SEEN_AT, World, build

PHONE, DESK = (360, 640), (1280, 900)
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]
# Runs before anything of the page: what the content security policy stops is kept for the test.
_WATCH = """
window.stopped = [];
document.addEventListener("securitypolicyviolation", (e) => window.stopped.push(
  `${e.effectiveDirective} stopped ${e.blockedURI || "inline"} ${e.sample} (${e.sourceFile || ""}:${e.lineNumber})`));
"""


@dataclass
class Seat:
    """One person at one browser; ``trouble`` is what the console said since it was last taken."""

    page: Page
    base: str
    trouble: list[str] = field(default_factory=list)

    def go(self, path: str) -> Any:
        return self.page.goto(self.base + path, wait_until="load")

    def size(self, size: tuple[int, int]) -> None:
        self.page.set_viewport_size({"width": size[0], "height": size[1]})

    def until(self, ask: str, arg: Any = None) -> None:
        """Waits until a function of the page gives true.

        Asked from outside each time: playwright's own waiting makes a function of a text inside the page, which the
        content security policy forbids whenever the first look did not do.
        """
        for _ in range(400):
            if self.page.evaluate(ask, arg):
                return
            self.page.wait_for_timeout(50)
        raise AssertionError(f"not within 20 seconds: {ask} {arg}")

    def taken(self) -> list[str]:
        """Console errors and stopped content since the last call."""
        found = [*self.trouble, *self.page.evaluate("window.stopped || []")]
        self.trouble.clear()
        return found


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """Debian's Chromium, or the one ``CHROMIUM`` names. Without one the tests fail: they are never skipped."""
    path = os.environ.get("CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
    assert path, "no Chromium: apt-get install chromium, or set CHROMIUM=/path/to/it"
    # Playwright keeps an event loop running in this thread; the tests touch the database between its calls.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    with sync_playwright() as play:
        made = play.chromium.launch(executable_path=path, args=FLAGS)
        yield made
        made.close()


@pytest.fixture
def sit(browser: Browser, live_server: Any) -> Iterator[Callable[..., Seat]]:
    """``sit(member, size=PHONE, language="es")``: a browser in which that person (or nobody) is logged in.

    Its service worker sleeps unless ``service_workers="allow"`` is given.
    """
    contexts: list[BrowserContext] = []

    def opened(
        who: Member | Person | None = None, *, size: tuple[int, int] = DESK, language: str = "en", **options: Any
    ) -> Seat:
        options = {"service_workers": "block", **options}
        context = browser.new_context(viewport={"width": size[0], "height": size[1]}, **options)
        contexts.append(context)
        cookies = {"django_language": language}
        if who is not None:
            client = Client()
            person = Person.objects.get(pk=who.person_id)
            client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
            cookies["sessionid"] = client.cookies["sessionid"].value
        context.add_cookies([{"name": n, "value": v, "url": live_server.url} for n, v in cookies.items()])
        context.add_init_script(_WATCH)
        context.add_init_script(AXE_SCRIPT)
        seat = Seat(page=context.new_page(), base=live_server.url)
        seat.page.on("console", lambda said: seat.trouble.append(said.text) if said.type == "error" else None)
        seat.page.on("pageerror", lambda error: seat.trouble.append(str(error)))
        return seat

    yield opened
    for context in contexts:
        context.close()


@pytest.fixture
def world(
    transactional_db: None, settings: Any, monkeypatch: pytest.MonkeyPatch, request: pytest.FixtureRequest
) -> World:
    """The whole farm, looked at at one fixed instant. A quick hash stands in for the slow one of passwords."""
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    made = build(request.getfixturevalue("cast"))
    monkeypatch.setattr("farmops.clock.now", lambda: SEEN_AT)
    return made
