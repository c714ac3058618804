"""The check on pages: what to do instead, the plan judged without saving it, why it may go, the first evening."""

from __future__ import annotations

from datetime import timedelta
from html import unescape
from html.parser import HTMLParser

import pytest
import time_machine

from apps.spraying.models import Job
from tests.factories.land import BlockFactory
from tests.factories.spraying import SIGNED, WINDOW, plot_of

pytestmark = pytest.mark.django_db
LATER = timedelta(days=3)


class _Text(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.said: list[str] = []

    def handle_data(self, data: str) -> None:
        self.said.append(data)


def text_of(answer) -> str:
    """The page's words, one space between them."""
    parser = _Text()
    parser.feed(answer.content.decode())
    return " ".join(unescape(" ".join(parser.said)).split())


@pytest.fixture
def too_soon(bench):
    """A draft three days after a signed spray; the label asks for seven."""
    bench.signed()
    return bench.planned(window_starts_at=WINDOW[0] + LATER, window_ends_at=WINDOW[1] + LATER)


@pytest.fixture
def page(browser_client, bench):
    """``page(member)(address, data)``: the words and the answer."""

    def as_member(member):
        client = browser_client(member)

        def get(address, data=None):
            send = client.get if data is None else client.post
            answer = send(f"/f/alder-bend/{address}", data or {})
            return text_of(answer), answer

        return get

    with time_machine.travel(SIGNED, tick=False):
        yield as_member


def form_of(bench, **changes) -> dict:
    return {
        "blocks": [bench.blocks[0].pk],
        "product_1": bench.product.pk,
        "amount_1": "5",
        "unit_1": "floz",
        "basis_1": "per_acre",
        "sprayer_id": bench.sprayer.pk,
        "applicator_id": bench.applicator.person_id,
        "window_starts_at": "2026-07-09T08:00",
        "window_ends_at": "2026-07-09T11:00",
        **changes,
    }


def test_a_refused_draft_says_what_could_be_done(page, bench, too_soon):
    words, _ = page(bench.manager)(f"jobs/{too_soon.pk}/")
    assert "What could be done instead" in words
    assert "Instead: Start at Mon, Jul 13, 8:00 AM CDT instead." in words
    assert "The label in hand is the law" in words


def test_somebody_who_plans_nothing_is_not_offered_it(page, bench, too_soon):
    words, _ = page(bench.applicator)(f"jobs/{too_soon.pk}/")
    assert "What could be done instead" not in words


def test_the_page_before_assigning_says_it_too(page, bench, too_soon):
    words, _ = page(bench.manager)(f"jobs/{too_soon.pk}/assign/")
    assert "Complete ways out Start at Mon, Jul 13, 8:00 AM CDT instead." in words
    assert "What stops the job" in words


def test_nothing_known_helps(page, bench):
    block = BlockFactory(farm=bench.farm, code="E1", polygon=plot_of(6))
    job = bench.planned(blocks=[{"block_id": block.pk}])
    words, _ = page(bench.manager)(f"jobs/{job.pk}/")
    assert "No change known here takes this away." in words
    assert "known here makes this job lawful" in words


def test_a_clean_draft_needs_nothing(page, bench):
    words, _ = page(bench.manager)(f"jobs/{bench.planned().pk}/")
    assert "What could be done instead" not in words


def test_a_plan_is_checked_without_saving_it(page, bench):
    bench.signed()
    before = Job.rows.count()
    words, answer = page(bench.manager)("jobs/new/", form_of(bench, check="1"))
    assert (answer.status_code, Job.rows.count()) == (200, before)
    assert "Nothing is saved." in words
    assert "5 days" not in words and "at least 7 days needed" in words
    assert "Start at Mon, Jul 13, 8:00 AM CDT instead." in words
    assert 'value="2026-07-09T08:00"' in answer.content.decode()


def test_a_fault_in_such_a_plan_stands_at_its_field(page, bench):
    words, answer = page(bench.manager)("jobs/new/", form_of(bench, check="1", amount_1="much"))
    assert (answer.status_code, "Nothing is saved." in words) == (400, False)
    assert "Error:" in words and Job.rows.count() == 0


def test_a_draft_is_checked_without_changing_it(page, bench, too_soon):
    changes = form_of(bench, check="1", window_starts_at="2026-07-15T08:00", window_ends_at="2026-07-15T11:00")
    words, _ = page(bench.manager)(f"jobs/{too_soon.pk}/edit/", changes)
    assert "What stops the job" not in words and "Nothing is saved." in words
    too_soon.refresh_from_db()
    assert too_soon.window_starts_at == WINDOW[0] + LATER


def test_why_it_may_go_or_not(page, bench, too_soon):
    words, _ = page(bench.applicator)(f"jobs/{too_soon.pk}/why/")
    stops, passed = words.index("What stops the job"), words.index("rules that passed")
    assert stops < passed
    assert "Demo Shield: 5 fl oz/acre; the label allows" in words[passed:]
    assert "label of Demo Shield, label version 1, rate" in words[passed:]


def test_the_first_evening(page, bench, too_soon):
    words, _ = page(bench.manager)(f"jobs/{too_soon.pk}/first-evening/")
    assert "Mon, Jul 13, 8:" in words and "at sunset, until" in words
    words, _ = page(bench.manager)(f"jobs/{too_soon.pk}/first-evening/?days=2")
    assert "There is none among the 2 evenings looked at." in words


class TestWhyApi:
    @pytest.fixture
    def client(self, api, bench):
        with time_machine.travel(SIGNED, tick=False):
            yield api(bench.manager)

    def test_of_a_job(self, client, bench, too_soon):
        body = client.get(f"/api/v1/farms/alder-bend/jobs/{too_soon.pk}/why/").json()
        (block,) = body["blocks"]
        assert [f["code"] for f in block["refuse"]] == ["interval"]
        rate = next(p for p in block["passed"] if p["rule"] == "rate")
        assert (rate["subject"], rate["source"]) == ("Demo Shield", "label of Demo Shield, label version 1, rate")
        assert rate["numbers"]["rate"] == "5 fl oz/acre"
        assert "interval" not in {p["rule"] for p in block["passed"]}

    def test_of_a_plan(self, client, bench):
        values = {**bench.plan_values(), "window_starts_at": "2026-07-09T08:00", "window_ends_at": "2026-07-09T11:00"}
        answer = client.post("/api/v1/farms/alder-bend/jobs/explain/", values, format="json")
        body = answer.json()
        assert (answer.status_code, body["blocks"][0]["refuse"], Job.rows.count()) == (200, [], 0)
        assert {"rate", "interval", "certificate"} <= {p["rule"] for p in body["blocks"][0]["passed"]}
