"""Pages of a job: the forms people fill in, what they are shown before they decide, and what stays when it fails."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta

import pytest
import time_machine

from apps.people.models import Person
from apps.spraying import services
from apps.spraying.models import Job, SprayRecord
from tests.conftest import place
from tests.factories.land import BlockFactory
from tests.factories.spraying import NOW, PASSWORD, REPORTED, SIGNED, STARTED, WINDOW, line

pytestmark = pytest.mark.django_db
JOBS = "/f/alder-bend/jobs/"


@pytest.fixture
def clock():
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def manager(bench, browser_client, clock):
    return browser_client(bench.manager)


@pytest.fixture
def luis(bench, browser_client, clock):
    return browser_client(bench.applicator)


def text(answer) -> str:
    """What a person reads: tags out, spaces joined."""
    return " ".join(re.sub(r"<[^>]+>", " ", answer.content.decode()).split())


def title(answer) -> str:
    return re.search(r"<title>(.*?)</title>", answer.content.decode(), re.S)[1].strip()


def plan_form(bench, **changes) -> dict:
    return {
        "blocks": [bench.blocks[0].pk],
        "targets": "powdery mildew, squash bug",
        "product_1": bench.product.pk,
        "amount_1": "5",
        "unit_1": "floz",
        "basis_1": "per_acre",
        **{
            f"{part}_{n}": value
            for n in (2, 3, 4)
            for part, value in (("product", ""), ("unit", "pt"), ("basis", "per_acre"))
        },
        "window_starts_at": "2026-07-06T08:00",
        "window_ends_at": "2026-07-06T11:00",
        "sprayer_id": bench.sprayer.pk,
        "applicator_id": bench.applicator.person_id,
        "supervisor_id": "",
        **changes,
    }


class TestPlan:
    def test_a_job_is_planned_and_its_page_shows_the_check_and_the_next_step(self, bench, manager):
        answer = manager.post(f"{JOBS}new/", plan_form(bench), follow=True)
        job = Job.rows.get()
        assert answer.redirect_chain == [(f"{JOBS}{job.pk}/", 302)]
        page = text(answer)
        assert "Spray job 1" in page
        assert "A draft: it closes no block and holds no stock until it is assigned." in page
        assert "Wear while spraying not noted: read the label" in page
        assert "No wind reading. A reading taken in the field is needed before spraying starts." in page
        assert f'href="{JOBS}{job.pk}/assign/"' in answer.content.decode()
        assert job.targets == ["powdery_mildew", "squash_bug"]

    @pytest.mark.parametrize(
        ("change", "said"),
        [
            ({"blocks": []}, "Blocks"),
            ({"amount_1": "1,5"}, "Rate of product 1: Use a point for decimals"),
            ({"amount_1": ""}, "Rate of product 1"),
            ({"window_ends_at": "2026-07-06T07:30"}, "Window ends: The window must end after it begins."),
            ({"window_starts_at": "2026-13-45"}, "Window begins: Must be a date and a time"),
            ({"product_2": "x"}, "Product 2"),
        ],
        ids=["no block", "comma", "no rate", "backwards", "no time", "no product"],
    )
    def test_what_cannot_be_comes_back_with_everything_typed(self, bench, manager, change, said):
        answer = manager.post(f"{JOBS}new/", plan_form(bench, notes="keep this", **change))
        assert (answer.status_code, title(answer)) == (400, "Error: Plan a spray job")
        assert said in text(answer)
        assert "keep this" in text(answer)
        assert Job.rows.count() == 0

    def test_an_edit_keeps_acres_and_parts_the_form_does_not_show(self, bench, manager):
        job = bench.planned(blocks=[{"block_id": bench.blocks[0].pk, "planned_acres": "2", "zone": "south"}])
        shown = manager.get(f"{JOBS}{job.pk}/edit/").content.decode()
        assert 'value="2026-07-06T08:00"' in shown
        manager.post(f"{JOBS}{job.pk}/edit/", plan_form(bench, version=1, notes="new"))
        again = Job.rows.get()
        row = again.job_blocks.get()
        assert (again.notes, again.version, row.planned_acres, row.zone) == ("new", 2, 2, "south")

    def test_an_edit_keeps_products_beyond_those_the_form_shows(self, bench, manager):
        more = [bench.product_of(f"Demo {n}", bench.label.body) for n in range(5)]
        job = bench.planned(products=[line(p) for p in more])
        shown = {f"{part}_{n}": v for n in (2, 3, 4) for part, v in (("amount", "5"), ("unit", "floz"))}
        shown |= {f"product_{n + 1}": p.pk for n, p in enumerate(more[:4])}
        manager.post(f"{JOBS}{job.pk}/edit/", plan_form(bench, version=1, **shown))
        kept = list(Job.rows.get().job_products.order_by("position").values_list("product__name", flat=True))
        assert kept == [f"Demo {n}" for n in range(5)]

    def test_a_link_from_a_reminder_ticks_its_block(self, bench, manager):
        shown = manager.get(f"{JOBS}new/?block={bench.blocks[1].pk}").content.decode()
        assert len(re.findall(r"<input[^>]*\bchecked\b", shown)) == 1

    def test_another_farms_block_is_no_choice(self, bench, manager, cast):
        foreign = BlockFactory(farm=cast.other_farm)
        answer = manager.post(f"{JOBS}new/", plan_form(bench, blocks=[foreign.pk]))
        assert (answer.status_code, Job.rows.count()) == (400, 0)


class TestAssign:
    def test_the_page_says_what_assigning_does_before_the_button(self, bench, manager):
        job = bench.planned()
        page = manager.get(f"{JOBS}{job.pk}/assign/").content.decode()
        assert page.index("closes the blocks from") < page.index("Assign this job</button>")

    def test_a_job_that_is_stopped_has_no_button(self, bench, manager):
        job = bench.planned(products=[line(bench.product, "9")])
        page = manager.get(f"{JOBS}{job.pk}/assign/").content.decode()
        assert "Assign this job</button>" not in page
        assert "is above the label&#x27;s highest rate, 6 fl oz/acre" in page

    def test_without_the_reason_it_asks_and_with_it_it_is_assigned(self, bench, manager):
        job = bench.planned()
        address = f"{JOBS}{job.pk}/assign/"
        asked = manager.post(address, {"version": 1, "reason": ""})
        assert (asked.status_code, title(asked)) == (400, "Error: Check and assign job 1")
        assert "Write down why this job may go ahead all the same." in text(asked)
        done = manager.post(address, {"version": 1, "reason": "wind is read at the start"}, follow=True)
        assert "The job is assigned." in text(done)
        assert Job.rows.get().reason == "wind is read at the start"

    def test_the_same_form_sent_twice_assigns_once(self, bench, manager):
        job = bench.planned()
        body = {"version": 1, "reason": "wind is read at the start", "once_key": "twice-pressed"}
        first, second = (manager.post(f"{JOBS}{job.pk}/assign/", body) for _ in range(2))
        assert (first.status_code, second.status_code) == (302, 302)
        assert Job.rows.get().steps.filter(step="assign").count() == 1

    def test_a_signed_job_has_no_assign_page(self, bench, manager):
        job = bench.signed().job
        answer = manager.get(f"{JOBS}{job.pk}/assign/")
        assert (answer.status_code, "This job is signed." in text(answer)) == (409, True)


class TestCallOff:
    def test_after_the_window_began_the_page_warns_and_the_blocks_stay_closed(self, bench, manager, clock):
        job = bench.assigned()
        clock.move_to(STARTED)
        warned = text(manager.get(f"{JOBS}{job.pk}/call-off/"))
        assert "The window has begun, so it may have been sprayed." in warned
        done = manager.post(f"{JOBS}{job.pk}/call-off/", {"version": 2, "reason": "too windy"}, follow=True)
        assert "The blocks stay closed until the applicator signs that nothing was applied" in text(done)


READINGS = {"wind_mph": "5", "wind_from": "sw", "temperature_f": "72", "humidity_percent": "60", "gust_mph": ""}


def done_form(bench, job, **changes) -> dict:
    acres = bench.blocks[0].planted_acres
    return {
        "version": job.version,
        "started_at": "2026-07-06T08:10",
        "ended_at": "2026-07-06T09:40",
        "loads": "3",
        f"area_{bench.blocks[0].pk}": "all",
        f"amount_{bench.product.pk}": str((5 * acres).quantize(acres)),
        f"unit_{bench.product.pk}": "floz",
        **changes,
    }


class TestField:
    def test_the_applicator_sees_own_jobs_and_one_next_action(self, bench, luis, cast, browser_client):
        job = bench.assigned()
        page = luis.get(f"{JOBS}{job.pk}/").content.decode()
        assert 'class="yard"' in page
        assert page.count('class="button main act"') == 1
        assert f'href="{JOBS}{job.pk}/start/">Start spraying' in page
        assert "Job 1" in text(luis.get(JOBS))

    def test_starting_from_the_phone(self, bench, luis, clock):
        job = bench.assigned()
        clock.move_to(STARTED)
        body = {"version": job.version, **READINGS, "reason": ""}
        answer = luis.post(f"{JOBS}{job.pk}/start/", body, follow=True)
        assert "Started. The blocks are closed." in text(answer)
        assert Job.rows.get().started_at == STARTED

    def test_a_refusal_at_the_start_keeps_what_was_typed(self, bench, luis, clock):
        job = bench.assigned()
        clock.move_to(STARTED)
        answer = luis.post(f"{JOBS}{job.pk}/start/", {"version": job.version, **READINGS, "wind_mph": "14"})
        assert (answer.status_code, title(answer)) == (409, "Error: Start spraying")
        assert "Demo Shield: wind 14 mph is above 10 mph." in text(answer)
        assert 'value="72"' in answer.content.decode()

    def test_finishing_leads_to_the_read_back(self, bench, luis, clock):
        job = bench.spraying()
        clock.move_to(REPORTED)
        shown = luis.get(f"{JOBS}{job.pk}/finish/").content.decode()
        assert 'value="2026-07-06T08:10"' in shown  # the time the start was pressed is a fact
        assert not re.search(r'name="ended_at"[^>]*value=', shown)  # outcomes start empty
        answer = luis.post(f"{JOBS}{job.pk}/finish/", done_form(bench, job), follow=True)
        assert answer.redirect_chain == [(f"{JOBS}{job.pk}/sign/", 302)]
        assert title(answer) == "Check this record, then sign"

    @pytest.mark.parametrize(
        ("change", "said"),
        [
            ({"ended_at": "2026-07-06T08:00"}, "Finished: The end must be after the start."),
            ({"ended_at": "2026-07-06T10:00"}, "Finished: The end cannot be later than now."),
            ({"loads": ""}, "Loads"),
        ],
        ids=["before the start", "in the future", "no loads"],
    )
    def test_an_impossible_report_is_named(self, bench, luis, clock, change, said):
        job = bench.spraying()
        clock.move_to(REPORTED)
        answer = luis.post(f"{JOBS}{job.pk}/finish/", done_form(bench, job, **change))
        assert (answer.status_code, title(answer)) == (400, "Error: Finish spraying")
        assert said in text(answer)

    def test_a_part_without_its_acres_is_asked_for(self, bench, luis, clock):
        job = bench.spraying()
        clock.move_to(REPORTED)
        answer = luis.post(f"{JOBS}{job.pk}/finish/", done_form(bench, job, **{f"area_{bench.blocks[0].pk}": "part"}))
        assert "Acres treated in N1 North 1: Enter the acres treated, 0 if none." in text(answer)

    def test_a_rate_off_the_plan_asks_why_at_its_field(self, bench, luis, clock):
        job = bench.spraying()
        clock.move_to(REPORTED)
        answer = luis.post(f"{JOBS}{job.pk}/finish/", done_form(bench, job, **{f"amount_{bench.product.pk}": "10"}))
        assert "Why the rate differs from the plan: Say why the rate differs from the plan: Demo Shield" in text(answer)

    def test_another_applicator_finds_no_form(self, bench, browser_client, clock):
        other = place(bench.farm, "applicator", "Pia Holm", "pia")
        job = bench.assigned()
        for page in ("start", "report-late", "not-applied"):
            answer = browser_client(other).get(f"{JOBS}{job.pk}/{page}/")
            assert answer.status_code == 403
            assert "Only the person named on the job can do this: Luis Mora." in text(answer)

    def test_reporting_late_from_the_phone(self, bench, luis, clock):
        job = bench.assigned()
        clock.move_to(REPORTED)
        body = {**done_form(bench, job), **READINGS, "reason": "the phone was dead"}
        answer = luis.post(f"{JOBS}{job.pk}/report-late/", body, follow=True)
        assert title(answer) == "Check this record, then sign"
        assert Job.rows.get().steps.get(step="report_late").note == "the phone was dead"

    def test_when_the_clocks_went_back_one_says_which_hour(self, bench, browser_client, clock):
        """1 November 2026, Chicago: 1:30 AM happens twice, at 06:30 and at 07:30 UTC."""
        window = (datetime(2026, 11, 1, 5, tzinfo=UTC), datetime(2026, 11, 1, 9, tzinfo=UTC))
        bench.blocks[0].plantings.update(harvest_from=None, harvest_to=None)
        job = bench.spraying(window_starts_at=window[0], window_ends_at=window[1], at=window[0])
        clock.move_to(window[1])
        luis = browser_client(bench.applicator)
        assert "If that hour came twice: end" in text(luis.get(f"{JOBS}{job.pk}/finish/"))
        body = done_form(bench, job, started_at="2026-11-01T00:30", ended_at="2026-11-01T01:30")
        asked = luis.post(f"{JOBS}{job.pk}/finish/", body)
        assert "happens twice in America/Chicago" in text(asked)
        luis.post(f"{JOBS}{job.pk}/finish/", {**body, "ended_at_fold": "1"})
        assert Job.rows.get().ended_at == datetime(2026, 11, 1, 7, 30, tzinfo=UTC)


class TestSign:
    @pytest.fixture
    def job(self, bench, clock):
        job = bench.sprayed()
        clock.move_to(SIGNED)
        return job

    def hidden(self, page: str) -> dict:
        return {name: re.search(rf'name="{name}" value="([^"]+)"', page)[1] for name in ("version", "body_hash")}

    def test_consequences_stand_before_the_button_and_the_box_is_not_ticked(self, bench, job, luis):
        page = luis.get(f"{JOBS}{job.pk}/sign/").content.decode()
        places = [
            page.index("You sprayed all"),
            page.index("stays closed until Mon, Jul 6, 9:40 PM CDT"),
            page.index("Earliest picking on N1 North 1: Thu, Jul 9, 9:40 AM CDT"),
            page.index('name="checked"'),
            page.index("I made this application as written above."),
            page.index("Luis Mora, private applicator, card 12345, expires Thu, Dec 31, 2026"),
            page.index('name="password"'),
            page.index("Sign this record</button>"),
        ]
        assert places == sorted(places)
        assert not re.search(r'name="checked"[^>]*\bchecked\b', page)

    def test_signing_shows_the_record_and_what_happens_next(self, bench, job, luis):
        page = luis.get(f"{JOBS}{job.pk}/sign/").content.decode()
        body = {**self.hidden(page), "checked": "on", "password": PASSWORD}
        answer = luis.post(f"{JOBS}{job.pk}/sign/", body, follow=True)
        assert title(answer) == "Record 1 is signed"
        assert "stays closed until Mon, Jul 6, 9:40 PM CDT (Demo Shield)." in text(answer)
        record = text(luis.get("/f/alder-bend/records/1/"))
        assert SprayRecord.rows.get().hash in record
        assert "1 record, unbroken." in text(luis.get("/f/alder-bend/records/"))

    @pytest.mark.parametrize(
        ("change", "said"),
        [
            ({"password": "not-this-one"}, "Your password: That is not your password. Nothing was changed."),
            ({"checked": ""}, "I checked the field, the times, the area and the amounts.: Tick the box"),
        ],
        ids=["wrong password", "box not ticked"],
    )
    def test_what_is_missing_is_said_and_nothing_changes(self, bench, job, luis, change, said):
        page = luis.get(f"{JOBS}{job.pk}/sign/").content.decode()
        body = {**self.hidden(page), "checked": "on", "password": PASSWORD, **change}
        answer = luis.post(f"{JOBS}{job.pk}/sign/", body)
        assert (answer.status_code, title(answer)) == (400, "Error: Check this record, then sign")
        assert said in text(answer)
        assert (SprayRecord.rows.count(), Job.rows.get().state) == (0, "sprayed")
        assert PASSWORD not in answer.content.decode()

    def test_a_record_that_changed_meanwhile_is_read_back_again(self, bench, job, luis):
        page = luis.get(f"{JOBS}{job.pk}/sign/").content.decode()
        services.correct_finish(
            member=bench.applicator,
            job_id=job.pk,
            done=bench.done_values(job, ended_at=WINDOW[0] + timedelta(hours=2)),
            now=SIGNED,
        )
        body = {**self.hidden(page), "checked": "on", "password": PASSWORD}
        answer = luis.post(f"{JOBS}{job.pk}/sign/", body, follow=True)
        assert "Somebody changed this job since you opened it." in text(answer)
        assert "finished Mon, Jul 6, 10:00 AM CDT" in text(answer)
        assert SprayRecord.rows.count() == 0

    def test_a_correction_before_signing_starts_from_what_was_reported(self, bench, job, luis):
        page = luis.get(f"{JOBS}{job.pk}/correct/").content.decode()
        assert re.search(r'name="ended_at"[^>]*value="2026-07-06T09:40"', page)

    def test_signing_that_nothing_was_applied(self, bench, luis, clock):
        job = bench.assigned()
        page = luis.get(f"{JOBS}{job.pk}/not-applied/").content.decode()
        assert "Nothing was applied under this job." in page
        body = {**self.hidden(page), "checked": "on", "password": PASSWORD, "reason": "the pump broke"}
        answer = luis.post(f"{JOBS}{job.pk}/not-applied/", body, follow=True)
        assert title(answer) == "Record 1 is signed"
        assert Job.rows.get().not_applied_at == NOW

    def test_the_reader_of_spanish_gets_times_in_spanish(self, bench, job, browser_client):
        Person.objects.filter(pk=bench.applicator.person_id).update(language="es")
        page = browser_client(bench.applicator).get(f"{JOBS}{job.pk}/sign/").content.decode()
        assert '<html lang="es-US">' in page
        assert "lunes 6 de julio, 9:40 p.m. CDT" in page


def test_every_page_of_a_job_is_shown_to_those_who_may(bench, manager, luis, clock):
    record = bench.signed()
    for address in (JOBS, f"{JOBS}{record.job_id}/", f"{JOBS}{record.job_id}/signed/", "/f/alder-bend/records/1/"):
        assert [c.get(address).status_code for c in (manager, luis)] == [200, 200]
    assert manager.get("/f/alder-bend/spray-settings/").status_code == 200
    assert luis.get("/f/alder-bend/spray-settings/").status_code == 403


def test_the_settings_are_changed_on_their_page(bench, manager):
    body = {
        "version": 1,
        "preset": "extension",
        "history_known_from": "2026-01-01",
        "interval_from_days": "6",
        "interval_to_days": "9",
    }
    assert "The spray settings are changed." in text(manager.post("/f/alder-bend/spray-settings/", body, follow=True))
