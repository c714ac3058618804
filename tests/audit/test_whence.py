"""Every change says from where it came: the door, the address on the network, the key; never anything secret."""

from __future__ import annotations

import pytest
from django.test import Client, RequestFactory

from apps.audit import services, wording
from apps.audit.models import AuditEvent
from apps.audit.whence import NOWHERE, Whence, coming_from, current, whence_of
from apps.people import services as people
from farmops import clock

pytestmark = pytest.mark.django_db


def newest() -> AuditEvent:
    return AuditEvent.objects.latest("id")


def test_a_page_says_its_door_and_address(cast, browser_client):
    client = browser_client(cast.manager)
    form = {"full_name": "Ines P. Prado", "email": "", "phone": "", "language": "en"}
    client.post("/f/alder-bend/me/", form, REMOTE_ADDR="203.0.113.9")
    row = newest()
    assert (row.verb, row.door, row.address, row.key) == ("changed", "POST /f/alder-bend/me/", "203.0.113.9", "")


def test_a_program_says_its_key_but_not_the_secret(cast):
    _, key = people.make_token(member=cast.manager, name="till", now=clock.now())
    answer = Client().post(
        "/api/v1/farms/alder-bend/invitations/",
        {"full_name": "Noa Hale", "roles": ["staff"]},
        content_type="application/json",
        headers={"Authorization": f"Bearer {key}"},
        REMOTE_ADDR="2001:db8::5",
    )
    assert answer.status_code == 201
    row, (prefix, _, secret) = newest(), key.partition(".")
    assert (row.key, row.address, row.door) == (prefix, "2001:db8::5", "POST /api/v1/farms/alder-bend/invitations/")
    assert secret not in str(row.__dict__)


def test_the_code_of_an_invitation_does_not_stand_in_the_trail(cast):
    _, code = people.invite(member=cast.manager, full_name="Noa Hale", roles=["staff"], now=clock.now())
    new = {"full_name": "Noa Hale", "username": "noa", "password": "harvest-moon-9", "language": "en"}
    assert Client().post(f"/join/{code}/", new).status_code == 302
    assert (newest().verb, newest().door) == ("joined", "POST /join/")


@pytest.mark.parametrize(
    ("behind", "remote", "forwarded", "address"),
    [
        (False, "203.0.113.9", "198.51.100.1", "203.0.113.9"),
        (True, "10.0.0.2", "198.51.100.1", "198.51.100.1"),
        (True, "10.0.0.2", "6.6.6.6, 198.51.100.1", "198.51.100.1"),
        (True, "10.0.0.2", "", "10.0.0.2"),
        (True, "10.0.0.2", "<script>", ""),
        (False, "", "", ""),
    ],
    ids=["no-proxy", "proxy", "forged-in-front", "proxy-silent", "nonsense", "unknown"],
)
def test_only_the_proxys_own_word_is_believed(settings, behind, remote, forwarded, address):
    settings.BEHIND_TLS = behind
    request = RequestFactory().get("/", REMOTE_ADDR=remote, headers={"X-Forwarded-For": forwarded})
    assert whence_of(request).address == address


@pytest.mark.parametrize("path", ["/f/alder-bend/me/", "/api/v1/tokens/", "/api/v1/invitations/accept/"])
def test_a_key_that_nobody_proves_is_not_written_down(path):
    request = RequestFactory().post(path, headers={"Authorization": "Bearer deadbeef01.whatever"})
    assert whence_of(request).key == ""


def test_outside_of_a_request_it_comes_from_nowhere(cast):
    with coming_from(Whence(door="POST /x/", address="203.0.113.9")):
        assert current().door == "POST /x/"
    assert current() == NOWHERE
    services.record(farm=cast.farm, actor=None, verb="swept", subject=cast.farm, now=clock.now())
    assert (newest().door, newest().address, newest().key) == ("", "", "")


@pytest.mark.parametrize(
    ("who", "verb", "what", "said"),
    [
        ("Ines Prado", "changed", "job 7", "Ines Prado changed spray job 7."),
        ("the farm book", "made", "packet 3", "The farm book made packet 3."),
        ("Luis Mora", "sign", "job 7", "Luis Mora signed spray job 7."),
        ("Luis Mora", "hung", "entry closure of N1 North 1", "Luis Mora hung the entry closure of N1 North 1."),
        ("Ines Prado", "suspended", "certificate 12 of Luis Mora", "Ines Prado suspended certificate 12 of Luis Mora."),
        ("Ines Prado", "danced", "N1 {North}", "Ines Prado: danced – N1 {North}"),
        ("Ines {Prado}", "added", "N1 {0}", "Ines {Prado} added N1 {0}."),
    ],
)
def test_a_line_reads_as_a_sentence(who, verb, what, said):
    assert wording.sentence(who=who, verb=verb, what=what) == said
