"""A whole farm and one spray job over HTTP only: from an empty book to a signature and an opened block.

Nothing but the documented operations is used, with keys made by password, as a program would.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
import time_machine
from rest_framework.test import APIClient

from tests.factories.land import square
from tests.factories.people import PersonFactory

pytestmark = pytest.mark.django_db

MORNING = datetime(2026, 7, 6, 12, 0, tzinfo=UTC)  # Monday, 7 AM on the farm
PASSWORD = "a-long-password"
FARM = {
    "slug": "heron-creek",
    "name": "Heron Creek",
    "time_zone": "America/Chicago",
    "latitude": "40.25",
    "longitude": "-86.25",
    "jurisdiction": "IN",
    "contact_name": "Mara Voss",
    "contact_phone": "555-0140",
}
LABEL = {
    "kind": "fungicide",
    "restricted_use": False,
    "ingredients": [{"name": "chlorothalonil", "amount": "6", "basis": "lb_per_gal"}],
    "groups": [{"scheme": "frac", "code": "M05"}],
    "bee_class": "none",
    "contains_oil": False,
    "wind_max_mph": "10",
    "rei_hours": "12",
    "uses": [
        {
            "site_code": "winter_squash",
            "rate_min": "1.5",
            "rate_max": "3",
            "rate_unit": "pt",
            "rate_basis": "per_acre",
            "phi_days": 1,
            "min_interval_days": 7,
            "max_uses": 8,
            "season_basis": "calendar",
        }
    ],
}


class Program:
    """One person's program: a key made by password, addresses below the farm, every answer checked."""

    def __init__(self, username: str) -> None:
        self.client, self.count = APIClient(), 0
        asked = {"farm": "heron-creek", "username": username, "password": PASSWORD, "name": "walk"}
        key = self.client.post("/api/v1/tokens/", asked, format="json").json()["key"]
        self.client.credentials(HTTP_AUTHORIZATION=f"Bearer {key}")

    def get(self, path: str) -> Any:
        answer = self.client.get(f"/api/v1/farms/heron-creek/{path}")
        assert answer.status_code == 200, answer.content
        return answer.json()

    def post(self, path: str, body: dict[str, Any], *, expect: tuple[int, ...] = (200, 201)) -> Any:
        self.count += 1
        key = {"Idempotency-Key": f"walk-step-{self.count:04d}"}
        answer = self.client.post(f"/api/v1/farms/heron-creek/{path}", body, format="json", headers=key)
        assert answer.status_code in expect, answer.content
        return answer.json()


@pytest.fixture
def clock():
    with time_machine.travel(MORNING, tick=False) as traveller:
        yield traveller


@pytest.fixture
def people(db, clock) -> dict[str, Program]:
    """Mara opens the farm's book and invites Luis (applicator) and Ana (staff); each has a key."""
    for name in ("mara", "luis", "ana"):
        PersonFactory(username=name, full_name={"mara": "Mara Voss", "luis": "Luis Mora", "ana": "Ana Ruiz"}[name])
    opener = APIClient()
    assert opener.login(username="mara", password=PASSWORD)
    assert opener.post("/api/v1/farms/", FARM, format="json").status_code == 201
    for name, role in (("luis", "applicator"), ("ana", "staff")):
        body = {"full_name": name, "roles": [role]}
        code = opener.post("/api/v1/farms/heron-creek/invitations/", body, format="json").json()["code"]
        joiner = APIClient()
        assert joiner.login(username=name, password=PASSWORD)
        assert joiner.post("/api/v1/invitations/accept/", {"code": code}, format="json").status_code == 201
    return {name: Program(name) for name in ("mara", "luis", "ana")}


def set_up_the_farm(people: dict[str, Program]) -> dict[str, int]:
    """Ground, crop, label, stock, sprayer, calibration, certificate: all typed in."""
    mara, luis = people["mara"], people["luis"]
    field = mara.post("fields/", {"name": "River field"})
    block = mara.post(
        "blocks/",
        {
            "field_id": field["id"],
            "name": "River north",
            "code": "RN",
            "polygon": square(-86.252, 40.251),
            "planted_acres": "9",
        },
    )
    crop = mara.post(
        "crops/",
        {"code": "winter_squash", "name": "Winter squash", "family": "cucurbitaceae", "days_to_first_flower": 40},
    )
    planting = {
        "block_id": block["id"],
        "crop_id": crop["id"],
        "purpose": "cash",
        "started_as": "seed",
        "planned_on": "2026-06-10",
        "harvest_from": "2026-09-10",
        "harvest_to": "2026-10-10",
    }
    planted = mara.post("plantings/", planting)
    mara.post(f"plantings/{planted['id']}/events/", {"kind": "sown", "on": "2026-06-10"})
    product = mara.post("products/", {"name": "Demo Curtain", "kind": "fungicide", "is_demo": True})
    label = mara.post(f"products/{product['id']}/labels/", {"effective_on": "2026-01-01", "body": LABEL})
    luis.post(
        f"labels/{label['id']}/check/",
        {"checked_against": "paper label of 3 Mar 2026", "body_hash": label["body_hash"]},
    )
    mara.post(
        f"shed/{product['id']}/deliveries/",
        {"lot_number": "A1", "amount": "5", "unit": "gal", "received_on": "2026-06-01"},
    )
    sprayer = mara.post(
        "sprayers/",
        {
            "name": "Blue boom",
            "method": "boom",
            "tank_gal": "110",
            "usable_gal": "100",
            "swath_ft": "6.6",
            "nozzles": 4,
            "droplet_class": "medium",
            "release_height_in": "20",
        },
    )
    # Four cups of 64 fl oz in 60 s, 88 ft in 12 s: 2 gal/min at 5 mph over 6.6 ft is 30 gal/acre exactly.
    mara.post(
        f"sprayers/{sprayer['id']}/calibrations/",
        {
            "measured_on": "2026-06-20",
            "catches": ["64", "64", "64", "64"],
            "catch_unit": "floz",
            "seconds": "60",
            "course_ft": "88",
            "run_seconds": ["12"],
            "pressure_psi": "40",
            "liquid": "water",
        },
    )
    luis_id = next(m["person_id"] for m in mara.get("members/")["results"] if m["username"] == "luis")
    mara.post(
        "certificates/",
        {
            "person_id": luis_id,
            "number": "IN-4471",
            "jurisdiction": "IN",
            "held_as": "private",
            "categories": [],
            "valid_from": "2025-01-01",
            "valid_to": "2027-12-31",
        },
    )
    return {"block": block["id"], "product": product["id"], "sprayer": sprayer["id"], "luis": luis_id}


def entry(who: Program, block: int) -> tuple[str, str | None]:
    said = who.get(f"blocks/{block}/entry/?activity=scouting_on_foot")
    return said["answer"], said["opens_at"]


def test_a_job_from_plan_to_signature(people, clock):
    ids = set_up_the_farm(people)
    mara, luis, ana = people["mara"], people["luis"], people["ana"]
    assert entry(ana, ids["block"])[0] == "yes"

    plan = {
        "blocks": [{"block_id": ids["block"]}],
        "products": [{"product_id": ids["product"], "rate_amount": "4", "rate_unit": "pt"}],
        "targets": ["powdery_mildew"],
        "sprayer_id": ids["sprayer"],
        "applicator_id": ids["luis"],
        "window_starts_at": "2026-07-06T08:00",
        "window_ends_at": "2026-07-06T11:00",
        "expected_wind_mph": "5",
    }
    job = mara.post("jobs/", plan)
    address = f"jobs/{job['id']}"
    check = mara.get(f"{address}/check/")
    assert check["refused"] is True
    assert [f["code"] for f in check["blocks"][0]["findings"] if f["severity"] == "refuse"] == ["rate_high"]
    refused = mara.post(f"{address}/assign/", {}, expect=(409,))
    assert refused["findings"][0]["code"] == "rate_high"

    edited = mara.client.patch(
        f"/api/v1/farms/heron-creek/{address}/",
        {"products": [{"product_id": ids["product"], "rate_amount": "2", "rate_unit": "pt"}]},
        format="json",
        headers={"If-Match": '"v1"'},
    )
    assert (edited.status_code, edited.json()["version"]) == (200, 2)
    reason = "the farm's first season in this book; older sprays checked on paper"
    assigned = mara.post(f"{address}/assign/", {"version": 2, "reason": reason})
    assert (assigned["state"], assigned["products"][0]["label_version"]) == ("assigned", 1)
    mix = luis.get(f"{address}/mix/")
    # 9 acres at 30 gal are 270 gal: two tanks of 100 and one of 70; 2 pt an acre are 18 pt in all.
    assert (mix["loads"], mix["full_load_gal"], mix["last_load_gal"], mix["products"][0]["total"]) == (
        3,
        "100",
        "70",
        "18 pt",
    )
    shed = mara.get(f"shed/{ids['product']}/")["stock"]
    assert (float(shed["on_hand"]), float(shed["reserved"])) == (5, 2.25)
    notices = luis.get("notices/")["results"]
    assert "Spray job 1 on RN River north is yours" in notices[0]["sentence"]

    clock.move_to(MORNING + timedelta(hours=1, minutes=10))
    windy = {"wind_mph": "12", "wind_from": "sw", "temperature_f": "72", "humidity_percent": "60"}
    assert luis.post(f"{address}/start/", windy, expect=(409,))["findings"][0]["code"] == "wind_high"
    assert entry(ana, ids["block"])[0] == "no"  # the window has begun
    started = luis.post(f"{address}/start/", {**windy, "wind_mph": "5", "reason": "measured twice"})
    assert (started["state"], started["started_at"]) == ("spraying", "2026-07-06T13:10:00Z")
    assert entry(ana, ids["block"]) == ("no", None)

    clock.move_to(MORNING + timedelta(hours=2, minutes=45))
    done = {
        "started_at": "2026-07-06T08:10",
        "ended_at": "2026-07-06T09:40",
        "loads": "3",
        "blocks": [{"block_id": ids["block"], "treated_acres": "9"}],
        "products": [{"product_id": ids["product"], "amount": "18", "unit": "pt"}],
    }
    backwards = luis.post(f"{address}/finish/", {**done, "ended_at": "2026-07-06T08:00"}, expect=(400,))
    assert list(backwards["errors"]) == ["ended_at"]
    luis.post(f"{address}/finish/", done)
    assert entry(ana, ids["block"])[0] == "unknown"

    back = luis.get(f"{address}/read-back/")
    assert back["sentences"][0] == "You sprayed all 9 acres of RN River north, Winter squash."
    assert back["consequences"][0] == (
        "Because of this record, RN River north stays closed until Mon, Jul 6, 9:40 PM CDT (Demo Curtain)."
    )
    signature = {"password": "wrong", "checked": True, "body_hash": back["body_hash"]}
    assert list(luis.post(f"{address}/sign/", signature, expect=(400,))["errors"]) == ["password"]
    record = luis.post(f"{address}/sign/", {**signature, "password": PASSWORD})
    assert (record["seq"], record["signed_by"], record["meaning"]) == (1, "Luis Mora", "applied")

    assert entry(ana, ids["block"]) == ("no", "2026-07-07T02:40:00Z")
    harvest = ana.get(f"blocks/{ids['block']}/harvest/")
    assert (harvest["answer"], harvest["opens_at"]) == ("no", "2026-07-07T14:40:00Z")
    shed = mara.get(f"shed/{ids['product']}/")["stock"]
    assert (float(shed["on_hand"]), float(shed["reserved"])) == (2.75, 0)
    proof = mara.get("records/verify/")
    assert proof == {"records": 1, "head": record["hash"], "fault": None}
    steps = [s["step"] for s in mara.get(f"{address}/steps/")]
    assert steps == ["plan", "edit", "assign", "start", "finish", "sign"]

    clock.move_to(datetime(2026, 7, 7, 2, 40, tzinfo=UTC))
    assert entry(ana, ids["block"])[0] == "yes"
