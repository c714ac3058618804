"""Counts and thresholds on the farm: services, API and pages for the phone."""

from __future__ import annotations

from datetime import UTC, date, datetime
from decimal import Decimal

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from apps.audit.models import AuditEvent
from apps.crops import counts, services
from apps.crops.models import ScoutCount, ThresholdRow
from apps.crops.queries import planting_facts
from apps.crops.rules import SHIPPED, Surety
from farmops.errors import BadInput, NotYourRole, Stale, Unknown
from tests.factories.crops import CropFactory, PlantingEventFactory, PlantingFactory
from tests.factories.land import BlockFactory

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 7, 10, 14, 0, tzinfo=UTC)
TODAY = date(2026, 7, 10)
API, PAGE = "/api/v1/farms/alder-bend/scouting/", "/f/alder-bend/"
MILDEW = "powdery_mildew_leaves"


@pytest.fixture(autouse=True)
def july(monkeypatch):
    monkeypatch.setattr("farmops.clock.now", lambda: NOW)


@pytest.fixture
def squash(cast):
    block = BlockFactory(farm=cast.farm, code="S1")
    return PlantingFactory(farm=cast.farm, block=block, crop=CropFactory(farm=cast.farm), sown_on=date(2026, 6, 1))


def record(member, block, found: int = 1, examined: int = 50, code: str = MILDEW, **changes):
    values = {"looked_on": TODAY, "places": [{"examined": examined, "found": found}], "now": NOW, **changes}
    return services.record_count(member=member, block_id=block.pk, threshold_code=code, **values)


def words(answer) -> str:
    return " ".join(answer.content.decode().split())


class TestCounts:
    def test_written_down_by_anybody_with_its_threshold_and_audited(self, cast, squash):
        row = record(cast.staff, squash.block, planting_id=squash.pk)
        assert (row.verdict, row.pest, row.spots, row.rule["treat_at"]) == ("reached", "powdery_mildew", [[50, 1]], "1")
        assert AuditEvent.objects.get(verb="counted").after["verdict"] == "reached"

    def test_a_later_change_of_the_threshold_does_not_change_what_was_found(self, cast, squash):
        row = record(cast.staff, squash.block)
        services.set_threshold(
            member=cast.manager,
            code=MILDEW,
            expected_version=0,
            changes={"treat_at": "5", "source": "our own"},
            now=NOW,
        )
        assert counts.answer_of(row).verdict == "reached"
        assert record(cast.staff, squash.block).verdict == "below"

    @pytest.mark.parametrize(
        ("changes", "fields"),
        [
            ({"looked_on": date(2026, 7, 11)}, ["looked_on"]),
            ({"places": []}, ["places"]),
            ({"places": [{"examined": 10, "found": 11}]}, ["places.0.found"]),
            ({"planting_id": 987654}, ["planting_id"]),
            ({"code": "earworm_silk", "nights": None}, ["nights"]),
        ],
    )
    def test_what_cannot_be_is_named(self, cast, squash, changes, fields):
        with pytest.raises(BadInput) as caught:
            record(cast.staff, squash.block, **changes)
        assert (sorted(caught.value.errors), ScoutCount.rows.count()) == (fields, 0)

    def test_another_farms_block_or_an_unknown_threshold(self, cast, squash):
        for act in (
            lambda: record(cast.staff, BlockFactory(farm=cast.other_farm)),
            lambda: record(cast.staff, squash.block, code="nothing"),
        ):
            with pytest.raises(Unknown):
                act()

    def test_withdrawn_by_its_writer_or_a_manager(self, cast, squash):
        row = record(cast.staff, squash.block)
        with pytest.raises(NotYourRole):
            services.withdraw_count(member=cast.applicator, count_id=row.pk, reason="not mine", now=NOW)
        services.withdraw_count(member=cast.manager, count_id=row.pk, reason="wrong field", now=NOW)
        assert (list(counts.counts(cast.farm)), ScoutCount.rows.count()) == ([], 1)
        assert counts.reached(cast.farm, [squash.block_id]) == {}

    def test_a_seed_treatment_holds_the_alert_for_as_long_as_the_farm_says(self, cast, squash):
        rule = counts.threshold(cast.farm, "beetles_cotyledon").rule
        assert counts.held_until(rule, None) is None
        services.set_threshold(
            member=cast.manager, code=rule.code, expected_version=0, changes={"hold_days": "14"}, now=NOW
        )
        PlantingEventFactory(planting=squash, kind="emerged", on=date(2026, 6, 8))
        [fact] = planting_facts([squash.block])[squash.block_id]
        assert counts.held_until(counts.threshold(cast.farm, rule.code).rule, fact) == date(2026, 6, 22)


class TestThresholds:
    def test_what_came_with_the_book_is_there_without_a_row(self, cast):
        found = counts.thresholds(cast.farm)
        assert (set(found), ThresholdRow.rows.count()) == (set(SHIPPED), 0)
        assert {t.version for t in found.values()} == {0}

    def test_changed_by_a_manager_for_this_farm_alone(self, cast):
        with pytest.raises(NotYourRole):
            services.set_threshold(member=cast.staff, code=MILDEW, expected_version=0, changes={}, now=NOW)
        services.set_threshold(
            member=cast.manager, code=MILDEW, expected_version=0,
            changes={"treat_at": "2", "source": "our own five years", "surety": "own"}, now=NOW,
        )  # fmt: skip
        mine, theirs = counts.threshold(cast.farm, MILDEW), counts.threshold(cast.other_farm, MILDEW)
        assert (mine.rule.treat_at, mine.version, mine.changed, mine.rule.surety) == (Decimal(2), 1, True, Surety.OWN)
        assert (theirs.rule, theirs.version) == (SHIPPED[MILDEW], 0)

    def test_two_managers_at_once(self, cast):
        def change(version: int, to: str):
            return services.set_threshold(
                member=cast.manager, code=MILDEW, expected_version=version, changes={"treat_at": to}, now=NOW
            )

        change(0, "2")
        for version in (0, 7):
            with pytest.raises(Stale):
                change(version, "3")
        assert change(1, "3").version == 2

    def test_an_own_one_needs_everything_that_makes_it_one(self, cast):
        with pytest.raises(BadInput) as caught:
            services.set_threshold(
                member=cast.manager, code="stink_bugs", expected_version=0, changes={"treat_at": "0"}, now=NOW
            )
        assert sorted(caught.value.errors) == [
            "measure", "name", "per_place", "pest", "places", "places_min", "sample_min", "source", "treat_at", "unit",
        ]  # fmt: skip


def test_over_the_api(cast, api, squash):
    scout, manager = api(cast.staff), api(cast.manager)
    body = {"block_id": squash.block_id, "threshold": MILDEW, "looked_on": "2026-07-10",
            "places": [{"examined": 20, "found": 0}]}  # fmt: skip
    made = scout.post(f"{API}counts/", body, format="json").json()
    assert (made["verdict"], made["missing_units"], made["value"], made["because"]["code"]) == (
        "insufficient", 25, "0", "count_insufficient",
    )  # fmt: skip
    again = scout.post(f"{API}counts/", {**body, "places": [{"examined": 50, "found": 2}]}, format="json").json()
    listed = scout.get(f"{API}counts/", {"verdict": "reached"}).json()["results"]
    assert [row["id"] for row in listed] == [again["id"]]
    known = {t["code"]: t for t in scout.get(f"{API}thresholds/").json()}
    assert (known[MILDEW]["version"], known["melon_aphid_plants"]["surety"]) == (0, "from_memory")
    changed = manager.patch(f"{API}thresholds/{MILDEW}/", {"treat_at": "3"}, format="json", HTTP_IF_MATCH='"v0"')
    assert (changed.status_code, changed.json()["treat_at"], changed["ETag"]) == (200, "3.00", '"v1"')
    gone = scout.post(f"{API}counts/{again['id']}/withdraw/", {"reason": "wrong row"}, format="json")
    assert (gone.status_code, gone.json()["withdrawn_at"] is None) == (200, False)


class TestPages:
    def test_choosing_shows_what_speaks_about_the_crop_first(self, cast, browser_client, squash):
        shown = words(browser_client(cast.staff).get(f"{PAGE}blocks/{squash.block_id}/count/"))
        assert shown.index("Powdery mildew: from first flowers, every week") < shown.index("Corn earworm moths")
        assert "<details>" in shown

    def test_a_walk_on_the_phone(self, cast, browser_client, squash):
        client = browser_client(cast.staff)
        page = f"{PAGE}blocks/{squash.block_id}/count/{MILDEW}/"
        assert "Leave out what you did not look at" in words(client.get(page))
        typed = {"looked_on": "2026-07-10", **{f"examined_{n}": "5" for n in range(1, 13)}}
        typed |= {f"found_{n}": "0" for n in range(1, 5)}
        answer = client.post(page, typed, follow=True)
        assert (ScoutCount.rows.get().spots, ScoutCount.rows.get().verdict) == ([[5, 0]] * 4, "insufficient")
        shown = words(answer)
        assert "<h1>Sample too small to say</h1>" in shown
        assert "Look at 25 more." in shown
        assert "Too few is not the same as none." in shown

    def test_wrong_numbers_come_back_at_their_line(self, cast, browser_client, squash):
        client = browser_client(cast.staff)
        page = f"{PAGE}blocks/{squash.block_id}/count/{MILDEW}/"
        typed = {"looked_on": "2026-07-10", "examined_2": "5", "found_2": "6"}
        answer = client.post(page, typed)
        assert answer.status_code == 400
        assert answer.context["form"].errors == {"found_2": ["Cannot be found on more than were looked at."]}
        answer = client.post(page, {"looked_on": "2026-07-10"})
        assert answer.context["form"].errors == {
            "found_1": ["Enter what was found at one place at least; 0 if nothing."]
        }

    def test_the_block_shows_its_counts(self, cast, browser_client, squash):
        record(cast.staff, squash.block)
        assert "<strong>Threshold reached</strong>" in words(
            browser_client(cast.staff).get(f"{PAGE}blocks/{squash.block_id}/")
        )

    def test_thresholds_are_changed_on_a_page(self, cast, browser_client):
        client, page = browser_client(cast.manager), f"{PAGE}scouting/thresholds/{MILDEW}/"
        form = client.get(page).context["form"]
        typed = {name: form[name].value() for name in form.fields if form[name].value() is not None}
        assert client.post(page, {**typed, "treat_at": "2", "source": "our own"}).status_code == 302
        assert counts.threshold(cast.farm, MILDEW).rule.treat_at == Decimal(2)
        assert "changed here" in words(client.get(f"{PAGE}scouting/thresholds/"))


def test_the_block_page_asks_no_more_for_more_counts(cast, browser_client, squash):
    client, page = browser_client(cast.staff), f"{PAGE}blocks/{squash.block_id}/"

    def taken() -> int:
        client.get(page)
        with CaptureQueriesContext(connection) as context:
            client.get(page)
        return len(context)

    record(cast.staff, squash.block)
    one = taken()
    for _ in range(5):
        record(cast.staff, squash.block)
    assert taken() == one
