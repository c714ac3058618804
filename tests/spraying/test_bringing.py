"""Bringing the past in: every row answered, all rows or none, once, and counted like any other spray."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from apps.audit import triggers
from apps.safety import queries as board
from apps.safety.models import Closure
from apps.spraying import proof
from apps.spraying.bringing import rules
from apps.spraying.bringing.queries import brought, digest_of
from apps.spraying.bringing.services import bring_in, examine
from apps.spraying.history import Labels, events_on
from apps.spraying.models import BroughtFile, BroughtSpray
from farmops import csv_read
from farmops.errors import BadInput, NotYourRole
from tests.factories.products import LabelFactory, ProductFactory
from tests.factories.spraying import NOW, line, shield_document

HEADER = "date,block,product,amount,unit,acres\n"
ROW = "2026-06-20,N1,Demo Shield,40,fl oz,8\n"
DAY = timedelta(days=1)


def faults(answers) -> list[tuple[int, str, str]]:
    return [(a.row, f.column, f.template) for a in answers for f in a.faults]


class TestReading:
    """The file itself. No database."""

    @pytest.mark.parametrize(
        ("text", "said"),
        [
            ("", "The file is empty."),
            ("\n \n", "The file is empty."),
            (HEADER, "The file names its columns and holds no rows."),
            ("date,block\n2026-01-01,N1\n", "There is no column “product”."),
            (HEADER.replace("acres", "acres,shoe_size"), "The column “shoe_size” is not known."),
            (HEADER.replace("unit", "unit,date"), "There are two columns “date”."),
            (HEADER + ROW * 5001, "The file holds too many rows"),
        ],
        ids=["empty", "blank lines", "no rows", "columns missing", "unknown column", "column twice", "too many"],
    )
    def test_what_is_no_such_file_is_said_at_once(self, text, said):
        with pytest.raises(BadInput) as error:
            rules.read(text)
        assert any(sentence.startswith(said) for sentence in error.value.errors["file"])

    @pytest.mark.parametrize("mark", ["", "\ufeff"], ids=["no mark", "byte-order mark"])
    @pytest.mark.parametrize("delimiter", [",", ";", "\t"], ids=["comma", "semicolon", "tab"])
    @pytest.mark.parametrize("ends", ["\n", "\r\n"], ids=["unix", "windows"])
    def test_marks_delimiters_and_line_ends_do_not_matter(self, mark, delimiter, ends):
        text = mark + (HEADER + ROW).replace(",", delimiter).replace("\n", ends)
        (answer,) = rules.read(text)
        assert answer.typed == rules.Typed(
            row=2, day=date(2026, 6, 20), start=None, end=None, block="N1", product="Demo Shield",
            amount=Decimal("40.0000"), unit="floz", acres=Decimal("8.0000"),
        )  # fmt: skip

    def test_bytes_that_are_not_utf8_are_named(self):
        assert csv_read.decoded("\ufeffdía".encode()) == "día"
        with pytest.raises(BadInput) as error:
            csv_read.decoded("día".encode("latin-1"))
        assert error.value.errors == {"file": ["Save the file as CSV in UTF-8."]}

    def test_columns_in_any_order_and_case_quotes_and_empty_lines(self):
        text = 'Acres,UNIT,Amount,Product,Block,Date,Note\n\n8,fl oz,40,Demo Shield,N1,2026-06-20,"two, passes"\n'
        (answer,) = rules.read(text)
        assert (answer.row, answer.typed.note, answer.typed.acres) == (3, "two, passes", 8)

    @pytest.mark.parametrize(
        ("row", "column", "said"),
        [
            ("06/07/2026,N1,Demo Shield,40,floz,8", "date", "can be read in more than one way"),
            ("2026-02-30,N1,Demo Shield,40,floz,8", "date", "There is no such day"),
            ("26-06-20,N1,Demo Shield,40,floz,8", "date", "can be read in more than one way"),
            ("1969-06-20,N1,Demo Shield,40,floz,8", "date", "before 1990"),
            (",N1,Demo Shield,40,floz,8", "date", "Fill this in."),
            ("2026-06-20,,Demo Shield,40,floz,8", "block", "Fill this in."),
            ("2026-06-20,N1,,40,floz,8", "product", "Fill this in."),
            ("2026-06-20,N1,Demo Shield,lots,floz,8", "amount", "must be a number"),
            ("2026-06-20,N1,Demo Shield,0,floz,8", "amount", "Must be above 0."),
            ("2026-06-20,N1,Demo Shield,-4,floz,8", "amount", "Must be 0 or more."),
            ("2026-06-20,N1,Demo Shield,1e999,floz,8", "amount", "plain number"),
            ("2026-06-20,N1,Demo Shield,40,oz,8", "unit", "An ounce can be a fluid ounce or a weight"),
            ("2026-06-20,N1,Demo Shield,40,jugs,8", "unit", "cannot be used here"),
            ("2026-06-20,N1,Demo Shield,40,acres,8", "unit", "cannot be used here"),
            ("2026-06-20,N1,Demo Shield,40,floz,0", "acres", "Must be above 0."),
            ("2026-06-20,N1,Demo Shield,40,floz,8,9", "", "more cells than the first line"),
        ],
        ids=lambda v: v[:40] if isinstance(v, str) else None,
    )
    def test_each_wrong_cell_is_answered_at_its_column(self, row, column, said):
        found = faults(rules.read(HEADER + row))
        assert [(r, c) for r, c, _ in found] == [(2, column)]
        assert said in found[0][2]

    @pytest.mark.parametrize(
        ("start", "end", "column"),
        [
            ("08:00", "", "end"),
            ("", "08:00", "start"),
            ("09:00", "08:00", "end"),
            ("25:00", "26:00", "start"),
            ("8 o'clock", "10:00", "start"),
        ],
    )
    def test_times_that_cannot_be(self, start, end, column):
        text = HEADER.replace("date", "date,start,end") + f"2026-06-20,{start},{end},N1,Demo Shield,40,floz,8"
        assert column in [c for _, c, _ in faults(rules.read(text))]

    def test_a_night_over_midnight_writes_its_day(self):
        text = HEADER.replace("date", "date,start,end") + "2026-06-20,22:00,2026-06-21 01:30,N1,Demo Shield,40,floz,8"
        (answer,) = rules.read(text)
        assert (answer.typed.start, answer.typed.end) == (datetime(2026, 6, 20, 22), datetime(2026, 6, 21, 1, 30))

    @pytest.mark.django_db
    def test_a_day_that_does_not_exist_is_answered_and_refused(self, bench):
        text = HEADER + "2026-02-30,N1,Demo Shield,40,floz,8"
        with pytest.raises(BadInput) as bad:
            bring_in(member=bench.manager, name="x.csv", text=text, now=NOW)
        assert bad.value.errors == {"row 2": ["date: There is no such day: 2026-02-30."]}

    def test_every_fault_of_a_row_is_said_not_the_first(self):
        found = faults(rules.read(HEADER + "yesterday,,Demo Shield,0,jugs,"))
        assert [c for _, c, _ in found] == ["date", "block", "amount", "unit", "acres"]

    @given(st.text(alphabet=st.characters(codec="utf-8"), max_size=300))
    def test_whatever_is_in_the_file_is_answered(self, text):
        try:
            answers = rules.read(HEADER + text)
        except BadInput:
            return
        assert all((a.typed is None) == bool(a.faults) for a in answers)


@pytest.mark.django_db
class TestAnswering:
    """Held against the farm. The bench's day is 6 July 2026."""

    def said(self, bench, *rows: str, header: str = HEADER) -> list[tuple[int, str, str]]:
        return faults(examine(bench.farm, header + "\n".join(rows), NOW).answers)

    @pytest.mark.parametrize(
        ("row", "column", "said"),
        [
            ("2026-06-20,Z9,Demo Shield,40,floz,8", "block", "There is no block “{typed}”"),
            ("2026-06-20,N1,Demo Nothing,40,floz,8", "product", "There is no product “{typed}”"),
            ("2026-06-20,N1,Demo Bare,40,floz,8", "product", "{product} has no checked label"),
            ("2026-07-07,N1,Demo Shield,40,floz,8", "date", "That is in the future."),
            ("2026-07-06,N1,Demo Shield,40,floz,8", "date", "For a spray of today give start and end"),
            ("2026-06-20,N1,Demo Shield,40,floz,80", "acres", "more than the block holds"),
            ("2026-06-20,N1,Demo Shield,40,lb,8", "unit", "measures it otherwise"),
        ],
        ids=["unknown block", "unknown product", "no label", "future", "today", "too many acres", "weight of a liquid"],
    )
    def test_what_the_farm_does_not_know_is_answered(self, bench, row, column, said):
        ProductFactory(farm=bench.farm, name="Demo Bare")
        (found,) = self.said(bench, row)
        assert (found[:2], found[2].startswith(said) or said in found[2]) == ((2, column), True)

    def test_mixed_units_are_read_each_by_its_own(self, bench):
        rows = ["2026-06-20,N1,Demo Shield,40,fl oz,8", "2026-06-20,N2,Demo Shield,2.5,pints,8"]
        found = examine(bench.farm, HEADER + "\n".join(rows), NOW)
        assert [(s.amount, s.unit) for s in found.sprays] == [(40, "floz"), (Decimal("2.5"), "pt")]
        assert [s.unit for s in found.sprays] == ["floz", "pt"]

    def test_a_duplicate_is_answered_wherever_it_is(self, bench):
        twice = ["2026-06-20,N1,Demo Shield,40,floz,8", "2026-06-20,n1,demo shield,20,floz,4"]
        assert [(r, c) for r, c, _ in self.said(bench, *twice)] == [(3, "")]
        bring_in(member=bench.manager, name="first", text=HEADER + twice[0], now=NOW)
        assert [(r, c) for r, c, _ in self.said(bench, twice[1])] == [(2, "")]
        bench.signed()
        later = NOW + DAY
        again = examine(bench.farm, HEADER + "2026-07-06,N1,Demo Shield,40,floz,8", later)
        assert [f.numbers["where"] for a in again.answers for f in a.faults] == ["job 1"]

    def test_two_sprays_of_one_day_with_their_times_are_two(self, bench):
        header = HEADER.replace("date", "date,start,end")
        rows = ["2026-06-20,06:00,07:00,N1,Demo Shield,20,floz,4", "2026-06-20,18:00,19:00,N1,Demo Shield,20,floz,4"]
        assert self.said(bench, *rows, header=header) == []

    def test_a_wait_its_label_does_not_say_stops_a_recent_row_and_not_an_old_one(self, bench):
        document = shield_document()
        del document["rei_hours"]
        bench.product_of("Demo Silent", document)
        (found,) = self.said(bench, "2026-06-20,N1,Demo Silent,40,floz,8")
        assert found[:2] == (2, "product")
        assert self.said(bench, "2024-06-20,N1,Demo Silent,40,floz,8") == []

    @pytest.mark.parametrize(
        ("start", "said"),
        [("2026-03-08 02:30", "does not exist"), ("2025-11-02 01:30", "happens twice")],
        ids=["skipped hour", "hour that came twice"],
    )
    def test_hours_of_the_clock_changes_are_answered(self, bench, start, said):
        """America/Chicago; the changes of 2025 and 2026."""
        day = start[:10]
        text = HEADER.replace("date", "date,start,end") + f"{day},{start},{day} 04:00,N1,Demo Shield,40,floz,8"
        (found,) = faults(examine(bench.farm, text, NOW).answers)
        assert (found[1], said in found[2]) == ("start", True)


@pytest.mark.django_db
class TestAllOrNothing:
    def test_one_bad_row_stops_the_whole_file(self, bench):
        text = HEADER + ROW + "2026-06-21,Z9,Demo Shield,40,floz,8\n"
        with pytest.raises(BadInput) as error:
            bring_in(member=bench.manager, name="past.csv", text=text, now=NOW)
        assert list(error.value.errors) == ["row 3"]
        assert (BroughtFile.rows.count(), BroughtSpray.rows.count(), Closure.rows.count()) == (0, 0, 0)

    def test_the_same_file_again_changes_nothing(self, bench):
        first = bring_in(member=bench.manager, name="past.csv", text=HEADER + ROW, now=NOW)
        windows = "\ufeff" + (HEADER + ROW).replace("\n", "\r\n")
        again = bring_in(member=bench.manager, name="other name.csv", text=windows, now=NOW + DAY)
        assert (again.pk, BroughtSpray.rows.count()) == (first.pk, 1)
        assert examine(bench.farm, HEADER + ROW, NOW).known == first

    @pytest.mark.parametrize("who", ["applicator", "staff"])
    def test_only_a_manager_brings_in(self, bench, cast, who):
        with pytest.raises(NotYourRole):
            bring_in(member=cast.by_role(who), name="past.csv", text=HEADER + ROW, now=NOW)

    def test_it_is_kept_and_checked_like_the_rest_of_the_book(self, bench):
        file = bring_in(member=bench.manager, name="past.csv", text=HEADER + ROW, now=NOW)
        assert (file.digest, list(proof.faults([bench.farm], {}))) == (digest_of(HEADER + ROW), [])
        for change in (
            lambda: BroughtFile.rows.update(text=HEADER),
            lambda: BroughtSpray.rows.all().delete(),
        ):
            triggers.remove()
            try:
                change()
            finally:
                triggers.install()
            assert proof.brought_fault(bench.farm).code == "brought"


@pytest.mark.django_db
class TestCounted:
    def test_it_counts_in_history_beside_the_jobs_and_in_order(self, bench):
        bench.signed()
        text = HEADER + ROW + "2024-06-20,N1,Demo Shield,44,floz,8\n"
        bring_in(member=bench.manager, name="past.csv", text=text, now=NOW)
        events = events_on(bench.farm, [b.pk for b in bench.blocks], labels=Labels())
        here = events[bench.blocks[0].pk]
        assert [(e.on_date, e.job_ref) for e in here] == [
            (date(2024, 6, 20), "past.csv, row 3"),
            (date(2026, 6, 20), "past.csv, row 2"),
            (date(2026, 7, 6), "job 1"),
        ]
        assert [e.lines[0].rate.quantity.amount for e in here[:2]] == [Decimal("5.5"), 5]
        assert here[1].site_code == "winter_squash"
        assert list(events) == [bench.blocks[0].pk]

    def test_rows_of_one_tank_are_one_spray(self, bench):
        bench.product_of("Demo Other", shield_document())
        text = HEADER + ROW + ROW.replace("Shield", "Other")
        bring_in(member=bench.manager, name="past.csv", text=text, now=NOW)
        (event,) = events_on(bench.farm, [bench.blocks[0].pk], labels=Labels())[bench.blocks[0].pk]
        assert [ln.name for ln in event.lines] == ["Demo Shield", "Demo Other"]

    def test_a_season_limit_is_reached_with_it(self, bench):
        """The label allows two applications a season: what was brought in uses them up."""
        document = shield_document()
        document["uses"][0] |= {"max_uses": 2, "season_basis": "calendar"}
        twice = bench.product_of("Demo Twice", document)
        before = self.codes(bench, products=[line(twice)])
        days = (date(2026, 6, 11), date(2026, 6, 20))
        rows = "".join(ROW.replace("2026-06-20", d.isoformat()).replace("Shield", "Twice") for d in days)
        bring_in(member=bench.manager, name="past.csv", text=HEADER + rows, now=NOW)
        assert self.codes(bench, products=[line(twice)]) - before == {"max_apps"}

    def codes(self, bench, **changes) -> set[str]:
        return {f["code"] for b in bench.planned(**changes).findings for f in b["findings"]}

    def test_the_wait_between_sprays_counts_from_it(self, bench):
        before = self.codes(bench)
        text = HEADER + ROW.replace("2026-06-20", "2026-07-03")
        bring_in(member=bench.manager, name="past.csv", text=text, now=NOW)
        assert "interval" in self.codes(bench) - before

    def test_waits_that_still_run_close_the_block_from_the_last_minute_of_the_day(self, bench):
        """A day alone counts to 23:59 (project rule): 12 hours and 3 days from there."""
        text = HEADER + ROW.replace("2026-06-20", "2026-07-05")
        bring_in(member=bench.manager, name="past.csv", text=text, now=NOW)
        ended = datetime(2026, 7, 6, 4, 59, tzinfo=UTC)
        rows = Closure.rows.order_by("kind").values_list("kind", "ends_at", "block__code")
        assert list(rows) == [
            ("entry", ended + timedelta(hours=12), "N1"),
            ("harvest", ended + timedelta(days=3), "N1"),
        ]
        answer = board.entry_answer(bench.blocks[0], activity=None, at=NOW, now=NOW)
        assert (answer.answer, answer.opens_at) == ("no", ended + timedelta(hours=12))

    def test_waits_that_are_over_close_nothing(self, bench):
        bring_in(member=bench.manager, name="past.csv", text=HEADER + ROW, now=NOW)
        assert Closure.rows.count() == 0

    def test_before_the_first_label_the_first_one_counts(self, bench):
        product = ProductFactory(farm=bench.farm, name="Demo Late")
        label = LabelFactory(product=product, number=1, effective_on=date(2026, 6, 30), document=shield_document())
        bring_in(member=bench.manager, name="past.csv", text=HEADER + ROW.replace("Demo Shield", "Demo Late"), now=NOW)
        assert brought(bench.farm).get().label_version == label


@pytest.mark.django_db
class TestDoors:
    def test_over_http_first_answered_then_brought_in(self, api, bench):
        client, address = api(bench.manager), f"/api/v1/farms/{bench.farm.slug}/past-applications/"
        body = {"name": "past.csv", "text": HEADER + ROW + "2026-06-21,Z9,Demo Shield,40,floz,8\n"}
        checked = client.post(address + "check/", body, format="json").json()
        assert (checked["good"], [(r["row"], r["good"]) for r in checked["rows"]]) == (False, [(2, True), (3, False)])
        assert checked["rows"][1]["faults"] == [{"column": "block", "said": "There is no block “Z9”. Use its code."}]
        refused = client.post(address + "files/", body, format="json")
        assert (refused.status_code, "row 3" in refused.content.decode()) == (400, True)
        made = client.post(address + "files/", {**body, "text": HEADER + ROW}, format="json")
        assert (made.status_code, made.json()["rows"], made.json()["brought_by"]) == (201, 1, "Ines Prado")
        (row,) = client.get(address).json()["results"]
        assert (row["signed_here"], row["product"], row["date_only"]) == (False, "Demo Shield", True)
        assert api(bench.applicator).post(address + "files/", body, format="json").status_code == 403

    def test_on_the_pages_the_answer_comes_before_the_button(self, browser_client, bench, tmp_path):
        client, place = browser_client(bench.manager), f"/f/{bench.farm.slug}/records/past/"
        good, bad = tmp_path / "good.csv", tmp_path / "bad.csv"
        good.write_text("\ufeff" + HEADER + ROW, encoding="utf-8")
        bad.write_text(HEADER + "20 June,N1,Demo Shield,40,floz,8\n", encoding="utf-8")
        with bad.open("rb") as file:
            page = client.post(place, {"file": file}).content.decode()
        assert "1 row cannot be brought in. Nothing was written." in page
        assert "Bring all of them in" not in page
        with good.open("rb") as file:
            page = client.post(place, {"file": file}).content.decode()
        assert "1 row can be brought in." in page
        assert BroughtFile.rows.count() == 0
        typed = {"name": "good.csv", "text": HEADER + ROW, "once_key": "e" * 32}
        page = client.post(place + "all/", typed, follow=True).content.decode()
        assert "brought in, not signed here" in page
        assert BroughtSpray.rows.count() == 1

    def test_a_file_in_another_encoding_is_named_on_the_page(self, browser_client, bench, tmp_path):
        path = tmp_path / "old.csv"
        path.write_bytes((HEADER + ROW.replace("N1", "ñ")).encode("latin-1"))
        with path.open("rb") as file:
            answer = browser_client(bench.manager).post(f"/f/{bench.farm.slug}/records/past/", {"file": file})
        assert (answer.status_code, "Save the file as CSV in UTF-8." in answer.content.decode()) == (400, True)


def test_a_line_of_the_bench_is_what_the_rows_are_compared_with():
    """The factories' own line is 5 fl oz an acre: 40 fl oz on 8 acres are the same rate."""
    assert line(type("P", (), {"pk": 1}))["rate_amount"] == str(40 // 8)
