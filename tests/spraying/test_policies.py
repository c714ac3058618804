"""Resistance advice as data: shipped tables kept with their sources, copied, edited, audited; labels still refuse."""

from __future__ import annotations

from fractions import Fraction

import pytest
import time_machine

from apps.audit.models import AuditEvent
from apps.people.models import Membership
from apps.spraying import checking, queries, services
from apps.spraying.facts import settings_of
from apps.spraying.models import AdviceRule
from apps.spraying.policies.queries import own_rules, policy_of, shown
from apps.spraying.policies.rules import about, read_row, row_of, rule_from, told
from apps.spraying.policies.services import add_advice, change_advice, copy_advice, drop_advice, follow_shipped
from apps.spraying.rules import PRESETS
from farmops.errors import BadInput, NotYourRole, Refused, Severity, Stale, Unknown
from tests.factories.spraying import NOW, line, shield_document

EVERY_RULE = [(name, n) for name, policy in PRESETS.items() for n in range(len(policy.group_rules))]


@pytest.mark.parametrize(("preset", "place"), EVERY_RULE, ids=[f"{p}-{n}" for p, n in EVERY_RULE])
def test_a_shipped_rule_comes_back_from_its_row_unchanged(preset, place):
    rule = PRESETS[preset].group_rules[place]
    assert rule_from(read_row(row_of(rule))) == rule
    assert told(rule) != [] and len(rule.source) >= 5


ONE = {"scheme": "frac", "code": "11", "max_in_a_row": 1, "source": "CropLife Australia"}
WRONG = [
    ("no_limit", {"max_in_a_row": None}, {"max_in_a_row"}),
    ("a_flag_alone_that_counts_nothing", {"max_in_a_row": "", "carry_over": True}, {"max_in_a_row"}),
    ("scheme", {"scheme": "moa"}, {"scheme"}),
    ("group", {"code": "11X"}, {"code"}),
    ("exempt_group", {"code": "M05"}, {"code"}),
    ("class", {"target_classes": ["weevils"]}, {"target_classes"}),
    ("source", {"source": " a "}, {"source"}),
    ("half_a_window", {"window_most": 1}, {"window_of"}),
    ("other_half", {"window_of": 3}, {"window_most"}),
    ("share_of_all", {"share_part": 3, "share_whole": 3}, {"share_part"}),
    ("zero", {"max_per_crop": 0}, {"max_per_crop"}),
    ("words", {"max_per_year": "few"}, {"max_per_year"}),
    ("too_many", {"generation_days": 121}, {"generation_days"}),
]


@pytest.mark.parametrize(("changes", "fields"), [r[1:] for r in WRONG], ids=[r[0] for r in WRONG])
def test_every_fault_is_named_at_its_field(changes, fields):
    with pytest.raises(BadInput) as caught:
        read_row({**ONE, **changes})
    assert set(caught.value.errors) == fields


def test_old_codes_are_turned_into_the_ones_in_use():
    """FRAC U15 is 49: Illinois Extension, 18 Aug 2017."""
    row = read_row({**ONE, "code": " u15 ", "share_part": "1", "share_whole": "3", "target_classes": ["oomycetes"]})
    rule = rule_from(row)
    assert (about(rule), rule.share, rule.share_from, rule.target_classes) == (
        "FRAC 49",
        Fraction(1, 3),
        3,
        frozenset({"oomycetes"}),
    )
    assert about(rule_from(read_row({**ONE, "code": ""}))) == "FRAC"


# ---- the farm's own table -----------------------------------------------------------------


@pytest.fixture
def own(bench):
    copy_advice(member=bench.manager, preset="extension", now=NOW)
    return bench


def trail(bench) -> list[tuple[str, str]]:
    rows = AuditEvent.objects.filter(
        farm=bench.farm, subject_type__in=["spraying.advicerule", "spraying.spraysettings"]
    )
    return [(e.verb, e.subject_type) for e in rows.order_by("pk")]


@pytest.mark.django_db
class TestOwnTable:
    def test_a_copied_table_judges_like_the_shipped_one(self, own):
        house = settings_of(own.farm)
        assert set(policy_of(house).group_rules) == set(PRESETS["extension"].group_rules)
        assert policy_of(house).bee_hours == PRESETS["extension"].bee_hours
        assert {(r.preset, r.edited) for r in shown(house)} == {("extension", False)}

    def test_an_edit_is_audited_and_keeps_where_the_rule_came_from(self, own):
        row = own_rules(own.farm).get(code="13", max_in_a_row=2)
        changed = change_advice(
            member=own.manager, rule_id=row.pk, expected_version=1, changes={"max_in_a_row": 1}, now=NOW
        )
        assert (changed.max_in_a_row, changed.edited, changed.preset, changed.source) == (
            1,
            True,
            "extension",
            row.source,
        )
        entry = AuditEvent.objects.filter(farm=own.farm, subject_type="spraying.advicerule").latest("pk")
        assert (entry.verb, entry.before, entry.after) == (
            "changed",
            {"edited": False, "max_in_a_row": 2},
            {"edited": True, "max_in_a_row": 1},
        )

    def test_a_rule_is_added_and_taken_out(self, own):
        row = add_advice(member=own.manager, values={**ONE, "code": "40"}, now=NOW)
        assert (row.preset, row.edited) == ("", False)
        with pytest.raises(Stale):
            drop_advice(member=own.manager, rule_id=row.pk, expected_version=7, now=NOW)
        drop_advice(member=own.manager, rule_id=row.pk, expected_version=1, now=NOW)
        assert not AdviceRule.rows.filter(pk=row.pk).exists()
        assert trail(own)[-2:] == [("added", "spraying.advicerule"), ("took out", "spraying.advicerule")]

    def test_back_to_a_shipped_table(self, own):
        follow_shipped(member=own.manager, preset="once_a_season", now=NOW)
        house = settings_of(own.farm)
        assert (house.own_advice, policy_of(house), own_rules(own.farm).count()) == (
            False,
            PRESETS["once_a_season"],
            0,
        )
        entry = AuditEvent.objects.filter(farm=own.farm, verb="gave up own advice").get()
        assert len(entry.before["rules"]) == len(PRESETS["extension"].group_rules)

    def test_a_shipped_table_is_not_changed(self, bench):
        with pytest.raises(Refused) as caught:
            add_advice(member=bench.manager, values=ONE, now=NOW)
        assert [f.code for f in caught.value.findings] == ["advice_is_shipped"]

    def test_an_unknown_table(self, bench):
        for act in (copy_advice, follow_shipped):
            with pytest.raises(BadInput):
                act(member=bench.manager, preset="mine", now=NOW)

    def test_the_settings_page_does_not_throw_the_own_table_away(self, own):
        house = settings_of(own.farm)
        with pytest.raises(BadInput) as caught:
            services.set_spray_settings(
                member=own.manager, expected_version=house.version, changes={"preset": "labels_only"}, now=NOW
            )
        assert list(caught.value.errors) == ["preset"]

    def test_only_a_manager_edits_and_only_the_own_farm(self, own, cast):
        with pytest.raises(NotYourRole):
            add_advice(member=own.applicator, values=ONE, now=NOW)
        row = own_rules(own.farm).first()
        Membership.rows.filter(person_id=cast.neighbour.person_id).update(is_manager=True)
        copy_advice(member=cast.neighbour, preset="extension", now=NOW)
        with pytest.raises(Unknown):
            change_advice(member=cast.neighbour, rule_id=row.pk, expected_version=1, changes={}, now=NOW)

    def test_the_table_has_an_end(self, own, monkeypatch):
        monkeypatch.setattr("apps.spraying.policies.services.MOST_RULES", own_rules(own.farm).count())
        with pytest.raises(BadInput):
            add_advice(member=own.manager, values=ONE, now=NOW)


@pytest.mark.django_db
def test_own_advice_asks_for_a_reason_and_a_label_limit_refuses_all_the_same(bench):
    """The label allows one spray of FRAC 40 in a row; the farm's advice of at most one a crop only asks."""
    limit = [{"scheme": "frac", "code": "40", "max_in_a_row": 1}]
    document = shield_document(groups=[{"scheme": "frac", "code": "40"}], group_run_limits=limit)
    for use in document["uses"]:
        use["min_interval_days"] = 0
    product = bench.product_of("Demo Forty", document)
    copy_advice(member=bench.manager, preset="labels_only", now=NOW)
    add_advice(member=bench.manager, values={**ONE, "code": "40", "max_in_a_row": None, "max_per_crop": 1}, now=NOW)
    bench.assigned(products=[line(product)])
    later = {"window_starts_at": bench.plan_values()["window_starts_at"].replace(day=8)}
    later["window_ends_at"] = later["window_starts_at"].replace(hour=17)
    job = bench.planned(products=[line(product)], **later)
    found = checking.flat(checking.check_job(queries.job(bench.farm, job.pk), checking.planned(job, NOW)))
    weights = {f.code: f.severity for f in found if f.code.startswith("group_")}
    assert weights == {"group_consec_label": Severity.REFUSE, "group_max_crop": Severity.JUSTIFY}
    assert [f.source for f in found if f.code == "group_max_crop"] == ["CropLife Australia"]


# ---- doors --------------------------------------------------------------------------------

API = "/api/v1/farms/alder-bend/spray-advice/"
PAGE = "/f/alder-bend/spray-advice/"


@pytest.fixture
def clock():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.mark.django_db
@pytest.mark.usefixtures("clock")
class TestDoors:
    def test_read_copy_add_change_drop_and_back(self, api, bench):
        client = api(bench.manager)
        assert client.get(API).json() == {"preset": "labels_only", "own_advice": False, "rules": []}

        body = client.post(f"{API}copy/", {"preset": "extension"}, format="json").json()
        eleven = [r for r in body["rules"] if r["group"] == "FRAC 11" and "Australia, cucurbit" in r["source"]]
        assert (body["own_advice"], eleven[0]["limits"]) == (
            True,
            ["At most 1 sprays in a row.", "At most 2 sprays in a crop.", "At most 1 of any 3 sprays in a row."],
        )
        added = client.post(f"{API}rules/", {**ONE, "code": "40"}, format="json")
        row = next(r for r in added.json()["rules"] if r["group"] == "FRAC 40" and not r["preset"])
        assert added.status_code == 201

        where = f"{API}rules/{row['id']}/"
        stale = client.patch(where, {"max_in_a_row": 2}, format="json", HTTP_IF_MATCH='"v9"')
        assert stale.status_code == 412
        body = client.patch(where, {"max_in_a_row": 2}, format="json", HTTP_IF_MATCH='"v1"').json()
        assert next(r for r in body["rules"] if r["id"] == row["id"])["limits"] == ["At most 2 sprays in a row."]

        body = client.post(f"{where}drop/", {"version": 2}, format="json").json()
        assert row["id"] not in [r["id"] for r in body["rules"]]
        body = client.post(f"{API}follow/", {"preset": "labels_only"}, format="json").json()
        assert body == {"preset": "labels_only", "own_advice": False, "rules": []}

    def test_the_page_and_its_steps(self, browser_client, bench):
        client = browser_client(bench.manager)
        assert "No resistance advice is followed" in client.get(PAGE).content.decode()
        client.post(PAGE, {"do": "copy", "preset": "extension"})
        row = own_rules(bench.farm).get(code="13", max_in_a_row=2)
        words = client.get(PAGE).content.decode()
        assert "follows its own table" in words and "two in a row" in words

        page = f"{PAGE}{row.pk}/"
        assert 'value="2"' in client.get(page).content.decode()
        typed = {**ONE, "code": "13", "max_in_a_row": "1", "target_classes": ["powdery_mildew"], "version": "1"}
        assert client.post(page, typed).headers["Location"] == PAGE
        row.refresh_from_db()
        assert (row.max_in_a_row, row.edited) == (1, True)
        assert "changed on this farm" in client.get(PAGE).content.decode()

        wrong = client.post(f"{PAGE}new/", {**ONE, "code": "zz"})
        assert (wrong.status_code, "There is no such group" in wrong.content.decode()) == (400, True)
        client.post(f"{PAGE}new/", {**ONE, "code": "40"})
        assert own_rules(bench.farm).filter(code="40", preset="").count() == 1

        client.post(PAGE, {"do": "drop", "rule": row.pk, "version": row.version})
        assert not own_rules(bench.farm).filter(pk=row.pk).exists()
        client.post(PAGE, {"do": "follow", "preset": "once_a_season"})
        assert (settings_of(bench.farm).preset, own_rules(bench.farm).count()) == ("once_a_season", 0)

    def test_an_applicator_reads_and_changes_nothing(self, browser_client, bench):
        client = browser_client(bench.applicator)
        assert "Take another table" not in client.get(PAGE).content.decode()
        assert client.post(PAGE, {"do": "copy", "preset": "extension"}).status_code == 403
        assert not settings_of(bench.farm).own_advice

    def test_a_row_that_is_gone(self, browser_client, bench):
        client = browser_client(bench.manager)
        client.post(PAGE, {"do": "copy", "preset": "extension"})
        assert client.post(PAGE, {"do": "drop", "rule": "none"}).status_code == 404
        assert client.get(f"{PAGE}999999/").status_code == 404
