"""The board over HTTP: the three answers, bad questions, and pages that say keep out first."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import time_machine

from apps.people.models import Farm
from apps.safety import queries, reading, rules, services, wording
from apps.safety import serializers as shapes
from apps.safety.models import Closure
from apps.safety.rules import Activity, EntryInterval, HarvestWait
from tests.factories.land import BlockFactory
from tests.factories.safety import ClosureFactory

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
        ({"at": "2026-06-01T14:27:59Z"}, "at"),
        ({"at": "2020-06-01T14:30:00Z"}, "at"),
        ({"activty": "irrigation"}, "activty"),
    ],
    ids=[
        "unknown work",
        "not a time",
        "no such month",
        "hour the clocks skip",
        "too far",
        "a slow clock",
        "long ago",
        "misspelt",
    ],
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


@pytest.mark.parametrize(
    "text", ["2026-06-01T14:28:00Z", "2026-06-01T09:29:59-05:00", "2026-06-01T09:30"],
    ids=["two minutes slow", "a second slow", "farm-local"],
)  # fmt: skip
def test_a_clock_that_is_a_little_slow_is_asked_about_the_servers_now(cast, api, block, text):
    with time_machine.travel(ENDED, tick=False):
        body = entry(api, cast.staff, block, at=text).json()
    assert (body["answer"], body["at"]) == ("yes", "2026-06-01T14:30:00Z")


def test_a_plus_sign_that_arrives_as_a_space_is_understood(cast, api, block):
    sprayed(cast, block)
    address = f"/api/v1/farms/alder-bend/blocks/{block.pk}/entry/?at=2026-06-02T02:30:00+00:00"
    with time_machine.travel(ENDED + HOUR, tick=False):
        body = api(cast.staff).get(address).json()
    assert (body["at"], body["answer"]) == ("2026-06-02T02:30:00Z", "yes")


def test_a_past_time_cannot_fetch_a_yes_from_before_the_spray(cast, api, block):
    sprayed(cast, block)
    with time_machine.travel(ENDED + HOUR, tick=False):
        answer = entry(api, cast.staff, block, at=(ENDED - 5 * HOUR).isoformat())
    assert answer.json()["errors"] == {"at": ["Ask about now or later; leave it out to ask about now."]}


def test_a_farm_without_a_real_zone_is_unknown(cast, api, block, browser_client):
    sprayed(cast, block)
    Farm.objects.filter(pk=cast.farm.pk).update(time_zone="Nowhere/Land")
    body = entry(api, cast.staff, block).json()
    assert (body["answer"], body["because"][0]["code"]) == ("unknown", "zone_unknown")
    assert (body["because"][0]["sentence"]) == "The farm's time zone is not known. No time on the board can be trusted."
    answer = browser_client(cast.staff).get(f"/f/alder-bend/blocks/{block.pk}/may-i-enter/")
    assert (answer.status_code, 'class="answer unknown"' in answer.content.decode()) == (200, True)
    board = browser_client(cast.staff).get("/f/alder-bend/board/").content.decode()
    assert "Keep out, not confirmed" in board
    assert '<h1 data-when-stale="Not confirmed">1 block closed</h1>' in board


@pytest.mark.parametrize("role", ["manager", "applicator", "staff"])
def test_every_role_may_ask(cast, api, block, browser_client, role):
    who = cast.by_role(role)
    for path in (f"blocks/{block.pk}/entry/", f"blocks/{block.pk}/harvest/", "board/", "activities/"):
        assert api(who).get(f"/api/v1/farms/alder-bend/{path}").status_code == 200
    for path in (f"blocks/{block.pk}/may-i-enter/", "board/"):
        assert "Entry allowed" in browser_client(who).get(f"/f/alder-bend/{path}").content.decode()


@pytest.mark.parametrize("path", ["blocks/{}/entry/", "blocks/{}/harvest/", "board/", "activities/",
                                  "blocks/{}/closures/"])  # fmt: skip
def test_outsiders_and_neighbours_learn_nothing(cast, api, block, path):
    for who in (cast.outsider, cast.neighbour):
        answer = api(who).get("/api/v1/farms/alder-bend/" + path.format(block.pk))
        assert (answer.status_code, answer.json()["title"]) == (404, "Not found")


@pytest.mark.parametrize("path", ["blocks/{}/may-i-enter/", "board/", "blocks/{}/confirm/"])
def test_pages_of_another_farm_are_not_found(cast, browser_client, block, path):
    for who in (cast.outsider, cast.neighbour):
        answer = browser_client(who).get("/f/alder-bend/" + path.format(block.pk))
        assert (answer.status_code, "North Seven" in answer.content.decode()) == (404, False)


def test_picking_is_judged_for_pickers_whatever_work_was_chosen(cast, api, block, browser_client):
    """Label: 120 h for hand harvest. The page of somebody who irrigates must not say that the crop may be picked."""
    sprayed(cast, block, hours=120, days=0, activities=frozenset({Activity.PICKING_BY_HAND}))
    with time_machine.travel(ENDED + 24 * HOUR, tick=False):
        asked = f"/api/v1/farms/alder-bend/blocks/{block.pk}/harvest/"
        said = {w: api(cast.staff).get(asked, {"activity": w}).json()["answer"] for w in Activity}
        text = page(browser_client, cast.staff, block, "?activity=irrigation").content.decode()
        board = api(cast.staff).get("/api/v1/farms/alder-bend/board/", {"activity": "irrigation"}).json()
    assert said == {w: "yes" if w == "driving_closed_cab" else "no" for w in Activity}
    assert ("Entry allowed" in text, "Do not pick yet" in text) == (True, True)
    assert [(b["entry"]["answer"], b["harvest"]["answer"]) for b in board["blocks"]] == [("yes", "no")]


def test_the_kinds_of_work_are_listed_in_both_languages(cast, api):
    body = api(cast.staff).get("/api/v1/farms/alder-bend/activities/").json()
    assert [row["code"] for row in body] == list(Activity)
    assert body[0] == {"code": "picking_by_hand", "name_en": "Picking by hand", "name_es": "Cosecha a mano"}


def test_the_api_speaks_the_readers_language(cast, api, block):
    sprayed(cast, block)
    with time_machine.travel(ENDED + HOUR, tick=False):
        answer = api(cast.staff).get(
            f"/api/v1/farms/alder-bend/blocks/{block.pk}/entry/", headers={"Accept-Language": "es"}
        )
    (why,) = answer.json()["because"]
    assert why["sentence"] == (
        "Se aplicó Demo A. Corre su intervalo de entrada restringida. "
        "No entre antes del lunes 1 de junio, 9:30 p.m. CDT."
    )
    assert why["template"].startswith("Sprayed with {product}.")


def test_an_applicator_attests_over_the_api_and_the_block_opens(cast, api, block):
    row = ClosureFactory(block=block, reason_code="until_dry", starts_at=ENDED - HOUR)
    address = f"/api/v1/farms/alder-bend/closures/{row.pk}/attest/"
    with time_machine.travel(ENDED + HOUR, tick=False):
        (why,) = entry(api, cast.staff, block).json()["because"]
        assert (why["code"], why["closure_id"]) == ("until_dry", row.pk)
        assert api(cast.manager).post(address).status_code == 403
        assert api(cast.neighbour).post(address).status_code == 404
        assert entry(api, cast.staff, block).json()["answer"] == "unknown"
        body = api(cast.applicator).post(address).json()
        assert (body["lift_reason"], body["lifted_at"]) == ("attested", "2026-06-01T15:30:00Z")
        assert entry(api, cast.staff, block).json()["answer"] == "yes"
        assert api(cast.applicator).post(address).status_code == 404


def test_what_hung_on_a_block_is_listed_and_narrowed(cast, api, block):
    sprayed(cast, block)
    ClosureFactory(block=block, kind="planned", lifted_at=ENDED, lift_reason="started", source="job:9")
    address = f"/api/v1/farms/alder-bend/blocks/{block.pk}/closures/"

    def kinds(**query):
        return sorted(c["kind"] for c in api(cast.manager).get(address, query).json()["results"])

    assert kinds() == ["entry", "harvest", "planned"]
    assert (kinds(hanging="true"), kinds(hanging="false")) == (["entry", "harvest"], ["planned"])
    assert (kinds(kind="entry"), kinds(source="job:9")) == (["entry"], ["planned"])


@pytest.mark.parametrize("broken", ["ground_and_hung", "decide", "answer_json"])
def test_whatever_breaks_the_api_answers_unknown(cast, api, block, monkeypatch, broken):
    where = {"ground_and_hung": reading, "decide": queries, "answer_json": shapes}[broken]
    real, calls = getattr(where, broken), []

    def fails_once(*args, **kwargs):
        calls.append(args)
        if len(calls) == 1:
            raise RuntimeError("disk")
        return real(*args, **kwargs)

    monkeypatch.setattr(where, broken, fails_once)
    answer = entry(api, cast.staff, block)
    body = answer.json()
    assert (answer.status_code, body["answer"], body["because"][0]["code"]) == (200, "unknown", "fault")
    assert answer["Cache-Control"] == "no-store"


@pytest.mark.parametrize("path", ["blocks/{}/may-i-enter/", "board/"])
def test_a_page_that_cannot_be_made_says_keep_out_and_whom_to_call(cast, browser_client, block, monkeypatch, path):
    def broken(*args, **kwargs):
        raise RuntimeError("disk")

    monkeypatch.setattr(wording, "zone_of", broken)
    answer = browser_client(cast.staff).get("/f/alder-bend/" + path.format(block.pk))
    text = answer.content.decode()
    assert (answer.status_code, answer["Cache-Control"]) == (503, "no-store")
    assert "<title>KEEP OUT / NO ENTRE</title>" in text
    assert 'href="tel:555-0101"' in text
    assert "Entry allowed" not in text


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
    with django_assert_num_queries(2):  # member; blocks with their closures
        client.get("/api/v1/farms/alder-bend/board/")
    with django_assert_num_queries(2):  # member; block with its closures
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
        "No antes del lun 1 de jun, 9:30 p.m. CDT",
        "11 h from now",
        "faltan 11 h",
        'Checked / <span lang="es-US">Revisado</span>: Mon, Jun 1, 10:30 AM CDT',
        'Any work</span> / <span lang="es-US">Cualquier trabajo',
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
        "Vence el lun 1 de jun, 10:00 a.m. CDT",
        'data-good-seconds="1800"',
        "Riego",
    ):
        assert said in text


def test_without_scripts_an_allowed_page_asks_again_when_its_time_is_over(cast, browser_client, block):
    """Three seconds after its end, so that a working script has ended it first; a script that never came is no gap."""
    with time_machine.travel(ENDED, tick=False):
        assert page(browser_client, cast.staff, block)["Refresh"] == "1803"
    sprayed(cast, block)
    with time_machine.travel(ENDED + HOUR, tick=False):
        assert "Refresh" not in page(browser_client, cast.staff, block).headers


@pytest.mark.parametrize(
    ("closure", "english", "spanish"),
    [
        ({"kind": "planned"}, "Spraying is planned now. No end time yet.", "Hay una aplicación planeada ahora."),
        ({"kind": "planned", "starts_at": ENDED - 99 * HOUR}, "Not confirmed. A spray job was not reported.",
         "Sin confirmar. Nadie ha informado de una aplicación."),
        ({"kind": "underway"}, "Spraying now. No end time yet.",
         "Están aplicando ahora. Todavía no hay hora final."),
        ({"kind": "underway", "starts_at": ENDED - 48 * HOUR}, "Not confirmed. A spray job has no finish time.",
         "Sin confirmar. Falta la hora final de una aplicación."),
        ({"kind": "unconfirmed"}, "Not confirmed. A spray record is not signed.",
         "Sin confirmar. Falta firmar el registro de una aplicación."),
        ({"kind": "posted"}, "Waiting for the sign to come down.", "Falta quitar el letrero."),
        ({"reason_code": "rei_missing"}, "Not confirmed. The time to keep out is not known.",
         "Sin confirmar. No se conoce el tiempo sin entrar."),
        ({"reason_code": "until_dry"}, "Waiting for somebody to confirm that it has dried.",
         "Falta confirmar que ya secó."),
    ],
)  # fmt: skip
def test_the_page_says_what_is_missing_in_both_languages(cast, browser_client, block, closure, english, spanish):
    ClosureFactory(block=block, **closure)
    with time_machine.travel(ENDED, tick=False):
        text = page(browser_client, cast.staff, block).content.decode()
    assert "<title>KEEP OUT / NO ENTRE · North Seven</title>" in text
    assert f'<span lang="en-US">{english}</span><span lang="es-US">{spanish}</span>' in text


@pytest.mark.parametrize("language", ["en", "es"])
def test_both_languages_stand_on_the_page_whatever_it_speaks(cast, browser_client, block, language):
    sprayed(cast, block)
    client = browser_client(cast.staff)
    client.cookies["django_language"] = language
    with time_machine.travel(ENDED + HOUR, tick=False):
        text = client.get(f"/f/alder-bend/blocks/{block.pk}/may-i-enter/").content.decode()
    both = ['<span lang="en-US">KEEP OUT</span>', '<span lang="es-US">NO ENTRE</span>']
    assert f'<h1 class="both">{"".join(both if language == "en" else both[::-1])}' in text
    assert "Its restricted-entry interval runs. Do not enter before" in text
    assert "Corre su intervalo de entrada restringida. No entre antes del" in text


def test_an_applicator_confirms_on_the_page_and_staff_cannot(cast, browser_client, block):
    row = ClosureFactory(block=block, reason_code="until_dry", starts_at=ENDED - HOUR)
    answer_at, confirm_at = (f"/f/alder-bend/blocks/{block.pk}/{p}/" for p in ("may-i-enter", "confirm"))
    with time_machine.travel(ENDED + HOUR, tick=False):
        assert confirm_at not in browser_client(cast.staff).get(answer_at).content.decode()
        assert browser_client(cast.staff).post(confirm_at, {f"seen_{row.pk}": "on"}).status_code == 403
        client = browser_client(cast.applicator)
        assert confirm_at in client.get(answer_at).content.decode()
        assert "Demo Cover 40 has dried on the whole block" in client.get(confirm_at).content.decode()
        nothing_ticked = client.post(confirm_at, {})
        assert "Tick what you saw, or go back without confirming." in nothing_ticked.content.decode()
        assert (nothing_ticked.status_code, Closure.rows.get().lifted_at) == (400, None)
        assert client.post(confirm_at, {f"seen_{row.pk}": "on"})["Location"] == answer_at
        assert "Entry allowed" in client.get(answer_at).content.decode()
        assert "Nothing waits for a confirmation on this block." in client.get(confirm_at).content.decode()
    assert Closure.rows.get().lifted_by_id == cast.applicator.person_id


def test_the_confirm_page_takes_only_what_waits_on_this_block(cast, browser_client, block):
    other = ClosureFactory(block=BlockFactory(farm=cast.farm), reason_code="until_dry", starts_at=ENDED - HOUR)
    ClosureFactory(block=block, reason_code="until_dry", starts_at=ENDED - HOUR)
    with time_machine.travel(ENDED + HOUR, tick=False):
        answer = browser_client(cast.applicator).post(
            f"/f/alder-bend/blocks/{block.pk}/confirm/", {f"seen_{other.pk}": "on"}
        )
    assert (answer.status_code, Closure.rows.get(pk=other.pk).lifted_at) == (400, None)


def test_the_board_page_says_the_word_the_time_and_the_hold(cast, browser_client, block):
    sprayed(cast, block)
    BlockFactory(farm=cast.farm, code="A1", name="East One")
    with time_machine.travel(ENDED + HOUR, tick=False):
        text = browser_client(cast.staff).get("/f/alder-bend/board/").content.decode()
    assert "1 block closed" in text
    assert text.index("East One") < text.index("North Seven")
    east, north = text.split("North Seven")
    assert 'data-answer="yes" data-good-seconds="1800"' in east
    for said in ("Keep out", "Not before <strong>Mon, Jun 1, 9:30 PM CDT</strong>", "Do not pick yet",
                 "Not before Thu, Jun 4, 9:30 AM CDT"):  # fmt: skip
        assert said in north


def test_a_fault_shows_keep_out_on_the_page_too(cast, browser_client, block, monkeypatch):
    monkeypatch.setattr(queries, "closures_on", None)
    text = page(browser_client, cast.staff, block).content.decode()
    assert "<title>KEEP OUT / NO ENTRE · North Seven</title>" in text
    assert 'class="answer unknown"' in text


def test_no_page_of_the_board_uses_a_word_that_promises_too_much(cast, browser_client, block):
    sprayed(cast, block)
    for address in ("/f/alder-bend/board/", f"/f/alder-bend/blocks/{block.pk}/may-i-enter/"):
        text = browser_client(cast.staff).get(address).content.decode().lower().replace("«", " ").replace("»", " ")
        words = set(text.replace("<", " ").replace(">", " ").replace(".", " ").split())
        assert words & {"safe", "ok", "clear", "seguro", "libre", "hasta", "danger", "warning", "caution"} == set()
