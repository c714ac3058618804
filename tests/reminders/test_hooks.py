"""Calls to other programs: signed by the open form, bounded, retried, never to the inside, none held up by another."""

from __future__ import annotations

import base64
import hashlib
import hmac
import socket
import threading
import time
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

import pytest

from apps.reminders import services
from apps.reminders.delivery import hooks, posting
from apps.reminders.delivery.outbox import Passing
from apps.reminders.models import Call, Endpoint, Notice
from apps.reminders.rules import hooks as rules
from farmops.errors import BadInput, NotYourRole

pytestmark = pytest.mark.django_db
NOON = datetime(2026, 6, 1, 17, 0, tzinfo=UTC)


class Program:
    """Another program: notes what it is sent and answers as told; "drip" and "silence" never come to an end."""

    def __init__(self) -> None:
        self.answer: int | str = 204
        self.leads_to = "http://127.0.0.1:1/"
        self.taken: list[tuple[dict[str, str], bytes]] = []
        program = self

        class Talk(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                program.taken.append(({k.lower(): v for k, v in self.headers.items()}, body))
                program.reply(self)

            def log_message(self, *args) -> None: ...

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Talk)
        self.server.daemon_threads, self.server.block_on_close = True, False
        threading.Thread(target=self.server.serve_forever, daemon=True).start()

    def reply(self, talk: BaseHTTPRequestHandler) -> None:
        if self.answer == "silence":
            time.sleep(5)
        elif self.answer == "drip":
            for _ in range(100):
                talk.wfile.write(b"HTTP/1.1 200 OK\r\nX: " if _ == 0 else b"x")
                talk.wfile.flush()
                time.sleep(0.05)
        elif self.answer == "heads":
            talk.wfile.write(b"HTTP/1.1 200 OK\r\n")
            for n in range(100_000):
                talk.wfile.write(b"X-%d: more\r\n" % n)
        elif self.answer == "endless":
            talk.send_response(200)
            talk.end_headers()
            for _ in range(2000):
                talk.wfile.write(b"x" * 65536)
        else:
            talk.send_response(int(self.answer))
            talk.send_header("Location", self.leads_to)
            talk.send_header("Content-Length", "0")
            talk.end_headers()

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self.server.server_address[1]}/farm?x=1"


@pytest.fixture
def program(settings):
    settings.WEBHOOKS_MAY_STAY_INSIDE = True
    made = Program()
    yield made
    made.server.shutdown()
    made.server.server_close()


@pytest.fixture
def endpoint(cast, program) -> Endpoint:
    return services.add_endpoint(member=cast.manager, url=program.url, kinds=[], now=NOON)[0]


def tell(cast, occasion: str = "once", kind: str = "sign_down_due") -> None:
    services.tell(
        farm=cast.farm, kind=kind, subject=("sign", 7), occasion=occasion, template="Take sign {n} down.",
        to=[cast.staff.person_id, cast.manager.person_id], numbers={"n": "7"}, path="/f/alder-bend/", now=NOON,
    )  # fmt: skip


def deliver(at: datetime = NOON):
    return hooks.deliver(Passing(at))


def test_one_call_for_a_notice_however_many_hear_it(cast, program, endpoint):
    tell(cast)
    tell(cast)
    assert [deliver().sent, deliver().sent] == [1, 0]
    headers, body = program.taken[0]
    call = Call.rows.get()
    assert (headers["webhook-id"], headers["content-type"]) == (call.message_id, "application/json")
    assert body.decode() == (
        '{"data":{"ends_at":null,"farm":"alder-bend","kind":"sign_down_due","level":"do_today","occasion":"once",'
        '"path":"/f/alder-bend/","sentence":"Take sign 7 down.","starts_at":null,"subject_id":"7",'
        '"subject_type":"sign","turn":1},"timestamp":"2026-06-01T17:00:00+00:00","type":"notice.told"}'
    )


# A key, an id, a time and a body, signed here by hand from the text of the open specification:
# HMAC-SHA256 over "id.timestamp.body" with the base64-decoded part of the secret after "whsec_".
def test_the_signature_is_that_of_the_open_form(cast, program, endpoint):
    tell(cast)
    deliver()
    headers, body = program.taken[0]
    key = base64.b64decode(endpoint.secret.removeprefix("whsec_"))
    signed = b".".join([headers["webhook-id"].encode(), headers["webhook-timestamp"].encode(), body])
    mark = base64.b64encode(hmac.new(key, signed, hashlib.sha256).digest()).decode()
    assert (headers["webhook-signature"], len(key)) == (f"v1,{mark}", 32)


def test_while_a_secret_is_changed_both_sign(cast, program, endpoint):
    _, fresh = services.new_secret(member=cast.manager, endpoint_id=endpoint.pk, now=NOON)
    for n, at in enumerate((NOON, NOON + rules.OLD_SECRET_LIFE + timedelta(seconds=1))):
        tell(cast, occasion=str(n))
        deliver(at)
    found = [headers["webhook-signature"].split() for headers, _ in program.taken]
    secrets = [[fresh, endpoint.secret], [fresh]]
    for (headers, body), marks, expected in zip(program.taken, found, secrets, strict=True):
        given = {"message_id": headers["webhook-id"], "timestamp": int(headers["webhook-timestamp"]), "body": body}
        assert marks == rules.sign(expected, **given).split()


def test_what_is_taken_back_is_said_too_and_only_wanted_kinds_are(cast, program):
    services.add_endpoint(member=cast.manager, url=program.url, kinds=["sign_down_due"], now=NOON)
    tell(cast)
    tell(cast, kind="sign_up_due")
    services.withdraw(farm=cast.farm, kind="sign_down_due", subject=("sign", 7), now=NOON)
    deliver()
    assert list(Call.rows.order_by("id").values_list("event", "kind")) == [
        ("told", "sign_down_due"), ("withdrawn", "sign_down_due")
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("answer", "said"),
    [
        (500, "it answered 500"),
        (302, "it answered 302: a redirection is not followed"),
        (404, "it answered 404"),
        ("silence", "no answer within 0.5 s"),
        ("drip", "no answer within 0.5 s"),
    ],
)
def test_trouble_is_put_off_and_tried_again_with_the_same_id(cast, program, endpoint, monkeypatch, answer, said):
    monkeypatch.setattr(rules, "TIMEOUT_SECONDS", 0.5)
    program.answer = answer
    tell(cast)
    begun = time.monotonic()
    assert (deliver().failed, time.monotonic() - begun < 2) == (1, True)
    call, endpoint = Call.rows.get(), Endpoint.rows.get()
    assert (call.last_error, endpoint.last_error, endpoint.failures, call.outcome) == (said, said, 1, "")
    assert timedelta(seconds=5) <= call.due_at - NOON <= timedelta(seconds=8)
    program.answer = 200
    assert (deliver(NOON + timedelta(seconds=4)).sent, deliver(NOON + timedelta(seconds=10)).sent) == (0, 1)
    assert len({headers["webhook-id"] for headers, _ in program.taken}) == 1
    assert Endpoint.rows.get().failures == 0


def test_an_endless_answer_is_not_read(cast, program, endpoint):
    program.answer = "endless"
    tell(cast)
    begun = time.monotonic()
    assert (deliver().sent, time.monotonic() - begun < 3) == (1, True)


def test_endless_headers_are_a_failure_that_is_tried_again(cast, program, endpoint):
    program.answer = "heads"
    tell(cast)
    begun = time.monotonic()
    assert (deliver().failed, time.monotonic() - begun < 3) == (1, True)
    assert (Call.rows.get().outcome, Endpoint.rows.get().failures) == ("", 1)


def test_a_redirection_to_an_inner_address_reaches_nobody_there(cast, program, endpoint):
    inner = Program()
    program.answer, program.leads_to = 307, inner.url
    tell(cast)
    assert (deliver().failed, len(program.taken), inner.taken) == (1, 1, [])
    inner.server.shutdown()


def test_one_that_hangs_holds_up_no_other(cast, program, monkeypatch):
    monkeypatch.setattr(rules, "TIMEOUT_SECONDS", 1.0)
    slow = Program()
    slow.answer = "silence"
    for url in (slow.url, program.url):
        services.add_endpoint(member=cast.manager, url=url, kinds=[], now=NOON)
    for n in range(5):
        tell(cast, occasion=str(n))
    begun = time.monotonic()
    done = deliver()
    assert (done.sent, done.failed, time.monotonic() - begun < 4) == (5, 1, True)
    slow.server.shutdown()


def test_ten_tries_over_days_then_it_is_given_up(cast, program, endpoint, monkeypatch):
    program.answer = 503
    monkeypatch.setattr(hooks, "OFF_AFTER", timedelta(days=99))
    tell(cast)
    at, tries = NOON, 0
    while Call.rows.get(kind="sign_down_due").done_at is None:
        at, tries = Call.rows.get(kind="sign_down_due").due_at + timedelta(seconds=1), tries + 1
        deliver(at)
    assert (tries, Call.rows.get(kind="sign_down_due").outcome) == (10, "given_up")
    assert timedelta(hours=75) < at - NOON < timedelta(hours=92)


def test_the_managers_hear_of_it_after_three_failures_and_it_is_taken_back_when_it_is_over(cast, program, endpoint):
    program.answer = 503
    tell(cast)
    at = NOON
    for _ in range(4):
        deliver(at)
        at = Call.rows.get().due_at + timedelta(seconds=1)
    told = Notice.rows.filter(kind="webhook_failing")
    assert list(told.values_list("person_id", "withdrawn_at")) == [(cast.manager.person_id, None)]
    assert Call.rows.filter(kind="webhook_failing").count() == 0
    program.answer = 200
    deliver(at)
    assert told.get().withdrawn_at is not None


def test_gone_turns_it_off_at_once(cast, program, endpoint):
    program.answer = 410
    tell(cast, occasion="first")
    tell(cast, occasion="second")
    deliver()
    row = Endpoint.rows.get()
    assert (row.off_because, row.last_error) == ("gone", "it answered 410")
    assert list(Call.rows.values_list("outcome", flat=True)) == ["dropped", "dropped"]
    assert Notice.rows.filter(kind="webhook_off", person_id=cast.manager.person_id).count() == 1


def test_five_days_of_nothing_turn_it_off(cast, program, endpoint):
    program.answer = 500
    tell(cast)
    deliver()
    Call.rows.update(due_at=NOON)
    Endpoint.rows.update(retry_at=None)
    deliver(NOON + timedelta(days=5, seconds=9))
    assert Endpoint.rows.get().off_because == "failing"


def test_turned_on_again_it_is_told_what_comes_next_only(cast, program, endpoint):
    services.turn_endpoint(member=cast.manager, endpoint_id=endpoint.pk, on=False, now=NOON)
    tell(cast, occasion="while off")
    services.turn_endpoint(member=cast.manager, endpoint_id=endpoint.pk, on=True, now=NOON)
    tell(cast, occasion="on again")
    assert deliver().sent == 1
    assert list(Call.rows.values_list("occasion", flat=True)) == ["on again"]


# ---- where it may not lead -------------------------------------------------------------


def resolved(monkeypatch, *addresses: str) -> None:
    found = [(socket.AF_INET6 if ":" in a else socket.AF_INET, socket.SOCK_STREAM, 6, "", (a, 443)) for a in addresses]
    monkeypatch.setattr(socket, "getaddrinfo", lambda *args, **kwargs: found)


# Private, loopback, link-local, shared, documentation, multicast, wrapped: IANA special-purpose registries.
INSIDE = [
    "127.0.0.1", "10.1.2.3", "172.16.0.1", "192.168.1.1", "169.254.169.254", "100.64.0.1", "0.0.0.0", "224.0.0.1",
    "255.255.255.255", "::1", "fe80::1", "fc00::1", "ff02::1", "::ffff:10.0.0.1", "64:ff9b::7f00:1", "2002:7f00:1::",
    "192.0.2.1", "2001:db8::1",
]  # fmt: skip


@pytest.mark.parametrize("address", INSIDE)
def test_a_name_that_leads_inside_is_never_connected_to(cast, monkeypatch, address):
    services.add_endpoint(member=cast.manager, url="https://program.example/farm", kinds=[], now=NOON)
    resolved(monkeypatch, "93.184.216.34", address)
    monkeypatch.setattr(socket.socket, "connect", lambda *args: pytest.fail("connected"))
    tell(cast)
    assert deliver().failed == 1
    assert Call.rows.get().last_error == f"leads to {address}, which is not on the open internet"


def test_the_connection_goes_to_the_address_that_was_judged(monkeypatch):
    resolved(monkeypatch, "93.184.216.34")
    assert posting.resolve("program.example", 443, may_stay_inside=False) == (socket.AF_INET, "93.184.216.34")


@pytest.mark.parametrize(
    "url",
    [
        "http://program.example/", "ftp://program.example/", "https://", "program.example", "https://a:b@program.example/",
        "https://program.example/#x", "https://program.example/a b", "https://program.example:99999/", "javascript:1",
        "https://prögram.example/", "https://program.example/\n",
    ],
)  # fmt: skip
def test_an_address_that_cannot_be_one_is_named(cast, url):
    with pytest.raises(BadInput) as said:
        services.add_endpoint(member=cast.manager, url=url, kinds=[], now=NOON)
    assert list(said.value.errors) == ["url"]


def test_only_managers_set_targets(cast):
    for member in (cast.applicator, cast.staff):
        with pytest.raises(NotYourRole):
            services.add_endpoint(member=member, url="https://program.example/", kinds=[], now=NOON)
    assert Endpoint.rows.count() == 0


def test_pauses_are_spread_and_never_shorter():
    assert [rules.pause_after(1, c).total_seconds() for c in (0, 1)] == [5, 6]
    assert rules.pause_after(99, 0) == timedelta(hours=24)
