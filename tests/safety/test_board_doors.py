"""The board over HTTP: the three answers, bad questions, and pages that say keep out first."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import time_machine

from apps.people.models import Farm
from apps.safety import queries, rules, services
from apps.safety.rules import Activity, EntryInterval, HarvestWait
from tests.factories.land import BlockFactory

pytestmark = pytest.mark.django_db
# Monday, June 1 2026, 9:30 AM CDT: the application of the decision cases, 40 CFR 170.407.
ENDED = datetime(2026, 6, 1, 14, 30, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.fixture
def block(cast):
    return BlockFactory(farm=cast.farm, name="North Seven", code="N7")


def sprayed(cast, block, *, hours=12, days=3, activities=frozenset()):
    mix = [EntryInterval(product="Demo A", hours=hours, activities=activities)]
    hung = rules.for_signature(
        block.pk,
        started_at=ENDED - HOUR,
        ended_at=ENDED,
        intervals=mix,
        waits=[HarvestWait(product="Demo A", days=days)],
        zone=cast.farm.time_zone,
    )
    return services.hang_closures(
        farm=cast.farm, member=cast.applicator, source="job:1", closures=hung, now=ENDED + timedelta(minutes=1)
    )


def entry(api, who, block, **query):
    return api(who).get(f"/api/v1/farms/alder-bend/blocks/{block.pk}/entry/", query)


def test_an_untouched_block_is_a_yes_that_lasts_half_an_hour(cast, api, block):
    with time_machine.travel(ENDED, tick=False):
        answer = entry(api, cast.staff, block)
    body = answer.json()
    assert answer["Cache-Control"] == "no-store"
    assert (body["answer"], body["opens_at"], body["because"]) == ("yes", None, [])
    assert (body["as_of"], body["good_until"]) == ("2026-06-01T14:30:00Z", "2026-06-01T15:00:00Z")


def test_under_the_interval_it_is_a_no_with_its_end_and_its_reason(cast, api, block):
    sprayed(cast, block)
    with time_machine.travel(ENDED + HOUR, tick=False):
        body = entry(api, cast.staff, block).json()
    assert (body["answer"], body["opens_at"]) == ("no", "2026-06-02T02:30:00Z")
    (why,) = body["because"]
    assert (why["code"], why["product"], why["set_by"], why["source"]) == (
        "entry_interval",
        "Demo A",
        "Luis Mora",
        "40 CFR 170.407",
    )
    assert why["sentence"] == (
        "Sprayed with Demo A. Its restricted-entry interval runs. Do not enter before Mon, Jun 1, 9:30 PM CDT."
    )
    assert why["contact"] == "Ines Prado 555-0101"


def test_the_harvest_twin_waits_longer(cast, api, block):
    sprayed(cast, block)
    with time_machine.travel(ENDED + 20 * HOUR, tick=False):
        assert entry(api, cast.staff, block).json()["answer"] == "yes"
        body = api(cast.staff).get(f"/api/v1/farms/alder-bend/blocks/{block.pk}/harvest/").json()
    assert (body["answer"], body["opens_at"]) == ("no", "2026-06-04T14:30:00Z")


def test_a_longer_interval_for_picking_binds_picking_and_the_unasked(cast, api, block):
    """Decision cases A11 and A12: 120 h for hand harvest beside 12 h (label; project rule when no task is chosen)."""
    sprayed(cast, block, hours=120, activities=frozenset({Activity.PICKING_BY_HAND}))
    sprayed(cast, block, hours=12)
    with time_machine.travel(ENDED + 13 * HOUR, tick=False):
        said = {
            work: entry(api, cast.staff, block, **({"activity": work} if work else {})).json()["answer"]
            for work in ("picking_by_hand", "irrigation", "other", "")
        }
    assert said == {"picking_by_hand": "no", "irrigation": "yes", "other": "no", "": "no"}


@pytest.mark.parametrize(
    ("query", "field"),
    [
        ({"activity": "dancing"}, "activity"),
        ({"at": "tomorrow"}, "at"),
        ({"at": "2026-13-01T00:00"}, "at"),
        ({"at": "2026-03-08T02:30"}, "at"),
        ({"at": "2199-01-01T00:00:00Z"}, "at"),
    ],
    ids=["unknown work", "not a time", "no such month", "hour the clocks skip", "too far"],
)
def test_a_question_that_cannot_be_read_names_its_field(cast, api, block, query, field):
    with time_machine.travel(ENDED, tick=False):
        answer = entry(api, cast.staff, block, **query)
    assert (answer.status_code, list(answer.json()["errors"])) == (400, [field])


def test_a_time_ahead_is_answered_with_a_word_of_care(cast, api, block):
    sprayed(cast, block)
    with time_machine.travel(ENDED + HOUR, tick=False):
        body = entry(api, cast.staff, block, at="2026-06-02T08:00:00-05:00").json()
    assert (body["answer"], [b["code"] for b in body["because"]]) == ("yes", ["looking_ahead"])
    assert body["good_until"] == "2026-06-01T16:00:00Z"


def test_a_farm_without_a_real_zone_is_unknown(cast, api, block):
    Farm.objects.filter(pk=cast.farm.pk).update(time_zone="Nowhere/Land")
    body = entry(api, cast.staff, block).json()
    assert (body["answer"], body["because"][0]["code"]) == ("unknown", "zone_unknown")


def test_another_farms_block_is_unknown_to_everybody_here(cast, api):
    theirs = BlockFactory(farm=cast.other_farm)
    for who in (cast.manager, cast.applicator, cast.staff):
        assert entry(api, who, theirs).status_code == 404


def test_the_board_lists_every_block_with_both_answers(cast, api, block):
    sprayed(cast, block)
    BlockFactory(farm=cast.farm, code="A1")
    with time_machine.travel(ENDED + HOUR, tick=False):
        body = api(cast.staff).get("/api/v1/farms/alder-bend/board/").json()
    assert [(b["code"], b["entry"]["answer"], b["harvest"]["answer"]) for b in body["blocks"]] == [
        ("A1", "yes", "yes"),
        ("N7", "no", "no"),
    ]


@pytest.mark.parametrize("blocks", [3, 30])
def test_board_and_entry_cost_the_same_for_any_number_of_blocks(cast, api, blocks, django_assert_num_queries):
    rows = [BlockFactory(farm=cast.farm) for _ in range(blocks)]
    client = api(cast.staff)
    with django_assert_num_queries(3):  # member, blocks, closures
        client.get("/api/v1/farms/alder-bend/board/")
    with django_assert_num_queries(3):  # member, block, closures
        client.get(f"/api/v1/farms/alder-bend/blocks/{rows[0].pk}/entry/")


def page(browser_client, who, block, query=""):
    return browser_client(who).get(f"/f/alder-bend/blocks/{block.pk}/may-i-enter/{query}")


def test_the_page_says_keep_out_in_both_languages_first(cast, browser_client, block):
    sprayed(cast, block)
    with time_machine.travel(ENDED + HOUR, tick=False):
        text = page(browser_client, cast.staff, block).content.decode()
    assert "<title>KEEP OUT / NO ENTRE · North Seven</title>" in text
    for said in (
        'class="answer out"',
        "until Mon, Jun 1, 9:30 PM CDT",
        "No antes del lunes 1 de junio, 9:30 p.m. CDT",
        "11 h from now",
        "faltan 11 h",
        "Do not pick yet",
        "No coseche todavía",
        'href="tel:555-0101"',
        "Luis Mora",
    ):
        assert said in text


def test_the_page_allows_only_with_its_deadline_and_the_word_on_signs(cast, browser_client, block):
    with time_machine.travel(ENDED, tick=False):
        answer = page(browser_client, cast.staff, block, "?activity=irrigation")
    text = answer.content.decode()
    assert answer["Cache-Control"] == "no-store"
    for said in (
        "Entry allowed",
        "Entrada permitida",
        "If a sign is up, keep out.",
        "Good until Mon, Jun 1, 10:00 AM CDT",
        "Vence a las lunes 1 de junio, 10:00 a.m. CDT",
        'data-good-seconds="1800"',
        "Riego",
    ):
        assert said in text


def test_a_fault_shows_keep_out_on_the_page_too(cast, browser_client, block, monkeypatch):
    monkeypatch.setattr(queries, "closures_on", None)
    text = page(browser_client, cast.staff, block).content.decode()
    assert "<title>KEEP OUT / NO ENTRE · North Seven</title>" in text
    assert 'class="answer unknown"' in text


def test_no_page_of_the_board_uses_a_word_that_promises_too_much(cast, browser_client, block):
    sprayed(cast, block)
    for address in ("/f/alder-bend/board/", f"/f/alder-bend/blocks/{block.pk}/may-i-enter/"):
        text = browser_client(cast.staff).get(address).content.decode().lower()
        words = set(text.replace("<", " ").replace(">", " ").replace(".", " ").split())
        assert words & {"safe", "ok", "clear", "seguro", "libre", "hasta", "danger", "warning", "caution"} == set()
