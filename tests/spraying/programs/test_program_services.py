"""Setting programs up, changing them, deciding, planning their jobs, and what falls due: services and API."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest
from django.db import DatabaseError, IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from apps.audit.models import AuditEvent
from apps.crops import services as crops
from apps.spraying.due import due as plain_due
from apps.spraying.models import Job, Program, ProgramDecision
from apps.spraying.programs import queries, services
from apps.spraying.programs.checking import check_program
from apps.spraying.programs.due import due, next_due
from apps.spraying.programs.lengths import program_sprays
from apps.spraying.programs.rules import Choice, EndReason
from apps.weather import services as weather
from farmops.errors import BadInput, NotYourRole, Refused, Stale, Unknown
from tests.factories.crops import PlantingEventFactory, ScoutingNoteFactory
from tests.factories.spraying import NOW, line, shield_document
from tests.spraying.programs.conftest import DAY, MONDAY, cover_document, values_of

pytestmark = pytest.mark.django_db


def kinds(bench, days: int) -> list[tuple[str, int]]:
    return [(d.kind, d.subject_id) for d in due(bench.farm, NOW + days * DAY)]


def set_up(bench, passes=None, blocks=None, **changes):
    return services.set_up_program(
        member=bench.manager,
        values=values_of(bench, **changes),
        blocks=[b.pk for b in bench.blocks] if blocks is None else blocks,
        passes=[[line(bench.product)]] if passes is None else passes,
        now=NOW,
    )


class TestSettingUp:
    def test_written_down_whole_and_audited(self, bench):
        row = set_up(bench, passes=[[line(bench.product)], [line(bench.product, "6")]])
        assert (row.targets, row.rain_inches, row.set_up_on) == (["powdery_mildew"], Decimal(1), MONDAY)
        assert [[p.rate_amount for p in m.products.all()] for m in row.passes.all()] == [[Decimal(5)], [Decimal(6)]]
        assert AuditEvent.objects.get(verb="set up").after["passes"][1] == "Demo Shield 6 floz per_acre"

    @pytest.mark.parametrize(
        ("changes", "fields"),
        [
            ({"name": " "}, ["name"]),
            ({"crop_id": 987654}, ["crop_id"]),
            ({"start_kind": "whenever"}, ["start_kind"]),
            ({"start_on": None}, ["start_on"]),
            ({"start_kind": "growth_stage"}, ["start_stage"]),
            ({"start_kind": "growth_stage", "start_stage": "knee high"}, ["start_stage"]),
            ({"start_kind": "threshold", "start_threshold": "nothing"}, ["start_threshold"]),
            ({"from_days": 0}, ["from_days"]),
            ({"from_days": 9, "to_days": 8}, ["to_days"]),
            ({"to_days": ""}, ["to_days"]),
            ({"last_on": None}, ["last_on"]),
            ({"last_on": date(2026, 7, 5)}, ["last_on"]),
            ({"last_on": date(2029, 7, 5)}, ["last_on"]),
            ({"rain_inches": "0"}, ["rain_inches"]),
            ({"stop_days": "x"}, ["stop_days"]),
            ({"targets": ["!"]}, ["targets"]),
            ({"blocks": []}, ["blocks"]),
            ({"blocks": [987654]}, ["blocks"]),
        ],
        ids=str,
    )
    def test_what_cannot_be_is_named(self, bench, changes, fields):
        with pytest.raises(BadInput) as caught:
            set_up(bench, **changes)
        assert (sorted(caught.value.errors), Program.rows.count()) == (fields, 0)

    def test_faults_of_a_mix_stand_at_its_line(self, bench):
        with pytest.raises(BadInput) as caught:
            set_up(bench, passes=[[line(bench.product)], [line(bench.product, "0"), line(bench.product)], []])
        assert sorted(caught.value.errors) == ["passes.1", "passes.1.products.0.rate_amount", "passes.2"]

    def test_only_who_plans_jobs(self, bench, cast):
        with pytest.raises(NotYourRole):
            services.set_up_program(member=cast.applicator, values={}, blocks=[], passes=[], now=NOW)

    def test_another_farms_program_is_unknown(self, bench, cast):
        row = set_up(bench)
        with pytest.raises(Unknown):
            services.decide(
                member=cast.neighbour, program_id=row.pk, block_ids=[], choice="end", reason="mine", now=NOW
            )

    def test_the_database_keeps_a_start_whole(self, bench):
        row = set_up(bench)
        with pytest.raises(IntegrityError, match="program_start_whole"), transaction.atomic():
            Program.rows.filter(pk=row.pk).update(start_on=None)


class TestChanging:
    def test_one_thing_changes_and_the_rest_stays(self, season):
        play = season()
        row = services.change_program(
            member=play.bench.manager, program_id=play.program.pk, expected_version=1, changes={"to_days": 14}, now=NOW
        )
        assert (row.version, row.to_days, len(row.passes.all()), row.stop_days) == (2, 14, 3, 7)

    def test_two_managers_at_once(self, season):
        play = season()
        with pytest.raises(Stale):
            services.change_program(
                member=play.bench.manager, program_id=play.program.pk, expected_version=4, changes={}, now=NOW
            )

    def test_what_was_sprayed_and_decided_outlives_a_change(self, season):
        play = season()
        play.sprayed(1)
        decide(play, "skip", days=9)
        services.change_program(
            member=play.bench.manager, program_id=play.program.pk, expected_version=1, changes={"to_days": 12}, now=NOW
        )
        assert [w.state.value for w in play.course(NOW + 9 * DAY).behind] == ["done", "skipped"]

    def test_put_away_it_asks_nothing_and_stays_to_be_read(self, season):
        play = season()
        services.put_program_away(member=play.bench.manager, program_id=play.program.pk, expected_version=1, now=NOW)
        assert (kinds(play.bench, 0), queries.program(play.bench.farm, play.program.pk).version) == ([], 2)


def decide(play, choice: str, *, days: int = 0, blocks=(0,), reason: str = "looked at it"):
    return services.decide(
        member=play.bench.manager,
        program_id=play.program.pk,
        block_ids=[play.bench.blocks[b].pk for b in blocks],
        choice=choice,
        reason=reason,
        now=NOW + days * DAY,
    )


class TestDeciding:
    @pytest.mark.parametrize("choice", ["continue", "respray", "start", "resume"])
    def test_what_there_is_nothing_to_decide_about_is_refused(self, season, choice):
        with pytest.raises(Refused) as caught:
            decide(season(), choice)
        assert [f.code for f in caught.value.findings] == [f"cannot_{choice}"]
        assert ProgramDecision.rows.count() == 0

    @pytest.mark.parametrize(
        ("changes", "fields"),
        [({"reason": " "}, ["reason"]), ({"choice": "wait"}, ["choice"]), ({"blocks": ()}, ["blocks"])],
    )
    def test_never_without_a_reason_a_choice_and_a_block(self, season, changes, fields):
        with pytest.raises(BadInput) as caught:
            decide(season(), **{"choice": "end", **changes})
        assert sorted(caught.value.errors) == fields

    def test_who_and_why_are_kept_for_good(self, season):
        play = season()
        [made] = decide(play, "end", reason="The crop was sold.")
        end = play.course().end
        assert (end.reason, end.decision.by, end.decision.reason) == (
            EndReason.DECIDED, play.bench.manager.name, "The crop was sold.",
        )  # fmt: skip
        assert made.said["next"] == "pass 1, 2026-07-06 to 2026-07-09"
        with pytest.raises(DatabaseError), transaction.atomic():
            ProgramDecision.rows.filter(pk=made.pk).update(reason="something else")

    def test_one_block_ended_is_not_the_other(self, season):
        play = season()
        decide(play, "end")
        assert (play.course(block=0).next, play.course(block=1).next.pass_no) == (None, 1)
        decide(play, "resume", days=2)
        assert play.course(NOW + 2 * DAY).next.opens_on == MONDAY

    def test_a_respray_comes_after_the_labels_days(self, season):
        play = season()
        play.sprayed(1)
        decide(play, Choice.RESPRAY.value, days=2)
        window = play.course(NOW + 2 * DAY).next
        assert (window.pass_no, window.respray, window.opens_on) == (1, True, date(2026, 7, 14))


class TestTriggers:
    def test_first_bloom_from_an_event_or_a_look(self, season):
        play = season(start_kind="first_bloom", start_days=3)
        assert play.course().begun is False
        planting = play.followed().block.plantings.get()
        ScoutingNoteFactory(block=play.bench.blocks[0], looked_on=date(2026, 7, 12), crop_in_bloom="yes")
        assert play.course(NOW + 20 * DAY).behind[0].opens_on == date(2026, 7, 15)
        PlantingEventFactory(planting=planting, kind="bloom_start", on=date(2026, 7, 8))
        assert play.course(NOW + 5 * DAY).next.opens_on == date(2026, 7, 11)

    def test_a_stage_by_name(self, season):
        play = season(start_kind="growth_stage", start_stage="vining")
        ScoutingNoteFactory(block=play.bench.blocks[0], looked_on=date(2026, 7, 7), stage_code="leaf_4")
        assert play.course(NOW + 2 * DAY).next is None
        ScoutingNoteFactory(block=play.bench.blocks[0], looked_on=date(2026, 7, 9), stage_code="first_flower")
        assert play.course(NOW + 3 * DAY).next.opens_on == date(2026, 7, 9)

    def test_days_after_planting(self, season):
        assert season(start_kind="days_after_planting", start_days=40).course().next.opens_on == date(2026, 7, 20)

    def test_a_crop_that_was_terminated_ends_it(self, season):
        play = season()
        PlantingEventFactory(planting=play.followed().planting and play.bench.blocks[0].plantings.get(),
                             kind="terminated", on=MONDAY)  # fmt: skip
        assert play.course(NOW + DAY).end.reason is EndReason.CROP_ENDED

    def test_all_fruit_ripe_no_longer_pays(self, season):
        play = season()
        ScoutingNoteFactory(block=play.bench.blocks[0], looked_on=MONDAY - DAY, all_mature="yes")
        assert play.course().end.reason is EndReason.NOT_PAYING


class TestWhatCounts:
    def test_a_product_of_the_program_counts_without_a_target_and_another_one_does_not(self, season):
        play = season()
        play.sprayed(0, targets=[])
        weeds = play.bench.product_of("Demo Weed", shield_document() | {"kind": "herbicide"})
        play.sprayed(2, targets=["weeds"], products=[line(weeds)])
        assert [w.spray.on for w in play.course(NOW + 3 * DAY).behind] == [MONDAY]

    def test_another_product_against_the_target_is_the_pass_with_another_mix(self, season):
        play = season()
        play.sprayed(0, products=[line(play.bench.product)])
        [done] = play.course(NOW + DAY).behind
        assert (done.state.value, done.other_mix) == ("done", True)

    def test_the_labels_rain_free_hours_ask_too(self, season):
        play = season()
        play.sprayed(0)
        ended = NOW + timedelta(hours=2, minutes=40)
        weather.record_rainfall(
            member=play.bench.applicator, from_at=ended + timedelta(hours=1), until_at=ended + timedelta(hours=2),
            inches=Decimal("0.05"), now=ended + timedelta(hours=2),
        )  # fmt: skip
        [asked] = play.course(NOW + DAY).open_asks
        assert (asked.kind.value, asked.limit, asked.source) == (
            "rain_too_soon", Decimal(2), "label of Demo Cover, label version 1, hours without rain",
        )  # fmt: skip


class TestDue:
    """Seven to ten days, first window 6 to 9 July, on two blocks."""

    @pytest.mark.parametrize(
        ("days", "expected"),
        [(0, ["program_window"]), (2, ["program_window"]), (3, ["program_window"]), (4, ["program_missed"]),
         (17, ["program_missed", "program_missed"]), (31, ["program_missed"])],
    )  # fmt: skip
    def test_opening_closing_and_every_miss(self, season, days, expected):
        play = season(stop_days=None)
        found = [kind for kind, program in kinds(play.bench, days) if program == play.program.pk]  # both blocks in one
        assert found == expected

    def test_occasions_differ_for_each_window_and_phase(self, season):
        play = season()
        mine = play.program.pk
        said = [d.occasion for days in range(6) for d in due(play.bench.farm, NOW + days * DAY) if d.subject_id == mine]
        assert list(dict.fromkeys(said)) == [
            f"program {play.program.pk}: open 2026-07-06",
            f"program {play.program.pk}: closing 2026-07-06",
            f"program {play.program.pk}: missed 2026-07-06",
        ]

    def test_nothing_while_it_is_booked_in_time(self, season):
        play = season()
        play.bench.assigned(
            products=[line(play.cover)], targets=["powdery_mildew"],
            blocks=[{"block_id": b.pk} for b in play.bench.blocks],
        )  # fmt: skip
        assert kinds(play.bench, 0) == []

    def test_the_plain_interval_reminder_leaves_the_block_to_the_program(self, season):
        play = season(blocks=None)
        play.sprayed(0)
        plain = [d.kind for d in plain_due(play.bench.farm, NOW + 8 * DAY)]
        assert (plain, [k for k, _ in kinds(play.bench, 8)][:1]) == ([], ["program_window"])
        services.put_program_away(
            member=play.bench.manager, program_id=play.program.pk, expected_version=1, now=NOW + 8 * DAY
        )
        assert [d.kind for d in plain_due(play.bench.farm, NOW + 8 * DAY)] == ["spray_due"]

    def test_a_threshold_that_no_program_answers_is_told_too(self, bench):
        count = crops.record_count(
            member=bench.applicator, block_id=bench.blocks[0].pk, threshold_code="squash_bug_eggs", looked_on=MONDAY,
            places=[{"examined": 10, "found": 12}] * 5, now=NOW,
        )  # fmt: skip
        [told] = due(bench.farm, NOW)
        assert (told.kind, told.occasion, told.path) == (
            "threshold_reached", f"count {count.pk}", f"/f/{bench.farm.slug}/scouting/counts/{count.pk}/",
        )  # fmt: skip
        assert due(bench.farm, NOW + 7 * DAY) == []

    def test_a_threshold_on_a_treated_seedling_waits(self, season):
        play = season(start_kind="threshold", start_threshold="powdery_mildew_leaves")
        crops.set_threshold(
            member=play.bench.manager, code="powdery_mildew_leaves", expected_version=0, changes={"hold_days": "30"},
            now=NOW,
        )  # fmt: skip
        PlantingEventFactory(planting=play.bench.blocks[0].plantings.get(), kind="emerged", on=date(2026, 6, 17))
        crops.record_count(
            member=play.bench.applicator, block_id=play.bench.blocks[0].pk, threshold_code="powdery_mildew_leaves",
            looked_on=MONDAY, places=[{"examined": 50, "found": 2}], now=NOW,
        )  # fmt: skip
        assert (play.course().next, kinds(play.bench, 0)) == (None, [])

    def test_only_the_date_changes_it_by_itself(self, bench):
        assert next_due(bench.farm, NOW) == NOW.replace(hour=5) + DAY  # midnight in Chicago, CDT


class TestTheWholeSeason:
    def codes(self, play, now=NOW):
        found = check_program(queries.program(play.bench.farm, play.program.pk), now)
        return {
            b.followed.block.code: [
                (p.window.pass_no, sorted({f.code for f in p.findings if f.severity == "refuse"}),
                 sorted({f.code for f in p.late if f.severity == "refuse"}))
                for p in b.passes
            ]
            for b in found.blocks
        }  # fmt: skip

    def test_a_label_with_two_uses_refuses_the_third_pass(self, season):
        document = cover_document()
        document["uses"][0]["max_uses"] = 2
        document["uses"][0]["season_basis"] = "calendar"
        assert self.codes(season(document=document))["N1"] == [(1, [], []), (2, [], []), (3, ["max_apps"], [])]

    def test_what_was_sprayed_already_counts(self, season):
        document = cover_document()
        document["uses"][0] |= {"max_uses": 2, "season_basis": "calendar"}
        play = season(document=document)
        play.sprayed(0)
        assert self.codes(play, NOW + DAY)["N1"] == [(2, [], []), (3, ["max_apps"], [])]
        assert self.codes(play, NOW + DAY)["N2"][2] == (3, ["max_apps"], [])

    def test_pounds_of_the_season_are_summed_over_the_passes(self, season):
        """5 fl oz of 6 lb/gal is 0.234375 lb an acre: four passes are 0.9375, the fifth breaks a cap of 1 lb."""
        cap = {"ingredient": "chlorothalonil", "pounds": "1.0", "per": "year", "year_basis": "calendar"}
        found = self.codes(season(document=cover_document(caps=[cap]), passes=5))["N1"]
        assert [(n, refused) for n, refused, _ in found] == [
            (1, []), (2, []), (3, []), (4, []), (5, ["season_ai"]),
        ]  # fmt: skip

    def test_a_run_the_label_forbids(self, season):
        document = cover_document(
            groups=[{"scheme": "frac", "code": "11"}],
            group_run_limits=[{"scheme": "frac", "code": "11", "max_in_a_row": 2}],
        )
        found = self.codes(season(document=document))["N1"]
        assert [refused for _, refused, _ in found] == [[], [], ["group_consec_label"]]

    def test_the_last_pass_is_cut_to_what_the_harvest_leaves(self, season):
        """Harvest from 10 September; three weeks of wait: no window may reach past 20 August."""
        document = cover_document()
        document["uses"][0]["phi_days"] = 21
        play = season(document=document, passes=10, stop_days=None)
        planned = play.course().planned
        assert max(w.closes_on for w in planned) == date(2026, 8, 20)
        assert all("phi" not in refused + late for _, refused, late in self.codes(play)["N1"])

    def test_an_empty_shed_is_said_for_the_whole(self, season):
        """Two blocks × 3 passes × 5 fl oz an acre against the 5 gallons (640 fl oz) on the shelf."""
        play = season()
        found = check_program(queries.program(play.bench.farm, play.program.pk), NOW)
        acres = sum(b.planted_acres for b in play.bench.blocks)
        assert bool(found.whole) == (acres * 15 > 640)
        for block in play.bench.blocks:
            block.planted_acres = Decimal(40)
            block.save()
        [short] = check_program(queries.program(play.bench.farm, play.program.pk), NOW).whole
        assert (short.code, short.severity.value) == ("stock_short", "justify")
        assert short.numbers["needed"].startswith("9.375")  # 80 acres × 15 fl oz = 1200 fl oz = 9.375 gal

    def test_where_it_cannot_be_laid_it_says_so(self, season):
        play = season(start_kind="threshold", start_threshold="powdery_mildew_leaves")
        found = check_program(queries.program(play.bench.farm, play.program.pk), NOW)
        assert [[f.code for f in b.about] for b in found.blocks] == [["program_no_day"]] * 2

    def test_a_booked_job_is_not_counted_twice(self, season):
        document = cover_document()
        document["uses"][0] |= {"max_uses": 3, "season_basis": "calendar"}
        play = season(document=document)
        play.bench.assigned(products=[line(play.cover)], targets=["powdery_mildew"])
        assert [refused for _, refused, _ in self.codes(play)["N1"]] == [[], []]


class TestPlanning:
    def test_one_step_to_a_draft(self, season):
        play = season()
        job = services.plan_window_job(
            member=play.bench.manager, program_id=play.program.pk, block_ids=[b.pk for b in play.bench.blocks],
            sprayer_id=play.bench.sprayer.pk, window_starts_at=NOW + timedelta(hours=1),
            window_ends_at=NOW + timedelta(hours=4), now=NOW,
        )  # fmt: skip
        assert (job.state, job.targets, [b.block.code for b in job.job_blocks.all()]) == (
            "draft", ["powdery_mildew"], ["N1", "N2"],
        )  # fmt: skip
        assert [(p.product_id, p.rate_amount) for p in job.job_products.all()] == [(play.cover.pk, Decimal(5))]

    def test_blocks_that_wait_for_different_passes_are_two_jobs(self, season):
        play = season()
        play.sprayed(0)
        with pytest.raises(BadInput):
            services.plan_window_job(
                member=play.bench.manager, program_id=play.program.pk, block_ids=[b.pk for b in play.bench.blocks],
                sprayer_id=play.bench.sprayer.pk, window_starts_at=NOW + 8 * DAY, window_ends_at=NOW + 8.1 * DAY,
                now=NOW + DAY,
            )  # fmt: skip
        assert Job.rows.count() == 1


def test_over_the_api(season, api, bench, monkeypatch):
    monkeypatch.setattr("farmops.clock.now", lambda: NOW)
    play = season()
    client, where = api(bench.manager), f"/api/v1/farms/{bench.farm.slug}/programs/"
    [listed] = client.get(where).json()["results"]
    assert (listed["id"], listed["passes"][0]["products"][0]["product"]) == (play.program.pk, "Demo Cover")
    body = {
        "name": "Second", "crop_id": bench.crop.pk, "blocks": [bench.blocks[0].pk], "start_kind": "first_bloom",
        "from_days": 7, "to_days": 10, "last_on": "2026-09-01", "passes": [{"products": [line(bench.product)]}],
    }  # fmt: skip
    made = client.post(where, body, format="json")
    assert (made.status_code, made.json()["stop_days"], made.json()["rain_inches"]) == (201, 7, "1.00")
    own = f"{where}{play.program.pk}/"
    course = client.get(f"{own}course/").json()
    assert [(c["block"], c["next"]["opens_on"]) for c in course] == [
        (str(bench.blocks[0]), "2026-07-06"), (str(bench.blocks[1]), "2026-07-06"),
    ]  # fmt: skip
    checked = client.get(f"{own}check/").json()
    assert (checked["refused"], [len(b["passes"]) for b in checked["blocks"]]) == (False, [3, 3])
    changed = client.patch(own, {"to_days": 12}, format="json", HTTP_IF_MATCH='"v1"')
    assert (changed.status_code, changed.json()["to_days"], changed["ETag"]) == (200, 12, '"v2"')
    said = client.post(
        f"{own}decisions/", {"blocks": [bench.blocks[0].pk], "choice": "end", "reason": "sold"}, format="json"
    )
    assert (said.status_code, said.json()[0]["choice"]) == (201, "end")
    again = client.post(
        f"{own}decisions/", {"blocks": [bench.blocks[0].pk], "choice": "end", "reason": "sold"}, format="json"
    )
    assert (again.status_code, again.json()["findings"][0]["code"]) == (409, "cannot_end")
    assert [d["reason"] for d in client.get(f"{own}decisions/").json()["results"]] == ["sold"]
    assert client.post(f"{own}put-away/", HTTP_IF_MATCH='"v2"').json()["put_away_at"] is not None


def test_the_number_of_queries_depends_on_neither_history_nor_blocks_nor_passes(season, bench):
    play = season(passes=8, repeats=True, stop_days=None)

    def taken(act) -> int:
        with CaptureQueriesContext(connection) as context:
            act()
        return len(context)

    def everything() -> tuple[int, int]:
        row = queries.program(bench.farm, play.program.pk)
        late = NOW + 40 * DAY
        return taken(lambda: due(bench.farm, late)), taken(lambda: check_program(row, late))

    play.sprayed(0, blocks=(0, 1))
    one = everything()
    for days in (8, 16, 24, 32):
        play.sprayed(days, blocks=(0, 1))
    assert everything() == one
    assert max(one) < 30


def test_the_planned_length_of_a_program_on_each_of_its_blocks(season, bench):
    play = season(passes=4)
    ids = [b.pk for b in bench.blocks]
    assert program_sprays(bench.farm, ids, ["powdery_mildew", "squash_bug"]) == {ids[0]: 4, ids[1]: 4}
    assert program_sprays(bench.farm, ids[:1], ["powdery_mildew"]) == {ids[0]: 4}
    assert program_sprays(bench.farm, ids, ["downy_mildew"]) == {}
    services.put_program_away(member=bench.manager, program_id=play.program.pk, expected_version=1, now=NOW)
    assert program_sprays(bench.farm, ids, ["powdery_mildew"]) == {}
