"""Record rules as dated data: which bind, what is missing for whom, by when, kept for how long. No database."""

from __future__ import annotations

import copy
import json
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from apps.spraying.records.presets import PRESETS
from apps.spraying.records.rules import (
    ELEMENT_NAMES,
    KEPT_ELSEWHERE,
    Applicators,
    Asks,
    DueBy,
    Element,
    Products,
    RecordRule,
    Sprayed,
    Status,
    as_json,
    binds,
    blanks,
    by_code,
    due_at,
    first_due,
    from_json,
    judge,
    keep_until,
    shown_until,
    sprayed_of,
    standings,
)

RULES = by_code(PRESETS)
CHICAGO = "America/Chicago"
HOUR = timedelta(hours=1)


def at(text: str, zone: str = CHICAGO) -> datetime:
    from zoneinfo import ZoneInfo

    return datetime.fromisoformat(text).replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)


def sprayed(ended: str = "2026-06-01 09:30", **changes) -> Sprayed:
    facts = {"ended_at": at(ended), "zone": CHICAGO, "restricted": True, "applicators": Applicators.PRIVATE}
    return Sprayed(**{**facts, **changes})


class TestWhichBind:
    @pytest.mark.parametrize(
        ("ended", "bound"),
        [
            ("2025-07-10 23:59", True),
            ("2025-07-11 00:00", False),
            ("2026-06-01 09:30", False),
            ("1993-05-09 12:00", False),
            ("1993-05-10 12:00", True),
        ],
        ids=["the last day", "the day it ended", "long after", "before it began", "the day it began"],
    )
    def test_the_federal_rule_binds_until_the_day_it_was_rescinded(self, ended, bound):
        """7 CFR 110.3, rescinded 11 July 2025 (FR Doc 2025-08220); farm-local days."""
        assert binds(RULES["us_restricted_private"], sprayed(ended)) is bound

    @pytest.mark.parametrize(
        ("code", "facts", "bound"),
        [
            ("us_restricted_private", {"restricted": False}, False),
            ("us_restricted_private", {"restricted": None}, True),
            ("us_restricted_private", {"applicators": Applicators.COMMERCIAL}, False),
            ("us_restricted_private", {"applicators": None}, True),
            ("us_worker_display", {"restricted": False, "applicators": None}, True),
            ("mi_commercial_general", {"applicators": Applicators.PRIVATE}, False),
        ],
        ids=["general use", "use not known", "commercial", "class not known", "display always", "not his class"],
    )
    def test_doubt_binds(self, code, facts, bound):
        assert binds(RULES[code], sprayed("2025-06-01 09:30", **facts)) is bound


class TestWhen:
    """Cases E9 to E12 of the decision table and the terms of the states."""

    def test_the_display_is_due_24_hours_after_the_end(self):
        """E9: end 06-01 09:30, by 06-02 09:30 (40 CFR 170.311)."""
        assert due_at(RULES["us_worker_display"], sprayed()) == at("2026-06-02 09:30")

    def test_the_restricted_use_record_is_due_within_14_days(self):
        """E12: applied 06-01, complete by 06-15, to its last minute (7 CFR 110.3)."""
        assert due_at(RULES["us_restricted_private"], sprayed("2025-06-01 09:30")) == at("2025-06-16 00:00")

    @pytest.mark.parametrize(
        ("ended", "due"),
        [("2026-06-01 09:30", "2026-07-11"), ("2026-06-30 23:30", "2026-07-11"), ("2026-12-31 09:30", "2027-01-11")],
    )
    def test_the_growers_report_is_due_by_the_10th_of_the_next_month(self, ended, due):
        """3 CCR 6626."""
        assert due_at(RULES["ca_report_grower"], sprayed(ended)) == at(f"{due} 00:00")

    def test_no_time_set_is_no_time(self):
        assert due_at(RULES["wa_all"], sprayed()) is None

    @pytest.mark.parametrize(
        ("code", "facts", "day"),
        [
            ("us_worker_display", {"entry_ends_at": at("2026-06-03 09:30")}, date(2028, 6, 3)),
            ("us_restricted_private", {}, date(2028, 6, 1)),
            ("wa_all", {}, date(2033, 6, 1)),
            ("mi_commercial_restricted", {}, date(2029, 6, 1)),
            ("mi_commercial_general", {}, date(2027, 6, 1)),
            ("ca_use", {}, date(2028, 6, 1)),
        ],
        ids=["E10", "E12", "Washington, 7 years", "Michigan, 3 years", "Michigan, 1 year", "California, 2 years"],
    )
    def test_how_long_it_is_kept(self, code, facts, day):
        assert keep_until(RULES[code], sprayed(**facts)) == day

    def test_kept_from_29_february(self):
        assert keep_until(RULES["ca_use"], sprayed("2028-02-29 10:00")) == date(2030, 3, 1)

    @pytest.mark.parametrize(
        ("entry", "shown"),
        [(at("2026-06-03 09:30"), at("2026-07-03 09:30")), (None, at("2026-07-01 09:30"))],
        ids=["E10: 30 days after the interval", "E11: no interval, 30 days after the end"],
    )
    def test_how_long_it_is_shown(self, entry, shown):
        assert shown_until(RULES["us_worker_display"], sprayed(entry_ends_at=entry)) == shown

    def test_the_first_due_is_found_and_reports_do_not_count(self):
        found = first_due([RULES["ca_report_grower"], RULES["us_worker_display"]], sprayed())
        assert found == (at("2026-06-02 09:30"), RULES["us_worker_display"])
        assert first_due([RULES["ca_report_grower"], RULES["wa_all"]], sprayed()) is None


def content(**changes) -> dict:
    """A record with everything in it, as JSON."""
    whole = {
        "meaning": "applied",
        "farm": {"time_zone": CHICAGO},
        "signer": {"certificate": {"number": "12345", "kind": "private"}},
        "applicator": {"name": "Luis Mora", "certificates": [{"number": "12345", "suspended": False}]},
        "supervisor": None,
        "started_at": "2026-06-01T13:00:00Z",
        "ended_at": "2026-06-01T14:30:00Z",
        "job": {"targets": ["powdery_mildew"]},
        "sprayer": {"name": "Blue boom", "method": "boom"},
        "readings": {"start": {"wind_mph": "5", "temperature_f": "72"}, "end": {}},
        "blocks": [
            {
                "code": "N1", "field": "North", "treated_acres": "9.3", "crop": "Squash", "site_code": "squash",
                "closures": [{"kind": "entry", "reason": "rei", "ends_at": "2026-06-02T02:30:00Z"}],
            }
        ],
        "products": [
            {
                "name": "Demo Shield", "registration_number": "99999-1", "amount": "46", "unit": "floz",
                "per_acre": "5",
                "label": {"body": {"restricted_use": True, "ingredients": [{"name": "quinoxyfen"}]}},
            }
        ],
    }  # fmt: skip
    return {**whole, **changes}


def without(path: str) -> dict:
    """The record with one thing emptied; ``a.0.b`` walks in."""
    found = copy.deepcopy(content())
    *way, last = path.split(".")
    place = found
    for step in way:
        place = place[int(step)] if step.isdigit() else place[step]
    place[last] = [] if isinstance(place[last], list) else None if isinstance(place[last], dict) else ""
    return found


ASKED = [e for e in Element if e not in KEPT_ELSEWHERE]


class TestBlanks:
    def test_a_whole_record_lacks_nothing(self):
        assert blanks(content(), Element) == []

    @pytest.mark.parametrize(
        ("path", "lacks"),
        [
            ("products.0.name", [Element.PRODUCT_NAME]),
            ("products.0.registration_number", [Element.REGISTRATION_NUMBER]),
            ("products.0.label.body.ingredients", [Element.ACTIVE_INGREDIENTS]),
            ("products.0.label", [Element.ACTIVE_INGREDIENTS]),
            ("products.0.per_acre", [Element.RATE]),
            ("blocks.0.code", [Element.LOCATION]),
            ("job.targets", [Element.TARGET]),
            ("readings.start.wind_mph", [Element.WIND]),
            ("readings.start.temperature_f", [Element.TEMPERATURE]),
            ("sprayer.method", [Element.METHOD]),
            ("sprayer.name", [Element.EQUIPMENT]),
            ("started_at", [Element.DATE, Element.START_TIME]),
            ("ended_at", [Element.END_TIME]),
            ("blocks.0.closures", [Element.ENTRY_INTERVAL]),
        ],
    )
    def test_each_blank_is_found_and_no_other(self, path, lacks):
        assert blanks(without(path), ASKED) == lacks

    def test_an_interval_that_is_not_known_is_a_blank(self):
        record = content()
        record["blocks"][0]["closures"] = [{"kind": "entry", "reason": "rei_missing", "ends_at": None}]
        assert blanks(record, [Element.ENTRY_INTERVAL]) == [Element.ENTRY_INTERVAL]

    def test_crop_or_site_is_either(self):
        record = content()
        record["blocks"][0]["crop"] = ""
        assert blanks(record, [Element.CROP_OR_SITE]) == []
        record["blocks"][0]["site_code"] = None
        assert blanks(record, [Element.CROP_OR_SITE]) == [Element.CROP_OR_SITE]

    def test_a_suspended_card_is_no_certificate(self):
        record = content(signer={"certificate": None})
        record["applicator"]["certificates"][0]["suspended"] = True
        assert blanks(record, [Element.CERTIFICATE]) == [Element.CERTIFICATE]

    def test_the_supervised_person_is_named_only_under_supervision(self):
        record = content(supervisor={"name": "Pia Holm", "certificates": []})
        assert blanks(record, [Element.SUPERVISED_PERSON]) == []
        record["applicator"] = {"name": "", "certificates": []}
        assert blanks(record, [Element.SUPERVISED_PERSON]) == [Element.SUPERVISED_PERSON]

    def test_a_product_that_was_not_used_and_a_block_that_was_not_treated_are_not_asked_for(self):
        record = content()
        record["products"].append({**record["products"][0], "amount": "0", "registration_number": ""})
        record["blocks"].append({**record["blocks"][0], "treated_acres": "0", "code": ""})
        assert blanks(record, ASKED) == []


class TestJudging:
    def test_what_is_missing_is_said_for_whom_and_by_when(self):
        record = without("products.0.registration_number")
        found = judge([RULES["us_worker_display"]], record, at("2026-06-01 10:00"))
        assert [(f.code, f.numbers["what"], f.numbers.get("due")) for f in found] == [
            ("record_blank", "registration number", "2026-06-02T14:30:00+00:00@America/Chicago"),
            ("record_elsewhere", "safety data sheet", None),
        ]
        assert found[0].source == RULES["us_worker_display"].source

    @pytest.mark.parametrize(
        ("signed", "late"),
        [("2026-06-02 09:29", False), ("2026-06-02 09:30", True)],
        ids=["the last minute", "24 hours after the end"],
    )
    def test_late_is_counted_from_the_first_signature(self, signed, late):
        codes = [f.code for f in judge([RULES["us_worker_display"]], content(), at(signed))]
        assert ("record_late" in codes) is late

    def test_a_report_to_an_office_is_never_late_here(self):
        """The book does not know when a report was sent."""
        codes = [f.code for f in judge([RULES["ca_report_grower"]], content(), at("2027-01-01 10:00"))]
        assert "record_late" not in codes

    def test_nothing_applied_needs_no_record(self):
        assert judge(PRESETS, content(meaning="not_applied"), at("2026-06-01 10:00")) == []

    def test_general_use_is_not_asked_for_what_restricted_use_is(self):
        record = content()
        record["products"][0]["label"]["body"]["restricted_use"] = False
        record["ended_at"] = "2025-06-01T14:30:00Z"
        bound = [s.rule.code for s in standings(PRESETS, record, at("2026-06-01 10:00"))]
        assert "us_restricted_private" not in bound
        assert "us_worker_display" in bound

    def test_what_decides_is_read_from_the_record(self):
        found = sprayed_of(content())
        assert (found.restricted, found.applicators, found.day) == (True, Applicators.PRIVATE, date(2026, 6, 1))
        assert found.entry_ends_at == datetime(2026, 6, 2, 2, 30, tzinfo=UTC)
        record = content(signer={"certificate": None})
        record["products"].append({**record["products"][0], "label": None})
        record["products"][0]["label"]["body"]["restricted_use"] = False
        assert (sprayed_of(record).restricted, sprayed_of(record).applicators) == (None, None)


class TestShipped:
    def test_every_shipped_rule_has_a_source_a_status_and_something_to_ask(self):
        assert len(RULES) == len(PRESETS)
        for rule in PRESETS:
            assert rule.source and rule.status is not Status.OWN and rule.elements
            assert set(rule.elements) <= set(ELEMENT_NAMES)
        states = {"WA", "CA", "MI", "DE", "ME", "MD", "OR", "US"}
        assert {r.jurisdiction for r in PRESETS} == states

    def test_the_federal_rule_asks_for_neither_times_nor_wind_nor_target(self):
        """7 CFR 110.3: start and end, rate, wind, temperature and target pest are not federally required."""
        asked = set(RULES["us_restricted_private"].elements)
        free = {Element.START_TIME, Element.END_TIME, Element.RATE, Element.WIND, Element.TEMPERATURE, Element.TARGET}
        assert asked & free == set()

    @pytest.mark.parametrize("rule", PRESETS, ids=lambda r: r.code)
    def test_a_rule_is_read_again_as_it_was_written(self, rule):
        assert from_json(json.loads(json.dumps(as_json(rule)))) == rule

    def test_a_rule_of_ones_own_too(self):
        rule = RecordRule(
            code="buyer", name="Buyer", jurisdiction="buyer", elements=(Element.TARGET,), source="contract",
            status=Status.OWN, asks=Asks.RECORD, products=Products.ALL, due_by=DueBy.DAYS_AFTER, due=3,
            valid_from=date(2026, 1, 1), valid_to=date(2027, 1, 1),
        )  # fmt: skip
        assert from_json(json.loads(json.dumps(as_json(rule)))) == rule
        assert not binds(replace(rule, valid_to=date(2026, 6, 1)), sprayed())
