"""Signs and the central display through the real services: who, when, and what the board and the reminders say.

Basis: 40 CFR 170.407, 170.409 and 170.311; the cases are E2, E3, E7 to E11, E14, E15 and A3, B4.
"""

from __future__ import annotations

from datetime import timedelta
from io import BytesIO

import pypdf
import pytest
import time_machine

from apps.safety import queries as board
from apps.safety.posting import queries as notices
from apps.safety.posting import services as posting
from apps.safety.posting.models import Posting
from apps.safety.rules.notice import Notice
from apps.spraying import queries as jobs
from apps.spraying import services
from apps.spraying.display import queries as display
from apps.spraying.display import services as displays
from apps.spraying.models import Display
from apps.spraying.rules.record import Meaning
from farmops.errors import NotYourRole, Refused, Unknown
from tests.factories.spraying import ENDED, NOW, READINGS, REPORTED, SIGNED, STARTED, WINDOW, line, shield_document

pytestmark = pytest.mark.django_db

DAY = timedelta(days=1)
HOUR = timedelta(hours=1)


def strong(bench, **label):
    """A plan with a product whose label asks for a sign."""
    product = bench.product_of("Demo Long", shield_document(**{"rei_hours": "72", **label}))
    return {"products": [line(product)]}


def start(bench, job, at=STARTED):
    return services.start_spraying(
        member=bench.applicator, job_id=job.pk, readings=READINGS, reason="looked all round", now=at
    )


def refused(act) -> list[str]:
    with pytest.raises(Refused) as error:
        act()
    return [f.code for f in error.value.findings if f.severity == "refuse"]


def sign_of(job) -> Posting:
    return Posting.rows.get(source=f"job:{job.pk}")


def entry(bench, at):
    return board.entry_answer(bench.blocks[0], activity=None, at=at, now=at)


def posted_and_sprayed(bench):
    """A signed job with a 72 h label, its sign up since two hours before the window."""
    job = bench.assigned(**strong(bench))
    posting.put_up_sign(member=bench.applicator, posting_id=sign_of(job).pk, now=NOW)
    start(bench, job)
    job = jobs.job(bench.farm, job.pk)
    job = services.finish_spraying(member=bench.applicator, job_id=job.pk, done=bench.done_values(job), now=REPORTED)
    bench.sign(job)
    return jobs.job(bench.farm, job.pk)


@pytest.mark.parametrize(
    ("label", "needs"),
    [({"rei_hours": "48"}, Notice.EITHER), ({"rei_hours": "49"}, Notice.POSTED),
     ({"rei_hours": "12", "double_notification": True}, Notice.BOTH)],
    ids=["E1", "E2", "E3"],
)  # fmt: skip
def test_an_assigned_job_asks_for_its_notice(bench, label, needs):
    job = bench.assigned(**strong(bench, **label))
    row = sign_of(job)
    assert (row.needs, row.starts_at, row.block_id) == (needs, WINDOW[0], bench.blocks[0].pk)


def test_no_start_without_the_sign_it_asks_for(bench):
    job = bench.assigned(**strong(bench))
    assert refused(lambda: start(bench, job)) == ["sign_missing"]
    posting.put_up_sign(member=bench.applicator, posting_id=sign_of(job).pk, now=NOW)
    assert start(bench, job).state == "spraying"


def test_a_sign_closes_its_block_from_when_it_stands(bench):
    job = bench.assigned(**strong(bench))
    posting.put_up_sign(member=bench.manager, posting_id=sign_of(job).pk, up_at=NOW - HOUR, now=NOW)
    said = entry(bench, NOW)
    assert (said.answer, said.because[0].code) == ("no", "sign_up")


def test_e7_not_more_than_24_hours_ahead_and_not_twice(bench):
    job = bench.assigned(**strong(bench))
    row = sign_of(job)
    early = WINDOW[0] - DAY - timedelta(minutes=1)
    up = {"member": bench.manager, "posting_id": row.pk}
    assert refused(lambda: posting.put_up_sign(**up, up_at=early, now=NOW)) == ["sign_too_early"]
    posting.put_up_sign(**up, up_at=WINDOW[0] - DAY, now=NOW)
    assert refused(lambda: posting.put_up_sign(**up, now=NOW)) == ["sign_up_already"]


def test_a3_e8_the_interval_runs_out_and_only_then_the_sign_comes_down_and_opens_the_block(bench):
    job = posted_and_sprayed(bench)
    row, over = sign_of(job), ENDED + 72 * HOUR
    down = {"member": bench.applicator, "posting_id": row.pk}
    assert refused(lambda: posting.take_down_sign(**down, now=over - HOUR)) == ["sign_still_needed"]
    said = entry(bench, over)
    assert (said.answer, [b.code for b in said.because]) == ("no", ["sign_up"])
    posting.take_down_sign(**down, now=over)
    assert entry(bench, over).answer == "yes"
    row.refresh_from_db()
    assert (row.up_by_id, row.down_by_id, row.down_at) == (bench.applicator.person_id,) * 2 + (over,)


def test_b4_signed_not_applied_the_sign_may_come_down_and_nothing_is_owed(bench):
    job = bench.assigned(**strong(bench))
    row = sign_of(job)
    posting.put_up_sign(member=bench.applicator, posting_id=row.pk, now=NOW)
    bench.sign(jobs.job(bench.farm, job.pk), meaning=Meaning.NOT_APPLIED, now=SIGNED)
    assert entry(bench, SIGNED).because[0].code == "sign_up"
    posting.take_down_sign(member=bench.applicator, posting_id=row.pk, now=SIGNED)
    assert entry(bench, SIGNED).answer == "yes"
    assert list(notices.standing(bench.farm, SIGNED)) == []


def test_who_may_handle_signs(bench, cast):
    row = sign_of(bench.assigned(**strong(bench)))
    with pytest.raises(NotYourRole):
        posting.put_up_sign(member=cast.staff, posting_id=row.pk, now=NOW)
    with pytest.raises(Unknown):
        posting.put_up_sign(member=cast.neighbour, posting_id=row.pk, now=NOW)


def kinds_due(bench, at) -> list[tuple[str, str]]:
    return [(d.kind, d.occasion) for d in notices.due(bench.farm, at)]


def test_what_is_due_for_signs_and_when(bench):
    """E7 and E8 as reminders: up from a day ahead, down once the interval has run, late after three days."""
    job = bench.assigned(**strong(bench, double_notification=True))
    row, over = sign_of(job), ENDED + 72 * HOUR
    assert kinds_due(bench, WINDOW[0] - DAY - HOUR) == []
    assert kinds_due(bench, NOW) == [("sign_up_due", "up"), ("tell_workers_due", "tell")]
    posting.put_up_sign(member=bench.applicator, posting_id=row.pk, now=NOW)
    posting.tell_workers(member=bench.applicator, posting_id=row.pk, now=NOW)
    assert kinds_due(bench, NOW) == []
    start(bench, job)
    done = jobs.job(bench.farm, job.pk)
    done = services.finish_spraying(
        member=bench.applicator, job_id=job.pk, done=bench.done_values(done), now=REPORTED
    )  # fmt: skip
    bench.sign(done)
    assert kinds_due(bench, over - HOUR) == []
    assert notices.next_due(bench.farm, SIGNED) == over
    assert kinds_due(bench, over) == [("sign_down_due", "down")]
    assert kinds_due(bench, over + 3 * DAY + HOUR) == [("sign_down_due", "late")]


def test_the_signs_of_one_job_are_one_notice_and_each_leaves_it_by_itself(bench):
    plan = {"blocks": [{"block_id": block.pk} for block in bench.blocks]}
    job = bench.assigned(**strong(bench), **plan)
    assert [(d.occasion, d.numbers["block"]) for d in notices.due(bench.farm, NOW)] == [
        ("up", "N1 North 1, N2 North 2")
    ]
    first = Posting.rows.get(source=f"job:{job.pk}", block=bench.blocks[0])
    posting.put_up_sign(member=bench.applicator, posting_id=first.pk, now=NOW)
    assert [(d.occasion, d.numbers["block"]) for d in notices.due(bench.farm, NOW)] == [("up", "N2 North 2")]


# ---- the central display --------------------------------------------------------------------


def test_what_was_said_by_mouth_leaves_the_list_with_its_interval(bench):
    """Else every spray of all years would be read in each sweep, and stand on the page as a thing to do."""
    bench.signed()
    end = ENDED + 12 * HOUR
    listed = [[row.needs for row in notices.standing(bench.farm, at)] for at in (SIGNED, end - HOUR, end + HOUR)]
    assert listed == [[Notice.EITHER], [Notice.EITHER], []]


def test_a_sign_that_stands_is_listed_until_it_is_down(bench):
    job = posted_and_sprayed(bench)
    year = SIGNED + 365 * DAY
    assert [row.pk for row in notices.standing(bench.farm, year)] == [sign_of(job).pk]
    posting.take_down_sign(member=bench.manager, posting_id=sign_of(job).pk, now=year)
    assert list(notices.standing(bench.farm, year)) == []


def sheet(bench, job):
    return display.sheet(jobs.job(bench.farm, job.pk))


def test_the_sheet_has_the_fields_of_the_law(bench):
    """40 CFR 170.311(b): product, registration number, ingredient, crop, place, real times, interval."""
    job = bench.signed().job
    said = sheet(bench, job)
    assert [(p.name, p.registration_number, p.hours) for p in said.products] == [
        ("Demo Shield", bench.product.registration_number, "12")
    ]
    assert said.products[0].ingredients == tuple(i.name for i in bench.label.facts.ingredients)
    assert [(p.field, p.block, p.crop) for p in said.places] == [
        (bench.blocks[0].field.name, "N1 North 1", jobs.job(bench.farm, job.pk).job_blocks.all()[0].crop_name)
    ]
    assert (said.started_at, said.ended_at, said.interval_ends_at) == (STARTED, ENDED, ENDED + 12 * HOUR)
    assert (said.until_at, said.keep_until_at) == (
        ENDED + 12 * HOUR + 30 * DAY,
        (ENDED + 12 * HOUR).replace(year=ENDED.year + 2),
    )


def test_e9_the_sheet_is_due_until_it_hangs(bench, cast):
    job = bench.sprayed()
    assert [(d.kind, d.numbers["by"]) for d in display.due(bench.farm, REPORTED)] == [("display_due", ENDED + DAY)]
    displays.put_up(member=bench.applicator, job_id=job.pk, sds_for=[bench.product.pk], now=REPORTED)
    assert display.due(bench.farm, REPORTED) == []


def test_e14_it_does_not_hang_without_the_safety_data_sheet(bench):
    job = bench.sprayed()
    up = {"member": bench.manager, "job_id": job.pk}
    assert refused(lambda: displays.put_up(**up, sds_for=[], now=REPORTED)) == ["sds_missing"]
    assert not Display.rows.exists()


def test_before_the_end_there_is_nothing_to_hang(bench):
    job = bench.spraying()
    up = {"member": bench.manager, "job_id": job.pk, "sds_for": [bench.product.pk]}
    assert refused(lambda: displays.put_up(**up, now=STARTED)) == ["no_end_yet"]


def test_e10_it_stays_30_days_after_the_interval(bench):
    job = bench.signed().job
    displays.put_up(member=bench.manager, job_id=job.pk, sds_for=[bench.product.pk], now=SIGNED)
    until = ENDED + 12 * HOUR + 30 * DAY
    down = {"member": bench.manager, "job_id": job.pk}
    assert refused(lambda: displays.take_down(**down, now=until - HOUR)) == ["display_too_soon"]
    assert [d.kind for d in display.due(bench.farm, until)] == ["display_over"]
    assert displays.take_down(**down, now=until).taken_down_at == until
    assert display.due(bench.farm, until) == []


def test_e15_it_shows_the_real_times_and_keeps_what_it_showed(bench):
    job = bench.sprayed()
    displays.put_up(member=bench.manager, job_id=job.pk, sds_for=[bench.product.pk], now=REPORTED)
    later = jobs.job(bench.farm, job.pk)
    done = bench.done_values(later, ended_at=ENDED + timedelta(minutes=3))
    services.correct_finish(member=bench.applicator, job_id=job.pk, done=done, now=REPORTED)
    assert sheet(bench, job).ended_at == ENDED + timedelta(minutes=3)
    assert Display.rows.get().shown["ended_at"] == ENDED.isoformat()


def test_staff_read_the_sheet_and_print_it(bench, cast, browser_client):
    job = bench.signed().job
    root = f"/f/{bench.farm.slug}"
    with time_machine.travel(SIGNED, tick=False):
        client = browser_client(cast.staff)
        listed = client.get(f"{root}/displays/").content.decode()
        assert "N1 North 1" in listed
        page = client.get(f"{root}/jobs/{job.pk}/display/").content.decode()
        assert "Demo Shield" in page
        assert "it is not a warning sign" in page
        assert "It hangs at the central place" not in page
        paper = client.get(f"{root}/jobs/{job.pk}/display/paper/")
    text = pypdf.PdfReader(BytesIO(paper.content)).pages[0].extract_text()
    for words in ("Demo Shield", bench.product.registration_number, "12 hours", "Mon, Jul 6, 9:40 AM CDT", "Call 911"):
        assert words in text, words


def test_a_manager_hangs_it_up_on_the_page(bench, cast, browser_client):
    job = bench.signed().job
    address = f"/f/{bench.farm.slug}/jobs/{job.pk}/display/"
    client = browser_client(cast.manager)
    said = client.post(address, {})
    assert (said.status_code, "its safety data sheet must hang" in said.content.decode()) == (409, True)
    assert client.post(address, {"sds_for": [bench.product.pk]}).status_code == 302
    assert Display.rows.get().put_up_by_id == cast.manager.person_id


def test_signs_on_the_page_and_over_the_api(bench, cast, browser_client, api):
    job = bench.assigned(**strong(bench))
    row = sign_of(job)
    with time_machine.travel(NOW, tick=False):
        shown = browser_client(cast.staff).get(f"/f/{bench.farm.slug}/signs/").content.decode()
        assert "A sheet printed here is not a warning sign." in shown
        assert "The sign is up now" not in shown
        client = browser_client(cast.applicator)
        assert client.post(f"/f/{bench.farm.slug}/signs/", {"act": "up", "posting": row.pk}).status_code == 302
        told = api(cast.applicator).post(f"/api/v1/farms/{bench.farm.slug}/signs/{row.pk}/told/").json()
        listed = api(cast.staff).get(f"/api/v1/farms/{bench.farm.slug}/signs/").json()["signs"]
    assert (told["up_by"], told["told_by"]) == ("Luis Mora", "Luis Mora")
    assert [(s["id"], s["needs"], s["may_come_down"]) for s in listed] == [(row.pk, "posted", False)]
