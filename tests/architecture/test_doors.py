"""Every door is guarded: walked as nobody, as an outsider, as a neighbour and as each wrong role."""

from __future__ import annotations

import pytest

from apps.people.rules import Can, Role, may
from tests.architecture.doors import Door, all_doors, farm_doors, is_guarded, methods_of

pytestmark = pytest.mark.one_database

# Doors that belong to no farm, each with the reason why it needs no member.
OPEN = {
    "": "home: sends people to log in or to their farm",
    "healthz": "process only",
    "readyz": "no farm data",
    "sweepz": "no farm data",
    "metrics": "no farm data, for holders of a token or this machine itself",
    "calendar/<str:secret>.ics": "asks for the secret in the address",
    "language/": "a cookie",
    "worker.js": "the service worker, the same for everybody",
    "no-connection/": "fixed words, no farm data",
    "g/": "asks for the code on a plate",
    "g/<str:plate>/": "the code on a plate opens the answer for one block",
    "api/v1/schema/": "the interface description",
    "api/v1/tokens/": "asks for user name and password",
    "api/v1/me/": "only oneself",
    "api/v1/me/password/": "asks for the old password",
    "api/v1/farms/": "own farms",
    "api/v1/invitations/accept/": "asks for the invitation code",
    "log-in/": "asks for user name and password",
    "log-out/": "ends a session",
    "farms/": "own farms",
    "farms/new/": "opens one's own",
    "join/<str:code>/": "asks for the invitation code",
}
PAIRS = [pytest.param(d, m, id=f"{m} {d}") for d in farm_doors() for m in methods_of(d)]


def test_the_walk_covers_the_site():
    assert len(PAIRS) > 100


def test_every_door_without_a_farm_is_listed_with_its_reason():
    assert {d.route for d in all_doors() if not d.of_farm} == set(OPEN)


@pytest.mark.parametrize("door", farm_doors(), ids=str)
def test_every_farm_door_is_guarded_and_declares_a_capability_for_each_method(door: Door):
    assert is_guarded(door)
    assert sorted(door.view.needs) == sorted(methods_of(door))
    assert all(isinstance(can, Can) for can in door.view.needs.values())


def _send(door: Door, method: str, who, farm, api, browser_client):
    client = api(who) if door.is_api else browser_client(who)
    options = {"format": "json"} if door.is_api else {}
    send = getattr(client, method.lower())
    address = door.address(farm.slug)
    return send(address) if method == "GET" else send(address, {}, **options)


@pytest.mark.django_db
@pytest.mark.parametrize(("door", "method"), PAIRS)
def test_a_stranger_learns_nothing(door, method, cast, api, browser_client):
    for who in (cast.outsider, cast.neighbour):
        answer = _send(door, method, who, cast.farm, api, browser_client)
        assert answer.status_code == 404
        assert "Alder Bend" not in answer.content.decode()


@pytest.mark.django_db
@pytest.mark.parametrize(("door", "method"), PAIRS)
def test_without_log_in_nothing_is_shown(door, method, cast, api, browser_client):
    answer = _send(door, method, None, cast.farm, api, browser_client)
    if door.is_api:
        assert (answer.status_code, answer["Content-Type"]) == (401, "application/problem+json")
    else:
        assert (answer.status_code, answer["Location"].split("?")[0]) == (302, "/log-in/")


@pytest.mark.django_db
@pytest.mark.parametrize(("door", "method"), PAIRS)
def test_a_wrong_role_is_told_who_may(door, method, cast, api, browser_client):
    can = door.view.needs[method]
    for role in Role:
        answer = _send(door, method, cast.by_role(role), cast.farm, api, browser_client)
        refused = answer.status_code == 403
        assert refused != may([role], can), role
        assert not refused or "This needs one of:" in answer.content.decode(), role
