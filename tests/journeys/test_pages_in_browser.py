"""Every page that can be opened, as every role, in both languages, on a phone and at a desk, in a real browser.

What must hold everywhere: nothing to scroll sideways, exactly one h1, a quiet console, nothing stopped by the
content security policy, and no violation that axe can find. What axe cannot find is looked at by people.
"""

from __future__ import annotations

from typing import Any

import pytest

from apps.people.rules import Role, may
from tests.architecture.doors import Door, all_doors
from tests.journeys.conftest import DESK, PHONE, Seat
from tests.journeys.world import World

pytestmark = pytest.mark.browser

TAGS = ["wcag2a", "wcag2aa", "wcag21aa", "wcag22aa"]
AXE = {
    "runOnly": {"type": "tag", "values": TAGS},
    "rules": {"target-size": {"enabled": True}},
    "resultTypes": ["violations"],
    "preload": False,
}
# Doors that answer with something other than a page, or send people on.
NO_PAGE = {
    "": "sends people on",
    "healthz": "JSON",
    "readyz": "JSON",
    "language/": "only POST",
    "worker.js": "a script",
    "log-out/": "only POST",
    "f/<slug:farm>/charts/<slug:name>/csv/": "CSV",
    "f/<slug:farm>/exports/spray-records/": "CSV",
    "f/<slug:farm>/exports/spray-products/": "CSV",
    "f/<slug:farm>/exports/stock-ledger/": "CSV",
    "f/<slug:farm>/map/farm.geojson": "GeoJSON",
    "f/<slug:farm>/gates/plates.pdf": "PDF",
    "f/<slug:farm>/jobs/<int:job>/mix/paper/": "PDF",
    "f/<slug:farm>/jobs/<int:job>/display/paper/": "PDF",
    "f/<slug:farm>/cards/scans/<int:scan>/file/": "a scanned card",
    "f/<slug:farm>/safety-sheets/<int:sheet>/file/": "a safety data sheet",
    "f/<slug:farm>/packets/<int:packet>/files/<str:name>/": "PDF, CSV or JSON",
}
# The state a job must be in for a page about it; all others open the signed one.
JOB_FOR = {
    "mix/": "assigned",
    "edit/": "draft",
    "assign/": "draft",
    "call-off/": "assigned",
    "start/": "late",
    "finish/": "spraying",
    "correct/": "sprayed",
    "sign/": "sprayed",
    "not-applied/": "late",
    "report-late/": "late",
    "signed/": "signed",
}
_LOOK = """
() => ({
  h1: document.querySelectorAll("h1").length,
  overflow: Math.max(document.documentElement.scrollWidth, document.body.scrollWidth) - window.innerWidth,
  lang: document.documentElement.lang,
  title: document.title,
})
"""
_AXE = """
async (options) => (await axe.run(document, options)).violations.flatMap(
  (v) => v.nodes.map((n) => `${v.id}: ${n.target.join(" ")}`))
"""


def page_doors() -> list[Door]:
    return [d for d in all_doors() if not d.is_api and d.route not in NO_PAGE and hasattr(d.view, "get")]


def address(door: Door, world: World) -> str:
    parts = dict(world.parts)
    if "<int:job>" in door.route:
        parts["job"] = world.jobs[JOB_FOR.get(door.route.rsplit(">/", 1)[1], "signed")]
    if "may-i-enter" in door.route:
        parts["block"] = world.blocks[1].pk
    return door.address(world.bench.farm.slug, **parts)


def faults_at(seat: Seat, language: str, *, axe: bool = True) -> list[str]:
    """What is wrong with the page as it stands, and what its console said."""
    seen = seat.page.evaluate(_LOOK)
    found = list(seat.page.evaluate(_AXE, AXE)) if axe else []
    if seen["h1"] != 1:
        found.append(f"{seen['h1']} h1")
    if seen["overflow"] > 0:
        found.append(f"runs over by {seen['overflow']} px")
    if seen["lang"] != {"en": "en-US", "es": "es-US"}[language]:
        found.append(f"lang is {seen['lang']}")
    if not seen["title"].strip():
        found.append("no title")
    return [f"{seat.page.viewport_size['width']} px: {fault}" for fault in [*found, *seat.taken()]]


def drawn(seat: Seat) -> None:
    """Waits until every drawing of the page is made or given up; at once on a page without any."""
    seat.page.wait_for_selector("[data-chart]:not([data-drawn])", state="detached")


# What axe judges hardly changes with the words: every page once at both widths, as the role that sees most, once more
# on the phone as each other role, and the crew's in Spanish too. The ruler and the console are asked everywhere.
AXE_AT = {
    (Role.MANAGER, "en"): {PHONE, DESK},
    (Role.APPLICATOR, "en"): {PHONE},
    (Role.STAFF, "en"): {PHONE},
    (Role.STAFF, "es"): {PHONE},
}


def faults_of(seat: Seat, path: str, language: str, role: Role) -> list[str]:
    """What is wrong with one page, opened on a phone and then made as wide as a desk."""
    seat.size(PHONE)
    answer = seat.go(path)
    if answer.status != 200:
        seat.taken()
        return [f"answered {answer.status}"]
    drawn(seat)
    axe_at = AXE_AT.get((role, language), set())
    found = faults_at(seat, language, axe=PHONE in axe_at)
    seat.size(DESK)
    return found + faults_at(seat, language, axe=DESK in axe_at)


def test_every_page_is_known_to_this_walk(world: World):
    """A page whose address holds a part the walk has nothing for would only ever be a 404."""
    unknown = {
        name for door in page_doors() for name, _ in door.converters if name not in {*world.parts, "farm", "job"}
    }
    assert unknown == set()
    assert len(page_doors()) > 80


@pytest.mark.parametrize("language", ["en", "es"])
@pytest.mark.parametrize("role", list(Role))
def test_every_page_of_a_role_is_sound(role: Role, language: str, world: World, sit: Any):
    seat = sit(world.cast.by_role(role), language=language)
    mine = [d for d in page_doors() if not d.of_farm or may([role], d.view.needs["GET"])]
    found = [f"{door}: {fault}" for door in mine for fault in faults_of(seat, address(door, world), language, role)]
    assert not found, "\n".join(found)


SPOILED = """
() => {
  document.querySelector("main").insertAdjacentHTML("beforeend",
    '<h1>Second</h1><img src="/static/farm/mark.svg"><div id="wide"></div><a href="/a">x</a><a href="/b">y</a>');
  document.getElementById("wide").style.cssText = "width: 2000px; height: 1px";
  document.documentElement.lang = "";
  document.title = "";
  const script = document.createElement("script");
  script.textContent = "1";
  document.head.append(script);
  console.error("broken");
}
"""


def test_the_walk_sees_what_is_wrong(world: World, sit: Any):
    """The same checks on a page that was spoiled on purpose; a walk that cannot fail would prove nothing."""
    seat = sit(world.cast.staff, size=PHONE)
    seat.go(f"/f/{world.bench.farm.slug}/board/")
    assert faults_at(seat, "en") == []
    seat.page.evaluate(SPOILED)
    found = [fault.removeprefix("360 px: ") for fault in faults_at(seat, "en")]
    kinds = {fault.split(":")[0] for fault in found}
    assert {"2 h1", "lang is ", "no title", "image-alt", "document-title", "html-has-lang", "target-size"} <= kinds
    assert [f for f in found if "runs over by" in f] != []
    assert "broken" in found
    assert [f for f in found if f.startswith("script-src-elem stopped inline")] != []
