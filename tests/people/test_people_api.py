"""Farms, invitations, keys and roles over HTTP."""

from __future__ import annotations

import re

import pytest
from django.test import Client

from apps.audit.models import AnsweredRequest
from apps.people.models import Membership
from apps.people.rules import Can, Role, may

pytestmark = pytest.mark.django_db


def test_another_farm_is_404_not_403(cast, api):
    for who in (cast.neighbour, cast.outsider):
        answer = api(who).get("/api/v1/farms/alder-bend/")
        assert (answer.status_code, answer.json()["detail"]) == (404, "No such farm in your book.")


def test_no_log_in_is_401_with_a_problem_document(cast, api):
    answer = api().get("/api/v1/farms/alder-bend/")
    assert answer.status_code == 401
    assert answer["Content-Type"] == "application/problem+json"
    assert answer["WWW-Authenticate"] == 'Bearer realm="farm"'


def test_wrong_role_says_who_may(cast, api):
    answer = api(cast.staff).get("/api/v1/farms/alder-bend/members/")
    assert (answer.status_code, answer.json()["detail"]) == (403, "This needs one of: manager.")


def test_invitation_walk_from_manager_to_new_staff_member(cast, api):
    made = api(cast.manager).post(
        "/api/v1/farms/alder-bend/invitations/", {"full_name": "Rosa Lind", "roles": ["staff"]}, format="json"
    )
    assert made.status_code == 201
    code = made.json()["code"]
    new = {"code": code, "username": "rosa", "password": "orchard-gate-9", "full_name": "Rosa Lind"}
    joined = api().post("/api/v1/invitations/accept/", new, format="json")
    assert (joined.status_code, joined.json()["roles"]) == (201, ["staff"])
    again = api().post("/api/v1/invitations/accept/", {**new, "username": "rosa2"}, format="json")
    assert again.status_code == 404
    assert Client().login(request=None, username="rosa", password="orchard-gate-9")


def test_a_weak_password_is_named_and_leaves_nothing(cast, api):
    code = (
        api(cast.manager)
        .post("/api/v1/farms/alder-bend/invitations/", {"full_name": "R", "roles": ["staff"]}, format="json")
        .json()["code"]
    )
    new = {"code": code, "username": "rosa", "password": "short", "full_name": "Rosa Lind"}
    answer = api().post("/api/v1/invitations/accept/", new, format="json")
    assert (answer.status_code, list(answer.json()["errors"])) == (400, ["password"])
    assert Membership.rows.filter(person__username="rosa").count() == 0


def test_key_made_by_password_opens_one_farm_and_dies_when_revoked(cast, api):
    asked = {"farm": "alder-bend", "username": "luis", "password": "a-long-password", "name": "phone"}
    made = api().post("/api/v1/tokens/", asked, format="json").json()
    client = api()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {made['key']}")
    assert client.get("/api/v1/farms/alder-bend/").json()["name"] == "Alder Bend Farm"
    Membership.rows.create(farm=cast.other_farm, person_id=cast.applicator.person_id, is_staff_member=True)
    assert client.get("/api/v1/farms/far-side/").status_code == 404
    client.post(f"/api/v1/farms/alder-bend/tokens/{made['id']}/revoke/")
    assert client.get("/api/v1/farms/alder-bend/").status_code == 401


def test_edit_needs_the_version_read(cast, api):
    client, address = api(cast.manager), "/api/v1/farms/alder-bend/"
    assert client.patch(address, {"name": "X"}, format="json").status_code == 428
    assert client.patch(address, {"name": "X"}, format="json", headers={"If-Match": '"v9"'}).status_code == 412
    saved = client.patch(address, {"name": "Alder Bend"}, format="json", headers={"If-Match": '"v1"'})
    assert (saved.status_code, saved["ETag"], saved.json()["name"]) == (200, '"v2"', "Alder Bend")


def test_unknown_time_zone_names_the_field(cast, api):
    answer = api(cast.manager).patch(
        "/api/v1/farms/alder-bend/", {"time_zone": "Moon/Base"}, format="json", headers={"If-Match": "v1"}
    )
    assert answer.json()["errors"] == {"time_zone": ["Time zone must be an IANA name such as America/Chicago."]}


def test_the_last_manager_stays(cast, api):
    answer = api(cast.manager).patch(
        f"/api/v1/farms/alder-bend/members/{cast.manager.id}/",
        {"roles": ["staff"], "active": True},
        format="json",
        headers={"If-Match": "v1"},
    )
    assert (answer.status_code, answer.json()["findings"][0]["code"]) == (409, "last_manager")


def test_the_same_request_twice_acts_once(cast, api):
    client, body = api(cast.manager), {"full_name": "Rosa Lind", "roles": ["staff"]}
    address = "/api/v1/farms/alder-bend/invitations/"
    first = client.post(address, body, format="json", headers={"Idempotency-Key": "invite-rosa-1"})
    second = client.post(address, body, format="json", headers={"Idempotency-Key": "invite-rosa-1"})
    code = first.json().pop("code")
    assert second.json() == {k: v for k, v in first.json().items() if k != "code"}
    assert code not in str(AnsweredRequest.objects.values_list("body", flat=True))
    assert second["Idempotent-Replay"] == "true"
    assert client.get(address).json()["results"].__len__() == 1
    other = client.post(
        address, {**body, "full_name": "B"}, format="json", headers={"Idempotency-Key": "invite-rosa-1"}
    )
    assert (other.status_code, other.json()["findings"][0]["code"]) == (409, "key_reused")


def test_a_mistyped_filter_is_refused(cast, api):
    answer = api(cast.manager).get("/api/v1/farms/alder-bend/members/?activ=1")
    assert (answer.status_code, list(answer.json()["errors"])) == (400, ["activ"])


@pytest.mark.parametrize("can", list(Can))
def test_every_capability_is_held_by_somebody_and_an_unknown_one_by_nobody(can):
    assert any(may([role], can) for role in Role)
    assert not may([], can)


def test_a_manager_sets_a_birth_date_and_an_impossible_one_is_named(cast, api):
    address = f"/api/v1/farms/alder-bend/members/{cast.staff.id}/birth-date/"
    said = api(cast.manager).post(address, {"born_on": "1999-02-03"}, format="json")
    assert (said.status_code, said.json()["born_on"]) == (200, "1999-02-03")
    wrong = api(cast.manager).post(address, {"born_on": "2024-02-03"}, format="json")
    assert (wrong.status_code, list(wrong.json()["errors"])) == (400, ["born_on"])


@pytest.mark.parametrize(
    ("role", "seen", "hidden"),
    [
        (Role.MANAGER, ["Board", "Spray jobs", "Charts", "People"], []),
        (Role.APPLICATOR, ["Board", "Spray jobs", "Cards"], ["Charts", "People"]),
        (Role.STAFF, ["Board", "Tasks"], ["Spray jobs", "Charts", "People", "Shed"]),
    ],
)
def test_the_navigation_offers_what_the_role_may_do(cast, browser_client, role, seen, hidden):
    text = browser_client(cast.by_role(role)).get("/f/alder-bend/me/").content.decode()
    items = set(re.findall(r"<a [^>]*>([A-Z][A-Za-z ]+)(?: \(\d+\))?</a>", text.split("</nav>")[0].split("<nav")[1]))
    assert [word for word in seen if word not in items] == []
    assert items & set(hidden) == set()


def test_an_owners_family_is_marked_and_left_as_it_is_when_not_said(cast, api):
    """40 CFR 170.601(a): some training rules spare owners and their immediate family."""
    client = api(cast.manager)
    row = cast.person(cast.staff).memberships.get()
    address = f"/api/v1/farms/alder-bend/members/{row.pk}/"
    place = {"roles": ["staff"], "active": True}
    first = client.patch(address, {**place, "family": True}, format="json", HTTP_IF_MATCH='"v1"')
    assert (first.status_code, first.json()["family"]) == (200, True)
    again = client.patch(address, place, format="json", HTTP_IF_MATCH='"v2"')
    assert (again.status_code, again.json()["family"]) == (200, True)
