"""The page at the gate: a code, no account, nothing private, no trace, and no help for guessing."""

from __future__ import annotations

import io
import re
import secrets
from datetime import timedelta

import numpy
import pypdf
import pytest
import zxingcpp
from django.db import DatabaseError, connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from apps.audit.models import AuditEvent
from apps.safety.gate import qr, queries, rules, services
from apps.safety.gate.models import GateCode, GateCount
from apps.safety.rules import EntryInterval, for_signature
from apps.safety.services import hang_closures
from farmops import clock
from farmops.errors import NotYourRole, Refused, Unknown
from tests.factories.land import BlockFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def block(cast):
    return BlockFactory(farm=cast.farm, name="North Seven")


@pytest.fixture
def code(cast, block):
    return services.issue_code(member=cast.manager, block_id=block.pk, now=clock.now())


@pytest.fixture
def anybody():
    return Client()


def _closed(cast, block):
    now = clock.now()
    mix = [EntryInterval(product="Demo A", hours=24)]
    closures = for_signature(block.pk, started_at=now, ended_at=now, intervals=mix, waits=[], zone="America/Chicago")
    hang_closures(farm=cast.farm, member=cast.applicator, source="job:1", closures=closures, now=now)


# ---- the code ----


def test_codes_are_plain_letters_and_far_beyond_guessing():
    made = {rules.make_code(secrets.choice) for _ in range(200)}
    assert len(made) == 200 and {len(code) for code in made} == {rules.CODE_LENGTH}
    assert set("".join(made)) <= set(rules.LETTERS)
    assert set(rules.LETTERS) & set("01ILOU") == set()
    assert len(rules.LETTERS) ** rules.CODE_LENGTH > 2**58


@pytest.mark.parametrize("typed", ["abcd-efgh-jkmn", "ABCD EFGH JKMN", " abcdEFGHjkmn "])
def test_a_code_may_be_typed_in_any_case_with_or_without_dashes(typed):
    assert rules.tidy(typed) == "ABCDEFGHJKMN"
    assert rules.in_groups(rules.tidy(typed)) == "ABCD-EFGH-JKMN"


@pytest.mark.parametrize(("hits", "second", "wait"), [(120, 0, 0), (121, 0, 60), (121, 59, 1), (9999, 30, 30)], ids=str)
def test_how_long_a_connection_waits(hits, second, wait):
    now = clock.now().replace(second=second, microsecond=0)
    assert rules.seconds_to_wait(hits, now) == wait


# ---- what stands on the page ----


def test_an_open_block_is_allowed_with_its_end_and_whom_to_call(anybody, cast, code):
    page = anybody.get(f"/g/{code.code}/")
    text = page.content.decode()
    assert "<title>Entry allowed / Entrada permitida · North Seven</title>" in text
    assert "Good until" in text and "Vence el" in text
    assert f"{cast.farm.contact_name} {cast.farm.contact_phone}" in text
    assert int(page["Refresh"]) == 30 * 60 + 3


def test_a_closed_block_says_keep_out_and_why_without_names_of_people(anybody, cast, block, code):
    cast.farm.contact_name = "Yard office"
    cast.farm.save()
    _closed(cast, block)
    page = anybody.get(f"/g/{code.code}/")
    text = page.content.decode()
    assert "<title>KEEP OUT / NO ENTRE · North Seven</title>" in text
    assert "Sprayed with Demo A." in text and "Se aplicó Demo A." in text
    for private in (cast.applicator.name, cast.manager.name, cast.staff.name, "Set by", "/f/alder-bend/", "alder-bend"):
        assert private not in text
    assert "Refresh" not in page.headers


def test_gate_and_staff_page_give_the_same_answer(anybody, cast, block, code, browser_client):
    staff = browser_client(cast.staff)
    for shut in (False, True):
        if shut:
            _closed(cast, block)
        for work in ("", "picking_by_hand", "irrigation", "driving_closed_cab"):
            at_gate = anybody.get(f"/g/{code.code}/", {"activity": work})
            inside = staff.get(f"/f/alder-bend/blocks/{block.pk}/may-i-enter/", {"activity": work})
            assert at_gate["Farm-Answer"] == inside["Farm-Answer"]
            assert at_gate["Farm-Answer"].startswith("entry=no" if shut else "entry=yes")


def test_it_leaves_no_trace_on_the_phone_and_in_no_cache_or_search_engine(anybody, code):
    page = anybody.get(f"/g/{code.code}/")
    assert not page.cookies
    assert page["Cache-Control"] == "no-store"
    assert page["X-Robots-Tag"] == "noindex, nofollow, noarchive"
    assert page["Referrer-Policy"] == "no-referrer"
    assert "Farm-Reader" not in page.headers and "Keep-Offline" not in page.headers
    assert "csrfmiddlewaretoken" not in page.content.decode()


def test_the_language_is_remembered_by_one_tap_and_nothing_else_is(anybody, code):
    there = f"/g/{code.code}/"
    answer = anybody.post(there, {"language": "es"})
    assert (answer.status_code, answer["Location"], list(answer.cookies)) == (302, there, ["django_language"])
    page = anybody.get(there)
    assert '<html lang="es-US">' in page.content.decode() and "English</button>" in page.content.decode()
    assert not page.cookies
    assert not Client().post(there, {"language": "xx"}).cookies


def test_a_question_that_cannot_be_read_is_judged_by_the_strictest(anybody, code):
    page = anybody.get(f"/g/{code.code}/", {"activity": "dancing"})
    assert "Any work" in page.content.decode() and page.status_code == 200


def test_whatever_breaks_the_page_says_keep_out(anybody, cast, code, monkeypatch):
    monkeypatch.setattr("apps.safety.gate.pages.answer_context", lambda *a, **k: 1 / 0)
    page = anybody.get(f"/g/{code.code}/")
    assert page.status_code == 503
    assert "KEEP OUT" in page.content.decode() and cast.farm.contact_phone in page.content.decode()


def test_a_fault_before_the_farm_is_known_says_keep_out_too(anybody, code, monkeypatch):
    def broken(typed):
        raise DatabaseError("gone")

    monkeypatch.setattr("apps.safety.gate.pages.queries.in_force", broken)
    page = anybody.get(f"/g/{code.code}/")
    assert page.status_code == 503 and "KEEP OUT" in page.content.decode()


# ---- revoked, unknown, guessed ----


def test_a_revoked_code_an_unknown_one_and_a_mistyped_one_are_told_the_same(anybody, cast, code):
    services.revoke_code(member=cast.manager, code_id=code.pk, now=clock.now())
    told = []
    for typed in (code.code, "ZZZZZZZZZZZZ", "short", "x" * 300):
        with CaptureQueriesContext(connection) as asked:
            page = anybody.get(f"/g/{typed}/")
        headers = {k: v for k, v in page.headers.items() if k != "Content-Security-Policy"}
        told.append((page.status_code, page.content, headers, len([q for q in asked if "gatecode" in q["sql"]])))
    assert told[0][0] == 404 and b"KEEP OUT" in told[0][1] and told[0][3] == 1
    assert all(t == told[0] for t in told)


def test_a_new_code_puts_the_old_one_out_of_force(anybody, cast, block, code):
    new = services.issue_code(member=cast.manager, block_id=block.pk, now=clock.now())
    assert anybody.get(f"/g/{code.code}/").status_code == 404
    assert anybody.get(f"/g/{new.code}/").status_code == 200
    code.refresh_from_db()
    assert code.revoked_by_id == cast.manager.person_id
    trail = AuditEvent.objects.filter(subject_type="safety.gatecode").order_by("pk").values_list("verb", "subject_id")
    assert list(trail) == [("issued", str(code.pk)), ("revoked", str(code.pk)), ("issued", str(new.pk))]


def test_only_managers_of_this_farm_issue_and_revoke(cast, block, code):
    for member in (cast.applicator, cast.staff):
        with pytest.raises(NotYourRole):
            services.issue_code(member=member, block_id=block.pk, now=clock.now())
        with pytest.raises(NotYourRole):
            services.revoke_code(member=member, code_id=code.pk, now=clock.now())
    with pytest.raises(Unknown):
        services.issue_code(member=cast.neighbour, block_id=block.pk, now=clock.now())
    with pytest.raises(Unknown):
        services.revoke_code(member=cast.neighbour, code_id=code.pk, now=clock.now())


def test_a_block_no_longer_in_use_gets_no_code_and_its_plate_is_not_answered(anybody, cast, block, code):
    block.archived_at = clock.now()
    block.save()
    with pytest.raises(Refused):
        services.issue_code(member=cast.manager, block_id=block.pk, now=clock.now())
    assert anybody.get(f"/g/{code.code}/")["Farm-Answer"].startswith("entry=unknown harvest=unknown")


# ---- the count ----


def test_one_connection_is_stopped_with_the_time_to_wait_and_says_keep_out(
    anybody, cast, code, browser_client, monkeypatch
):
    at = clock.now().replace(second=10)  # no new minute begins between the questions
    monkeypatch.setattr("farmops.clock.now", lambda: at)
    services.count_question(connection="127.0.0.1", cost=rules.MOST_IN_WINDOW, now=at)
    page = anybody.get(f"/g/{code.code}/")
    assert page.status_code == 429 and b"KEEP OUT" in page.content
    assert 1 <= int(page["Retry-After"]) <= 60
    assert cast.farm.contact_phone not in page.content.decode()
    assert anybody.get(f"/g/{code.code}/", REMOTE_ADDR="192.0.2.77").status_code == 200
    assert browser_client(cast.staff).get(f"/g/{code.code}/").status_code == 200


def test_ten_guesses_a_minute_are_the_most(anybody, code, monkeypatch):
    at = clock.now().replace(second=10)
    monkeypatch.setattr("farmops.clock.now", lambda: at)
    answers = [anybody.get(f"/g/{'Z' * 11}{letter}/").status_code for letter in rules.LETTERS[:14]]
    assert answers == [404] * 10 + [429] * 4
    monkeypatch.setattr("farmops.clock.now", lambda: at + timedelta(minutes=1))
    assert anybody.get(f"/g/{code.code}/").status_code == 200


def test_staff_who_are_logged_in_are_never_counted(cast, block, code, browser_client):
    staff = browser_client(cast.staff)
    for _ in range(3):
        assert staff.get(f"/g/{code.code}/").status_code == 200
    assert GateCount.objects.count() == 0


def test_a_count_that_fails_stops_nobody(anybody, code, monkeypatch):
    def broken(**values):
        raise DatabaseError("locked")

    monkeypatch.setattr("apps.safety.gate.pages.services.count_question", broken)
    assert anybody.get(f"/g/{code.code}/").status_code == 200


def test_counting_costs_the_same_for_the_first_question_and_the_hundredth(cast):
    now = clock.now()
    services.count_question(connection="192.0.2.1", cost=1, now=now)
    costs = []
    for _ in range(3):
        with CaptureQueriesContext(connection) as asked:
            services.count_question(connection="192.0.2.1", cost=1, now=now)
        costs.append(len(asked))
    assert costs == [2, 2, 2]
    assert GateCount.objects.get().hits == 4
    services.count_question(connection="192.0.2.1", cost=1, now=now + timedelta(minutes=5))
    assert GateCount.objects.get().hits == 1


def test_behind_our_proxy_the_proxys_word_counts_not_the_visitors(anybody, code, settings):
    settings.BEHIND_TLS = True
    settings.SECURE_SSL_REDIRECT = False
    anybody.get(f"/g/{code.code}/", headers={"x-forwarded-for": "198.51.100.1, 203.0.113.9"})
    assert GateCount.objects.get().bucket == services.bucket_of("203.0.113.9")


def test_an_answer_at_the_gate_costs_few_queries(anybody, code):
    anybody.get(f"/g/{code.code}/")
    with CaptureQueriesContext(connection) as asked:
        anybody.get(f"/g/{code.code}/")
    assert len(asked) == 5  # two of the count, the code with its block and farm, one for each answer


# ---- plates ----


def pixels(svg: str) -> numpy.ndarray:
    """The square as grey pixels, from the strokes of its own path: M x y, h dx, m dx dy, one unit thick."""
    side = int(re.search(r'viewBox="0 0 (\d+) ', svg)[1]) // 4
    drawn = numpy.full((side, side), 255, dtype=numpy.uint8)
    x = y = 0.0
    for step, first, second in re.findall(r"([Mmh])(-?[\d.]+)(?: (-?[\d.]+))?", re.search(r' d="([^"]+)"', svg)[1]):
        if step == "h":
            drawn[int(y), int(x) : int(x + float(first))] = 0
            x += float(first)
        else:
            x, y = (float(first), float(second)) if step == "M" else (x + float(first), y + float(second))
    return numpy.kron(drawn, numpy.ones((6, 6), dtype=numpy.uint8))


def test_the_square_is_read_back_as_the_address(code, settings):
    settings.SITE_URL = "https://farm.example"
    drawn = qr.svg(code.code, name="Square <of> & block")
    assert "style=" not in drawn and "<title>Square &lt;of&gt; &amp; block</title>" in drawn
    assert zxingcpp.read_barcode(pixels(drawn)).text == f"https://farm.example/g/{code.code}/"


def test_plates_are_printed_for_every_block_with_a_code(cast, block, browser_client):
    BlockFactory(farm=cast.farm, name="South Two")
    manager = browser_client(cast.manager)
    manager.post("/f/alder-bend/gates/", {"once_key": "k" * 12})
    codes = [p.shown for p in queries.plates(cast.farm)]
    assert len(codes) == 2 and all(codes)
    page = manager.get("/f/alder-bend/gates/plates/").content.decode()
    made = manager.get("/f/alder-bend/gates/plates.pdf")
    text = "".join(p.extract_text() for p in pypdf.PdfReader(io.BytesIO(made.content)).pages)
    for shown in codes:
        assert shown in page and shown in text.replace("\n", "")
    for word in ("North Seven", "South Two"):
        assert word in page and word in text
    assert "Sin señal o sin respuesta: no entre." in page and "not a warning sign" in text


def test_codes_over_the_api(cast, block, api):
    manager = api(cast.manager)
    made = manager.post(f"/api/v1/farms/alder-bend/blocks/{block.pk}/gate-code/")
    assert made.status_code == 201 and made.data["address"].endswith(f"/g/{made.data['code']}/")
    listed = manager.get("/api/v1/farms/alder-bend/gate-codes/").data["results"]
    assert [row["code"] for row in listed] == [made.data["code"]]
    gone = manager.post(f"/api/v1/farms/alder-bend/gate-codes/{made.data['id']}/revoke/")
    assert gone.data["revoked_at"] is not None
    assert GateCode.objects.for_farm(cast.farm).get().revoked_at is not None


def test_the_code_can_be_typed(anybody, code):
    assert b"Type the code on the plate" in anybody.get("/g/").content
    answer = anybody.get("/g/", {"code": rules.in_groups(code.code).lower()})
    assert (answer.status_code, answer["Location"]) == (302, f"/g/{code.code}/")
