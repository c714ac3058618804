"""A packet holds what was signed, says what is missing, proves the chain, and gives each only what is theirs."""

from __future__ import annotations

import csv
import hashlib
import io
import json
from datetime import date, timedelta

import pytest
from pypdf import PdfReader
from pypdf.generic import DictionaryObject

from apps.audit.models import AuditEvent
from apps.reminders.models import Notice
from apps.reports.models import Packet
from apps.reports.packet import queue, rules, services, writing
from apps.reports.packet.rules import Ask, Audience, PacketState
from apps.spraying import queries as spraying
from apps.spraying.amending.services import amend_job
from apps.spraying.bringing.services import bring_in
from apps.spraying.models import SprayRecord
from apps.spraying.rules.record import GENESIS, Meaning
from tests.factories.spraying import ENDED, NOW, SIGNED, STARTED, WINDOW

pytestmark = pytest.mark.django_db
ASKED = SIGNED + timedelta(hours=1)
URL = "/api/v1/farms/alder-bend/packets/"
DAYS = {"first_on": "2026-07-01", "last_on": "2026-07-31"}


@pytest.fixture(autouse=True)
def _place(monkeypatch, settings, tmp_path):
    settings.DATA_DIR = tmp_path
    monkeypatch.setattr("farmops.clock.now", lambda: ASKED)


def ask(client, status=201, **values):
    answer = client.post(URL, {"audience": "inspector", **values}, format="json")
    assert answer.status_code == status, answer.content
    return answer.json()


def fetch(client, packet, name) -> bytes:
    answer = client.get(f"{URL}{packet['id']}/files/{name}/")
    assert answer.status_code == 200
    content = b"".join(answer.streaming_content)
    listed = next(f for f in packet["files"] if f["name"] == name)
    assert (len(content), hashlib.sha256(content).hexdigest()) == (listed["bytes"], listed["sha256"])
    return content


def pages_of(content: bytes) -> str:
    text = "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)
    return " ".join(text.split())


def tags_of(content: bytes) -> list[tuple[str, DictionaryObject]]:
    """Every element of the structure tree in reading order, with what it is."""
    found: list[tuple[str, DictionaryObject]] = []

    def walk(node) -> None:
        node = node.get_object() if hasattr(node, "get_object") else node
        if isinstance(node, list):
            for kid in node:
                walk(kid)
        elif isinstance(node, DictionaryObject):
            if "/S" in node:
                found.append((str(node["/S"]), node))
            if "/K" in node:
                walk(node["/K"])

    walk(PdfReader(io.BytesIO(content)).trailer["/Root"]["/StructTreeRoot"]["/K"])
    return found


# ---- the whole packet ------------------------------------------------------------------


@pytest.fixture
def made(bench, api):
    """One signed spray and one that nothing was applied."""
    bench.signed()
    bench.sign(bench.assigned(blocks=[{"block_id": bench.blocks[1].pk}]), now=WINDOW[1], meaning=Meaning.NOT_APPLIED)
    client = api(bench.manager)
    return client, ask(client, **DAYS)


def test_a_short_packet_is_ready_in_the_answer(made):
    _, packet = made
    assert [f["name"] for f in packet["files"]] == ["packet.pdf", "packet.csv", "packet.json"]
    assert {k: packet[k] for k in ("standing", "done", "total", "through_record")} == {
        "standing": "ready",
        "done": 2,
        "total": 2,
        "through_record": 2,
    }
    assert packet["ask"]["first_on"] == "2026-07-01"


def test_the_pdf_says_what_was_signed(made):
    client, packet = made
    said = pages_of(fetch(client, packet, "packet.pdf"))
    for words in (
        "Spray records of Alder Bend Farm",
        "Mon, Jul 6, 2026 8:10 AM – 9:40 AM CDT",
        "N1 North 1 (",
        "Demo Shield: 46.72 fl oz, 5 fl oz/acre",
        "Luis Mora, 12345 (IN)",
        "start: SW 5 mph, 72 °F, 60 %",
        "N1 entry: 12 h, ends Mon, Jul 6, 2026, 9:40 PM CDT",
        "I made this application as written above.",
        "Nothing was applied.",
        "Reason: rain came in",
    ):
        assert words in said, words


def test_the_pdf_opens_with_what_is_missing_and_ends_with_the_proof(made, bench):
    client, packet = made
    said = pages_of(fetch(client, packet, "packet.pdf"))
    order = [
        "What this is",
        "Sprays without a signed record None: every spray of these days has its signed record.",
        "Late records, and blanks in records",
        "What is left out, and why",
        "Signed records, every version",
        "Hashes of these records",
        "All 2 signed records of the farm, from record 1 through record 2, stand on each other.",
    ]
    places = [said.index(words) for words in order]
    assert places == sorted(places)
    head = SprayRecord.objects.for_farm(bench.farm).get(seq=2).hash
    assert f"Head of the chain: {head}" in said
    assert "registration number" in said[places[2] : places[3]]


def test_the_pdf_can_be_read_aloud(made):
    """PDF/UA-1 asks for title, language, tags and table headers: read from the structure tree itself."""
    client, packet = made
    content = fetch(client, packet, "packet.pdf")
    reader = PdfReader(io.BytesIO(content))
    root = reader.trailer["/Root"]
    assert (reader.metadata.title, str(root["/Lang"]).lower()[:2]) == ("Spray records of Alder Bend Farm", "en")
    assert root["/MarkInfo"]["/Marked"] == True  # noqa: E712 - a PDF boolean
    assert root["/ViewerPreferences"]["/DisplayDocTitle"] == True  # noqa: E712
    tags = tags_of(content)
    names = [name for name, _ in tags]
    assert names.count("/Table") == 3
    assert [n for n in names if n in ("/H1", "/H2")] == ["/H1", *["/H2"] * 7]
    assert names.count("/TH") == 3 + 8 + 2
    scopes = {str(part["/Scope"]) for name, node in tags if name == "/TH" for part in node["/A"] if "/Scope" in part}
    assert scopes == {"/Column"}
    xmp = root["/Metadata"].get_data().decode()
    assert "pdfaid" in xmp and "pdfuaid" in xmp


def test_the_same_records_give_the_same_bytes(made, bench, tmp_path):
    found = []
    for name in ("one", "two"):
        folder = tmp_path / name
        folder.mkdir()
        made_now = writing.write(writing.plan(bench.farm, Ask(audience=Audience.INSPECTOR), ASKED), folder)
        found.append(made_now.files)
    assert found[0] == found[1]


def test_the_json_proves_itself(made):
    """Anybody can check the chain from the file alone, with nothing but SHA-256."""
    client, packet = made
    told = json.loads(fetch(client, packet, "packet.json"))
    stands_on = GENESIS
    for record in sorted(told["records"], key=lambda r: r["record"]):
        assert record["prev_hash"] == stands_on
        text = b"v1\0" + bytes.fromhex(stands_on) + record["body_text"].encode()
        stands_on = hashlib.sha256(text).hexdigest()
        assert record["hash"] == stands_on
    assert told["chain"] == {"records": 2, "through_record": 2, "head": stands_on, "fault": None}
    assert told["missing"]["jobs_without_record"] == []


def test_the_csv_has_a_line_for_each_version_and_what_it_lacks(made):
    client, packet = made
    text = fetch(client, packet, "packet.csv").decode("utf-8")
    rows = list(csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline="")))
    rows.sort(key=lambda r: r["record"])
    assert [(r["record"], r["meaning"], r["as_of"]) for r in rows] == [
        ("1", "applied", "2026-07-06T16:10:00+00:00"),
        ("2", "not_applied", "2026-07-06T16:10:00+00:00"),
    ]
    assert "registration number" in rows[0]["missing"]
    assert rows[1]["missing"] == ""


def test_a_broken_chain_is_said_in_capitals(made, bench, api):
    from apps.audit import triggers

    triggers.remove()
    row = SprayRecord.objects.for_farm(bench.farm).get(seq=1)
    SprayRecord.objects.for_farm(bench.farm).filter(pk=row.pk).update(
        body_text=row.body_text.replace('"amount":"46.72"', '"amount":"40"')
    )
    triggers.install()
    client = api(bench.manager)
    packet = ask(client, **DAYS)
    said = pages_of(fetch(client, packet, "packet.pdf"))
    assert "THE CHAIN IS BROKEN at record 1: its text was changed after signing." in said
    assert json.loads(fetch(client, packet, "packet.json"))["chain"]["fault"]["where"] == "record 1"


def test_a_spray_nobody_signed_stands_in_front(bench, api):
    bench.sprayed()
    client = api(bench.manager)
    packet = ask(client, **DAYS)
    said = pages_of(fetch(client, packet, "packet.pdf"))
    assert packet["findings"] == 1
    assert "Sprays without a signed record Job When Where State 1 Mon, Jul 6, 2026" in said
    told = json.loads(fetch(client, packet, "packet.json"))
    assert [j["job"] for j in told["missing"]["jobs_without_record"]] == [1]


@pytest.mark.parametrize(
    ("asked", "count"),
    [
        ({"first_on": "2026-07-06", "last_on": "2026-07-06"}, 1),
        ({"first_on": "2026-07-07"}, 0),
        ({"last_on": "2026-07-05"}, 0),
        ({"block": 0}, 1),
        ({"block": 1}, 0),
        ({"product": True}, 1),
        ({"product": False}, 0),
        ({}, 1),
    ],
    ids=str,
)
def test_only_what_was_asked_for_is_in_it(bench, api, asked, count):
    bench.signed()
    values = dict(asked)
    if "block" in values:
        values["block_id"] = bench.blocks[values.pop("block")].pk
    if "product" in values:
        other = bench.product_of("Demo Other", bench.label.body)
        values["product_id"] = bench.product.pk if values.pop("product") else other.pk
    assert ask(api(bench.manager), **values)["total"] == count


def test_spanish_is_spoken_when_it_is_asked_for(bench, api):
    bench.signed()
    client = api(bench.manager)
    content = fetch(client, ask(client, language="es", **DAYS), "packet.pdf")
    assert str(PdfReader(io.BytesIO(content)).trailer["/Root"]["/Lang"]).lower()[:2] == "es"
    assert "lunes 6 de julio de 2026" in pages_of(content)


# ---- corrected, withdrawn, brought in --------------------------------------------------


def corrected(bench):
    """A signed spray whose end was put right, a day later, and signed again."""
    first = bench.signed()
    job = spraying.job(bench.farm, first.job_id)
    done = bench.done_values(job, ended_at=ENDED + timedelta(minutes=20))
    job = amend_job(
        member=bench.applicator,
        job_id=job.pk,
        done=done,
        reason="the end was written wrong",
        now=SIGNED + timedelta(minutes=10),
    )
    return first, bench.sign(spraying.job(bench.farm, job.pk), now=SIGNED + timedelta(minutes=20))


def test_both_versions_of_a_corrected_record_are_in_it_the_old_one_marked(bench, api):
    first, second = corrected(bench)
    client = api(bench.manager)
    packet = ask(client, **DAYS)
    said = pages_of(fetch(client, packet, "packet.pdf"))
    assert f"REPLACED by record {second.seq}" in said
    assert f"version 2 in place of record {first.seq}" in said
    assert ("8:10 AM – 9:40 AM CDT" in said, "8:10 AM – 10:00 AM CDT" in said) == (True, True)
    assert "the end was written wrong" in said
    told = json.loads(fetch(client, packet, "packet.json"))
    assert [(r["record"], r["edition"], r["replaced_by_record"]) for r in told["records"]] == [
        (first.seq, 1, second.seq),
        (second.seq, 2, None),
    ]
    assert told["records"][0]["missing"] == []  # only what stands is held against the rules


def test_a_worker_reads_only_what_stands_and_that_it_was_corrected(bench, cast, api):
    corrected(bench)
    client = api(cast.staff)
    said = pages_of(fetch(client, ask(client, audience="worker", **DAYS), "packet.pdf"))
    assert ("9:40 AM – " in said, "8:10 AM – 9:40 AM" in said, "8:10 AM – 10:00 AM CDT" in said) == (False, False, True)
    assert "signed, corrected (record 2)" in said


def test_a_spray_moved_to_another_day_is_still_found_under_the_old_one(bench, api):
    first = bench.signed()
    job = spraying.job(bench.farm, first.job_id)
    day = timedelta(days=1)
    done = bench.done_values(job, started_at=STARTED - day, ended_at=ENDED - day)
    reason = "it was the day before"
    amend_job(member=bench.applicator, job_id=job.pk, done=done, reason=reason, now=SIGNED + timedelta(minutes=10))
    bench.sign(spraying.job(bench.farm, job.pk), now=SIGNED + timedelta(minutes=20))
    client = api(bench.manager)
    assert ask(client, first_on="2026-07-06", last_on="2026-07-06")["total"] == 2
    assert ask(client, first_on="2026-07-05", last_on="2026-07-05")["total"] == 2
    assert ask(client, first_on="2026-07-07")["total"] == 0


@pytest.fixture
def past(bench):
    """One application of June, brought in from a file."""
    text = "date,block,product,amount,unit,acres\n2026-06-20,N1,Demo Shield,40,fl oz,8\n"
    bring_in(member=bench.manager, name="june.csv", text=text, now=NOW)
    return {"first_on": "2026-06-01", "last_on": "2026-06-30"}


def test_what_was_brought_in_stands_apart_and_is_said_to_be_unsigned(bench, past, api):
    client = api(bench.manager)
    packet = ask(client, **past)
    said = pages_of(fetch(client, packet, "packet.pdf"))
    assert "1 applications of these days were brought in from files. Nobody signed them in this book." in said
    assert "june.csv, 2" in said
    told = json.loads(fetch(client, packet, "packet.json"))
    assert [(b["block"], b["amount"], b["signed_here"]) for b in told["brought_in"]] == [("N1", "40.0000", False)]
    assert told["records"] == []


def test_a_worker_reads_what_was_brought_in_and_that_its_entry_time_is_not_known(bench, past, cast, api):
    client = api(cast.staff)
    said = pages_of(fetch(client, ask(client, audience="worker", **past), "packet.pdf"))
    assert "brought in, not signed here" in said
    assert "not known: take the longest time on the label" in said


# ---- what workers get ------------------------------------------------------------------


PRIVATE = ("Luis Mora", "12345", "mph", "fl oz", "as planned for the week", "body_text")


def everything(client, packet) -> str:
    parts = [pages_of(fetch(client, packet, "packet.pdf"))]
    parts += [fetch(client, packet, name).decode() for name in ("packet.csv", "packet.json")]
    return "\n".join(parts)


def test_a_worker_gets_the_application_information_and_nothing_about_anybody(bench, cast, api):
    bench.signed()
    client = api(cast.staff)
    said = everything(client, ask(client, audience="worker", **DAYS))
    assert [word for word in PRIVATE if word in said] == []
    for words in (
        "Pesticide application information of Alder Bend Farm for Ana Ruiz",
        "Demo Shield",
        "quinoxyfen",
        "Winter squash",
        "12 h, ends Mon, Jul 6, 2026, 9:40 PM CDT",
        "40 CFR 170.311(b)(7)",
    ):
        assert words in said, words


def test_a_spray_that_is_not_signed_yet_is_not_hidden_from_a_worker(bench, cast, api):
    bench.sprayed()
    client = api(cast.staff)
    said = everything(client, ask(client, audience="worker", **DAYS))
    assert "not signed yet" in said
    assert "Demo Shield" in said


def test_a_doctor_gets_the_amounts_too(bench, api):
    bench.signed()
    client = api(bench.applicator)
    about = {"audience": "doctor", "about": "Ana Ruiz", "asked_for_by": "Dr. Nilsen, county clinic"}
    said = everything(client, ask(client, **about, **DAYS))
    assert "46.72 fl oz" in said
    assert "Dr. Nilsen, county clinic" in said
    assert [word for word in ("Luis Mora", "12345", "mph") if word in said] == []


@pytest.mark.parametrize(
    ("asked", "fields"),
    [
        ({"audience": "representative"}, {"about", "first_on", "last_on", "asked_for_by", "named_on"}),
        ({"audience": "doctor", "about": "Ana Ruiz", **DAYS}, {"asked_for_by"}),
        (
            {"audience": "representative", "about": "A", "asked_for_by": "B", "named_on": "2026-07-08", **DAYS},
            {"named_on"},
        ),
        ({"audience": "inspector", "first_on": "2026-07-02", "last_on": "2026-07-01"}, {"last_on"}),
        ({"audience": "inspector", "first_on": "0206-07-02"}, {"first_on"}),
        ({"audience": "inspector", "block_id": 987654}, {"block_id"}),
        ({"audience": "inspector", "product_id": 987654}, {"product_id"}),
        ({"audience": "owner"}, {"audience"}),
    ],
    ids=lambda value: str(value) if isinstance(value, dict) else ",".join(sorted(value)),
)
def test_what_is_missing_from_an_ask_is_named(cast, api, asked, fields):
    answer = api(cast.manager).post(URL, asked, format="json")
    assert (answer.status_code, set(answer.json()["errors"])) == (400, fields)
    assert Packet.objects.for_farm(cast.farm).count() == 0


def test_a_worker_may_ask_only_about_themselves(cast, api):
    for asked in (
        {"audience": "inspector"},
        {"audience": "worker", "about": "Luis Mora", **DAYS},
        {"audience": "doctor", "about": "Ana Ruiz", "asked_for_by": "x", **DAYS},
    ):
        answer = api(cast.staff).post(URL, asked, format="json")
        assert answer.status_code == 403
        assert "This needs one of: manager / applicator." in answer.content.decode()


def test_a_worker_sees_no_packet_of_others(bench, cast, api):
    bench.signed()
    theirs = ask(api(bench.manager), **DAYS)
    mine = ask(api(cast.staff), audience="worker", **DAYS)
    listed = api(cast.staff).get(URL).json()["results"]
    assert [p["id"] for p in listed] == [mine["id"]]
    assert api(cast.staff).get(f"{URL}{theirs['id']}/").status_code == 404
    answer = api(cast.staff).get(f"{URL}{theirs['id']}/files/packet.json/")
    assert (answer.status_code, answer.json()["detail"]) == (404, "No such entry in this farm's book.")


@pytest.mark.parametrize("name", ["spool.jsonl", "..", "packet.pdf.bak", "%2e%2e%2ffarm.sqlite3"])
def test_no_other_file_can_be_fetched(made, name):
    client, packet = made
    assert client.get(f"{URL}{packet['id']}/files/{name}/").status_code == 404


def test_asking_making_and_fetching_are_in_the_trail(made, bench):
    client, packet = made
    fetch(client, packet, "packet.csv")
    rows = AuditEvent.objects.filter(farm=bench.farm, subject_type="reports.packet").order_by("id")
    assert [(r.actor_name, r.verb) for r in rows] == [
        ("Ines Prado", "asked for"),
        ("the farm book", "made"),
        ("Ines Prado", "fetched"),
    ]
    assert rows[2].after == {"file": "packet.csv"}


def test_a_fetched_file_is_never_shown_or_kept_by_the_browser(made):
    client, packet = made
    answer = client.get(f"{URL}{packet['id']}/files/packet.pdf/")
    assert answer["Content-Disposition"] == 'attachment; filename="packet.pdf"'
    assert (answer["X-Content-Type-Options"], answer["Cache-Control"]) == ("nosniff", "no-store")


# ---- long ones -------------------------------------------------------------------------


@pytest.fixture
def long(monkeypatch):
    monkeypatch.setattr(rules, "SMALL", -1)


def test_a_long_packet_waits_and_a_notice_tells_when_it_is_ready(bench, api, long):
    bench.signed()
    client = api(bench.manager)
    packet = ask(client, **DAYS)
    assert (packet["standing"], packet["files"]) == ("waiting", [])
    assert queue.work_off(bench.farm, ASKED) == []
    assert client.get(f"{URL}{packet['id']}/").json()["standing"] == "ready"
    notice = Notice.objects.for_farm(bench.farm).get(kind="packet_ready")
    assert (notice.person_id, notice.numbers, notice.path) == (
        bench.manager.person_id,
        {"n": "1"},
        f"/f/alder-bend/packets/{packet['id']}/",
    )


def test_many_records_come_in_parts_that_each_stand_alone(bench, api, monkeypatch):
    """Each part is set in a process of its own."""
    monkeypatch.setattr(writing, "PART", 1)
    monkeypatch.setattr(writing, "SMALL_SHEET", 0)
    bench.signed()
    bench.signed(blocks=[{"block_id": bench.blocks[1].pk}])
    client = api(bench.manager)
    packet = ask(client, **DAYS)
    assert [f["name"] for f in packet["files"][:2]] == ["packet-1.pdf", "packet-2.pdf"]
    first, second = (pages_of(fetch(client, packet, f["name"])) for f in packet["files"][:2])
    assert (
        "2 PDFs; this is the first." in first,
        "Late records, and blanks in records" in first,
        "Proof of the chain" in first,
    ) == (
        True,
        True,
        False,
    )
    assert (
        "Spray records of Alder Bend Farm, part 2" in second,
        "N2 North 2" in second,
        "Proof of the chain" in second,
    ) == (True, True, True)


def test_a_part_that_cannot_be_set_is_a_fault_not_a_gap(bench, tmp_path):
    from apps.reports.packet.press import Press, PressFault

    with Press(tmp_path, "en", ASKED) as press:
        press.apart("packet.pdf", {"title": "no sections"}, "no sections")
        with pytest.raises(PressFault):
            press.finish()
    assert not (tmp_path / "packet.pdf").exists()


class Killed(BaseException):
    """As when the process is gone: nothing afterwards runs."""


@pytest.mark.parametrize("step", ["_write_records", "_write_json", "_Paper", "_listed"])
def test_a_process_that_dies_leaves_no_half_packet(bench, api, long, monkeypatch, step):
    bench.signed()
    packet = ask(api(bench.manager), **DAYS)

    def die(*args, **kwargs):
        raise Killed

    with monkeypatch.context() as patched:
        patched.setattr(writing, step, die)
        with pytest.raises(Killed):
            queue.work_off(bench.farm, ASKED)
    row = Packet.objects.for_farm(bench.farm).get()
    assert (row.state, row.files) == (PacketState.MAKING, [])
    queue.work_off(bench.farm, ASKED + timedelta(seconds=30))  # the lease still runs
    assert Packet.objects.for_farm(bench.farm).get().state == PacketState.MAKING
    later = ASKED + rules.LEASE + timedelta(seconds=30)
    queue.work_off(bench.farm, later)
    row = Packet.objects.for_farm(bench.farm).get()
    assert (row.state, row.tries, len(row.files)) == (PacketState.READY, 2, 3)
    queue.work_off(bench.farm, later)
    assert [p.name for p in services.folder_of(bench.farm).iterdir()] == [row.folder]
    assert packet["id"] == row.pk


def test_a_packet_that_fails_is_given_up_and_said(bench, api, long, monkeypatch):
    bench.signed()
    ask(api(bench.manager), **DAYS)
    monkeypatch.setattr(writing, "_write_json", lambda *args: 1 / 0)
    for tried in range(rules.MAX_TRIES):
        queue.work_off(bench.farm, ASKED + timedelta(minutes=5 * tried))
    row = Packet.objects.for_farm(bench.farm).get()
    assert (row.state, row.last_error) == (PacketState.FAILED, "ZeroDivisionError: division by zero")
    assert Notice.objects.for_farm(bench.farm).filter(kind="packet_failed").count() == 1


def test_who_woke_up_too_late_writes_nothing(bench, api, long, monkeypatch):
    """The first process sleeps through its lease; the second makes the packet; the first then gives way."""
    bench.signed()
    ask(api(bench.manager), **DAYS)
    plain, woken = writing._write_json, []

    def sleepy(*args):
        if not woken:
            woken.append(True)
            later = ASKED + rules.LEASE + timedelta(seconds=1)
            assert services.make(farm=bench.farm, packet_id=Packet.objects.for_farm(bench.farm).get().pk, now=later)
        plain(*args)

    monkeypatch.setattr(writing, "_write_json", sleepy)
    queue.work_off(bench.farm, ASKED)
    row = Packet.objects.for_farm(bench.farm).get()
    assert (row.state, row.tries) == (PacketState.READY, 2)
    assert [p.name for p in services.folder_of(bench.farm).iterdir()] == [row.folder]
    assert AuditEvent.objects.filter(verb="made", subject_type="reports.packet").count() == 1


def test_files_are_taken_away_in_time(made, bench):
    client, packet = made
    queue.work_off(bench.farm, ASKED + rules.LIFE + timedelta(minutes=1))
    assert client.get(f"{URL}{packet['id']}/").json()["standing"] == "expired"
    assert list(services.folder_of(bench.farm).iterdir()) == []
    answer = client.get(f"{URL}{packet['id']}/files/packet.pdf/")
    assert (answer.status_code, answer.json()["detail"]) == (404, "This file is not there. Ask for the packet again.")


def test_what_is_signed_while_a_packet_is_made_is_not_half_in_it(bench, api, monkeypatch):
    """The newest record is fixed before the first line is written; the proof goes through the same record."""
    bench.signed()
    plain = writing._write_records

    def sign_first(*args):
        bench.signed(blocks=[{"block_id": bench.blocks[1].pk}])
        plain(*args)

    monkeypatch.setattr(writing, "_write_records", sign_first)
    client = api(bench.manager)
    packet = ask(client, **DAYS)
    told = json.loads(fetch(client, packet, "packet.json"))
    assert ([r["record"] for r in told["records"]], told["chain"]["records"]) == ([1], 1)
    assert SprayRecord.objects.for_farm(bench.farm).count() == 2


# ---- the other doors -------------------------------------------------------------------


def test_the_page_asks_shows_and_gives(bench, browser_client):
    bench.signed()
    client = browser_client(bench.manager)
    answer = client.post("/f/alder-bend/packets/", {"audience": "inspector", "language": "en", **DAYS})
    assert answer.status_code == 302
    html = client.get(answer["Location"]).content.decode()
    assert "packet.pdf" in html and "40 CFR" not in html.split("Left out")[1].split("</dd>")[0]
    content = b"".join(client.get(f"{answer['Location']}files/packet.csv/").streaming_content)
    assert content.decode().startswith("\ufeffrecord,")
    assert "Packet " in client.get("/f/alder-bend/packets/").content.decode()


def test_a_workers_page_asks_only_for_days(cast, browser_client):
    client = browser_client(cast.staff)
    html = client.get("/f/alder-bend/packets/").content.decode()
    assert ('name="first_on"' in html, 'name="audience"' in html, 'name="about"' in html) == (True, False, False)
    answer = client.post("/f/alder-bend/packets/", {"language": "es", **DAYS})
    assert answer.status_code == 302
    row = Packet.objects.for_farm(cast.farm).get()
    assert (row.ask["audience"], row.ask["about"], row.ask["first_on"]) == ("worker", "Ana Ruiz", "2026-07-01")


def test_the_command_writes_the_same_files(made, bench, tmp_path, capsys):
    from django.core.management import call_command

    client, packet = made
    call_command("packet", "alder-bend", str(tmp_path / "out"), "--from", "2026-07-01", "--to", "2026-07-31")
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["packet.csv", "packet.json", "packet.pdf"]
    assert (tmp_path / "out" / "packet.csv").read_bytes() == fetch(client, packet, "packet.csv")
    assert "2 records, " in capsys.readouterr().out
    assert AuditEvent.objects.filter(verb="wrote a packet of").get().after["first_on"] == "2026-07-01"


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["nowhere"], "There is no farm nowhere."),
        (["alder-bend", "--block", "ZZ"], "There is no block ZZ."),
        (["alder-bend", "--for", "doctor"], "about: Enter the name of the worker or handler it is about."),
    ],
    ids=["farm", "block", "doctor"],
)
def test_the_command_says_what_it_cannot_find(cast, tmp_path, words, said):
    from django.core.management import CommandError, call_command

    with pytest.raises(CommandError, match=said):
        call_command("packet", words[0], str(tmp_path / "out"), *words[1:])


def test_an_ask_is_kept_as_it_was():
    ask_of = Ask(audience=Audience.DOCTOR, first_on=date(2026, 7, 1), about="A", asked_for_by="B", block_id=3)
    assert rules.read_ask(json.loads(json.dumps(ask_of.as_json()))) == ask_of
