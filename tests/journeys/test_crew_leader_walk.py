"""A crew leader's day: two phones, one of them without reception; a job starts next door, a correction comes in, the
clock passes the end. What each screen said at each moment is asserted, and printed with ``pytest -s``.

Monday 6 July 2026 on the farm (America/Chicago). The server's clock is moved by hand; phones have their own.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from apps.safety.gate.services import issue_code
from apps.spraying import queries as jobs
from apps.spraying import services
from apps.spraying.amending.services import amend_job
from farmops.errors import Refused
from tests.factories.land import BlockFactory, square
from tests.factories.spraying import NOW, bench_for
from tests.journeys.conftest import PHONE

pytestmark = [pytest.mark.browser, pytest.mark.django_db(transaction=True)]

MINUTE = timedelta(minutes=1)
_SCREEN = """
() => [...document.querySelectorAll("#answer h1 > span:first-child, #answer > p > span:first-child,"
  + " #stale .both > span:first-child, #last-known:not([hidden]) span:first-child,"
  + " ul.why:first-of-type li:first-child .both > span:first-child")]
  .filter((e) => e.checkVisibility()).map((e) => e.innerText.trim()).filter(Boolean).slice(0, 5)
"""
_READY = """
async () => { await navigator.serviceWorker.ready; for (;;) { const names = await caches.keys();
  const kept = names.find((n) => n.startsWith("kept-"));
  if (kept && await (await caches.open(kept)).match("/f/alder-bend/no-connection/", {ignoreVary: true})) return;
  await new Promise((go) => setTimeout(go, 30)); } }
"""
ALLOWED, OUT, CUT = "Entry allowed", "KEEP OUT", "Not confirmed. The farm book cannot be reached."


class Day:
    """The farm's clock, the phones, and what their screens said."""

    def __init__(self, monkeypatch):
        self.now = NOW
        monkeypatch.setattr("farmops.clock.now", lambda: self.now)

    def at(self, hour: int, minute: int, what: str) -> None:
        self.now = datetime(2026, 7, 6, hour, minute, tzinfo=UTC) + timedelta(hours=5)  # CDT is UTC-5
        print(f"\n{hour % 12 or 12}:{minute:02d} {'AM' if hour < 12 else 'PM'}  {what}")

    def screen(self, name: str, seat) -> list[str]:
        said = seat.page.evaluate(_SCREEN)
        print(f"    {name}: {' | '.join(said)}")
        return said


@pytest.fixture
def day(monkeypatch):
    return Day(monkeypatch)


@pytest.fixture
def farm(cast):
    """North 1, which will be sprayed, and a strip some twenty feet east of it; codes at both gates."""
    bench = bench_for(cast)
    east = max(corner[0] for corner in bench.blocks[0].polygon["coordinates"][0])
    strip = BlockFactory(farm=cast.farm, code="E1", name="East Strip", polygon=square(round(east + 0.00006, 6), 40.2))
    codes = [issue_code(member=cast.manager, block_id=b.pk, now=NOW).code for b in (bench.blocks[0], strip)]
    return bench, bench.blocks[0], strip, codes


def page_of(block) -> str:
    return f"/f/alder-bend/blocks/{block.pk}/may-i-enter/"


def minute_passes(seat) -> None:
    """One minute on the phone: its page asks the book again; waits until the book was heard."""
    with seat.page.expect_response(lambda answer: answer.request.method == "HEAD"):
        seat.page.clock.run_for("01:01")


def soon(seat, word: str) -> None:
    seat.until(
        "(w) => [...document.querySelectorAll('main h1, #stale .big')]"
        ".some((e) => e.checkVisibility() && e.innerText.includes(w))",
        word,
    )


def test_two_phones_one_offline_a_job_next_door_a_correction_and_the_end(cast, farm, day, sit):
    bench, north, strip, codes = farm
    job = bench.assigned()  # window 8 to 11 AM on North 1
    ana = sit(cast.staff, size=PHONE)  # has reception all day
    crew = sit(cast.staff, size=PHONE, service_workers="allow")  # loses it
    gate = sit(None, size=PHONE)
    ana.page.clock.install()

    day.at(7, 40, "both phones ask about East Strip; a job is planned on North 1 from 8:00")
    crew.go("/f/alder-bend/phones/")
    crew.page.evaluate(_READY)
    for name, seat in (("phone 1", ana), ("phone 2", crew)):
        seat.go(page_of(strip))
        said = day.screen(name, seat)
        assert said[0] == ALLOWED and "Good until Mon, Jul 6, 8:00 AM CDT" in said

    day.at(7, 42, "phone 2 loses reception")
    crew.page.context.set_offline(True)
    soon(crew, OUT)
    assert day.screen("phone 2", crew)[:2] == [OUT, "Not confirmed any more. Ask again."]
    crew.go(page_of(strip))
    assert day.screen("phone 2, asked again", crew)[:2] == [OUT, CUT]
    assert "Ines Prado 555-0101" in crew.page.inner_text("main a.call >> nth=0")

    day.at(7, 50, "the applicator would start early: the book refuses, because people were told they may go in")
    ready = {"member": bench.applicator, "job_id": job.pk, "readings": bench.readings, "reason": "looked all round"}
    with pytest.raises(Refused, match="people may have been told"):
        services.start_spraying(**ready, now=day.now)
    assert day.screen("phone 1", ana)[0] == ALLOWED

    day.at(8, 0, "the window next door begins; nobody touches phone 1")
    minute_passes(ana)
    ana.page.wait_for_selector(".answer.out")
    assert day.screen("phone 1", ana)[:2] == [OUT, "Spraying is planned next to here now. No end time yet."]

    day.at(8, 10, "the job on North 1 starts")
    services.start_spraying(**ready, now=day.now)
    with ana.page.expect_navigation():
        ana.page.clock.run_for("01:01")
    assert day.screen("phone 1", ana)[:2] == [OUT, "Spraying next to here now. No end time yet."]
    gate.go(f"/g/{codes[0]}/")
    assert day.screen("gate of North 1", gate)[:2] == [OUT, "Spraying now. No end time yet."]
    gate.go(f"/g/{codes[1]}/")
    assert day.screen("gate of East Strip", gate)[:2] == [OUT, "Spraying next to here now. No end time yet."]

    day.at(9, 45, "finished 9:40, not signed")
    started, ended = day.now.replace(hour=13, minute=10), day.now - 5 * MINUTE
    done = bench.done_values(jobs.job(bench.farm, job.pk), started_at=started, ended_at=ended)
    services.finish_spraying(member=bench.applicator, job_id=job.pk, done=done, now=day.now)
    ana.go(page_of(strip))
    assert day.screen("phone 1, East Strip", ana)[0] == ALLOWED
    ana.go(page_of(north))
    assert day.screen("phone 1, North 1", ana)[:2] == [OUT, "Not confirmed. A spray record is not signed."]

    day.at(10, 10, "signed: 12 hours from 9:40")
    bench.sign(jobs.job(bench.farm, job.pk), now=day.now)
    minute_passes(ana)
    ana.page.wait_for_selector(".until:has-text('until Mon')")
    assert "until Mon, Jul 6, 9:40 PM CDT" in day.screen("phone 1, North 1", ana)
    crew.page.context.set_offline(False)
    crew.go(page_of(north))
    assert "until Mon, Jul 6, 9:40 PM CDT" in day.screen("phone 2, reception for a moment", crew)
    crew.page.context.set_offline(True)

    day.at(11, 15, "a correction comes in: it ended at 10:05")
    amend_job(
        member=bench.applicator,
        job_id=job.pk,
        done={**done, "ended_at": ended + 25 * MINUTE},
        reason="the end was written wrong",
        now=day.now,
    )
    minute_passes(ana)
    ana.page.wait_for_selector(".answer.unknown .until")
    assert day.screen("phone 1, North 1", ana)[:2] == [OUT, "Not confirmed. A spray record is not signed."]
    crew.go(page_of(north))
    said = day.screen("phone 2, no reception", crew)
    assert said[:2] == [OUT, CUT]
    last = crew.page.inner_text("#last-known")
    print(f"      below it: {last.splitlines()[0]} {last.splitlines()[-1]}")
    assert "Last known. No connection: the time may be later by now." in last and "9:40 PM CDT" in last

    day.at(11, 40, "the correction is signed")
    bench.sign(jobs.job(bench.farm, job.pk), now=day.now)
    minute_passes(ana)
    ana.page.wait_for_selector(".until:has-text('10:05 PM')")
    assert "until Mon, Jul 6, 10:05 PM CDT" in day.screen("phone 1, North 1", ana)

    day.at(21, 45, "the first time is over, the corrected one is not; phone 2's clock is set a day ahead")
    crew.page.clock.install(time=day.now + timedelta(days=1))
    crew.go(page_of(north))
    assert day.screen("phone 2, no reception", crew)[:2] == [OUT, CUT]
    gate.go(f"/g/{codes[0]}/")
    assert "until Mon, Jul 6, 10:05 PM CDT" in day.screen("gate of North 1", gate)

    day.at(22, 5, "the clock passes the end")
    minute_passes(ana)
    assert day.screen("phone 1, still open", ana)[0] == OUT  # no page opens by itself
    ana.go(page_of(north))
    said = day.screen("phone 1, asked again", ana)
    assert said[0] == ALLOWED and "Good until Mon, Jul 6, 10:35 PM CDT" in said
    crew.go(page_of(north))
    assert day.screen("phone 2, no reception", crew)[:2] == [OUT, CUT]
    crew.page.context.set_offline(False)
    crew.go(page_of(north))
    assert day.screen("phone 2, reception again", crew)[0] == ALLOWED
