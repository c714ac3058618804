"""The farm's own numbers: they only ever ask earlier, and a label or legal limit does not know them."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal
from fractions import Fraction

import pytest
from django.db import IntegrityError, transaction
from hypothesis import given, settings
from hypothesis import strategies as st

from apps.audit.models import AuditEvent
from apps.spraying import services
from apps.spraying.facts import settings_of
from apps.spraying.models import SpraySettings
from apps.spraying.policies.queries import limits_shown, policy_of
from apps.spraying.rules import PRESETS, FarmPolicy, Weather
from apps.spraying.rules.house import BY_NAME, CERTIFICATE, LIMITS, read_limits, with_limits
from farmops.errors import BadInput, NotYourRole, Severity
from tests.factories.spraying import NOW

from .mixes import OFTEN, POLICY, changed, facts, past, reasons, said
from .test_check_properties import stories

F1 = ("F1", 3)
NAMES = sorted(BY_NAME)
SHIPPED = {
    # pesticidestewardship.org; cotton drift precautions (secondary copy); Ohio State 17 Apr 2012; the rest no source
    "calm_wind_mph": ("3", "3", "8"),
    "wind_max_mph": ("15", "8", "15"),
    "season_near_percent": ("90", "50", "90"),
    "gpa_tolerance_percent": ("5", "1", "5"),
    "reading_good_minutes": ("30", "5", "30"),
    "bee_drift_ft": ("300", "300", "5280"),
    "hive_notice_ft": ("5280", "5280", "21120"),
}


def test_what_is_shipped_and_how_far_it_may_go():
    assert {n: tuple(str(v) for v in (r.shipped, r.least, r.most)) for n, r in BY_NAME.items()} == SHIPPED
    assert all(r.shipped in (r.least, r.most) and r.source and r.words for r in LIMITS)


@pytest.mark.parametrize("name", NAMES)
def test_both_bounds_count_and_what_lies_beyond_is_named(name):
    limit = BY_NAME[name]
    step = Decimal(1).scaleb(-limit.places)
    assert read_limits({name: str(limit.strictest)}) == {name: limit.strictest}
    assert (
        read_limits({name: f" {limit.shipped} "})
        == read_limits({name: None})
        == read_limits({name: ""})
        == {name: None}
    )
    finer = limit.least + step / 10
    for wrong in (limit.least - step, limit.most + step, finer, "NaN", "Infinity", "-1", "many", "1e9"):
        with pytest.raises(BadInput) as caught:
            read_limits({name: str(wrong)})
        assert list(caught.value.errors) == [name]
        assert f"{limit.least} to {limit.most} {limit.unit}" in caught.value.errors[name][0]


def test_the_certificate_may_weigh_more_or_as_shipped():
    assert [read_limits({CERTIFICATE: s}) for s in ("refuse", "justify", "note", "", None)] == [
        {CERTIFICATE: "refuse"}, {CERTIFICATE: "justify"}, {CERTIFICATE: ""}, {CERTIFICATE: ""}, {CERTIFICATE: ""},
    ]  # fmt: skip
    with pytest.raises(BadInput) as caught:
        read_limits({CERTIFICATE: "never", "calm_wind_mph": "1"})
    assert sorted(caught.value.errors) == ["calm_wind_mph", CERTIFICATE]


def test_every_number_reaches_the_policy():
    own = {name: limit.strictest for name, limit in BY_NAME.items()} | {CERTIFICATE: "refuse"}
    made = with_limits(PRESETS["extension"], own)
    assert made == replace(
        PRESETS["extension"],
        calm_wind_mph=Decimal(8),
        wind_max_mph=Decimal(8),
        season_near=Fraction(1, 2),
        gpa_tolerance=Fraction(1, 100),
        reading_good_minutes=5,
        bee_drift_ft=Decimal(5280),
        hive_notice_ft=Decimal(21120),
        general_use_certificate=Severity.REFUSE,
        own_limits=made.own_limits,
    )
    assert len(made.own_limits) == 8
    assert with_limits(FarmPolicy(), dict.fromkeys(BY_NAME) | {CERTIFICATE: ""}) == FarmPolicy()


def test_an_empty_number_hides_none_after_it_and_each_keeps_its_kind():
    """Minutes are whole (a span of time is made of them); 4.5 mph stays 4.5."""
    made = with_limits(FarmPolicy(), {"wind_max_mph": None, "calm_wind_mph": "4.5", "reading_good_minutes": "20"})

    assert (made.calm_wind_mph, made.reading_good_minutes) == (Decimal("4.5"), 20)
    assert (type(made.calm_wind_mph), type(made.reading_good_minutes)) == (Decimal, int)
    assert made.own_limits == {"calm_wind_mph", "reading_good_minutes"}


def stricter(draw_from):
    """Any set of own numbers that ``read_limits`` lets pass."""
    rows = {
        limit.name: st.none()
        | st.decimals(min_value=limit.least, max_value=limit.most, places=limit.places, allow_nan=False)
        for limit in draw_from
    }
    return st.fixed_dictionaries(rows)


@settings(max_examples=40 * OFTEN, deadline=None)
@given(story=stories(), own=stricter(LIMITS), wind=st.integers(0, 20))
def test_own_numbers_never_take_a_finding_away(story, own, wind):
    """Whatever the farm sets, all that the shipped numbers say is still said, as gravely."""
    given_ = changed(
        story[0], policy=replace(POLICY, wind_max_mph=Decimal(15)), weather=Weather(wind_mph=Decimal(wind))
    )
    own_policy = with_limits(given_.policy, read_limits({n: str(v) for n, v in own.items() if v is not None}))
    shipped, asked = reasons(given_), reasons(changed(given_, policy=own_policy))
    assert set(shipped[0]) == set(asked[0])
    assert set(shipped[1]) <= set(asked[1])


def test_they_ask_earlier_and_say_whose_number_it_is():
    """Wind 6 mph; measured 40 gal/acre, planned 41 (2.5 % off); 5 x 2.25 = 11.25 of 15.75 lb = 71.4 %."""
    history = [past(f"2026-{d}", F1) for d in ("06-01", "06-10", "06-20", "07-01")]
    given_ = changed(facts([F1], history), spray_gpa=Decimal(41))
    own = {"calm_wind_mph": Decimal(7), "gpa_tolerance_percent": Decimal(2), "season_near_percent": Decimal(70)}
    mine = changed(given_, policy=with_limits(POLICY, own))

    assert reasons(given_) == ([], [])
    assert reasons(mine) == ([], ["calibration_differs", "season_near", "wind_low_inversion"])
    assert said(mine, "wind_low_inversion") == [
        "Wind 6 mph is below 7 mph: the air may be inverted and carry spray far."
    ]


def settle(bench, version=1, **changes):
    return services.set_spray_settings(member=bench.manager, expected_version=version, changes=changes, now=NOW)


def test_set_audited_shown_and_set_back(bench):
    row = settle(bench, calm_wind_mph="5", general_use_certificate="justify")
    assert (policy_of(row).calm_wind_mph, policy_of(row).general_use_certificate) == (Decimal(5), Severity.JUSTIFY)
    trail = AuditEvent.objects.filter(verb="changed").latest("pk")
    assert (trail.before["calm_wind_mph"], trail.after["calm_wind_mph"]) == (None, "5")
    mine = {r.name: r for r in limits_shown(row)}["calm_wind_mph"]
    assert (mine.value, mine.shipped, mine.own) == ("5", "3", True)

    row = settle(bench, row.version, calm_wind_mph="", general_use_certificate="note")
    assert policy_of(row) == PRESETS[row.preset]


def test_nothing_is_written_when_one_of_them_is_wrong(bench):
    with pytest.raises(BadInput) as caught:
        settle(bench, calm_wind_mph="5", wind_max_mph="20")
    assert list(caught.value.errors) == ["wind_max_mph"]
    assert settings_of(bench.farm).calm_wind_mph is None
    with pytest.raises(NotYourRole):
        services.set_spray_settings(
            member=bench.applicator, expected_version=1, changes={"calm_wind_mph": "5"}, now=NOW
        )


@pytest.mark.parametrize("name", NAMES)
def test_the_database_holds_the_bounds_too(bench, name):
    limit = BY_NAME[name]
    looser = limit.shipped + (limit.shipped - limit.strictest)
    with pytest.raises(IntegrityError), transaction.atomic():
        SpraySettings.rows.filter(farm=bench.farm).update(**{name: looser})
    with pytest.raises(IntegrityError), transaction.atomic():
        SpraySettings.rows.filter(farm=bench.farm).update(general_use_certificate="note")


def test_the_api_reads_and_sets_them(bench, api):
    address, client = "/api/v1/farms/alder-bend/spray-settings/", api(bench.manager)
    body = {"bee_drift_ft": "600", "season_near_percent": 80, "general_use_certificate": "refuse"}
    answer = client.patch(address, body, format="json", headers={"If-Match": "v1"}).json()
    rows = {r["name"]: r for r in answer["limits"]}
    assert (rows["bee_drift_ft"]["value"], rows["bee_drift_ft"]["own"]) == ("600", True)
    assert (rows["season_near_percent"]["value"], answer["general_use_certificate"]) == ("80", "refuse")
    assert rows["wind_max_mph"] == {
        "name": "wind_max_mph", "value": "15", "shipped": "15", "unit": "mph", "least": "8", "most": "15",
        "source": BY_NAME["wind_max_mph"].source, "own": False,
    }  # fmt: skip
    wrong = client.patch(address, {"bee_drift_ft": "299"}, format="json", headers={"If-Match": "v2"})
    assert (wrong.status_code, list(wrong.json()["errors"])) == (400, ["bee_drift_ft"])
    back = client.patch(address, {"bee_drift_ft": None}, format="json", headers={"If-Match": "v2"}).json()
    assert {r["name"]: r["own"] for r in back["limits"]}["bee_drift_ft"] is False


def test_the_page_shows_bounds_and_source_and_keeps_what_was_typed(bench, browser_client):
    client, address = browser_client(bench.manager), "/f/alder-bend/spray-settings/"
    page = client.get(address).content.decode()
    assert "3 to 8 mph; empty = 3 mph as shipped. It can only ask earlier." in page
    body = {"version": 1, "preset": "labels_only", "interval_from_days": "7", "interval_to_days": "10"}
    wrong = client.post(address, {**body, "calm_wind_mph": "2"}).content.decode()
    assert "Use 3 to 8 mph" in wrong and 'value="2"' in wrong
    client.post(address, {**body, "calm_wind_mph": "4.5"})
    assert settings_of(bench.farm).calm_wind_mph == Decimal("4.5")
    assert 'value="4.5"' in client.get(address).content.decode()
