"""Signed records and steps only grow, and ``check_records`` finds what raw SQL did behind the book's back."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from io import StringIO

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command
from django.db import DatabaseError, IntegrityError, connection, transaction

from apps.audit import triggers
from apps.products.models import LabelVersion
from apps.safety.models import Closure
from apps.spraying import heads, queries
from apps.spraying.amending.services import amend_job
from apps.spraying.models import Job, JobStep, SprayRecord
from apps.spraying.rules.record import GENESIS, Meaning, canonical, chain_hash, content_hash
from tests.factories.spraying import SIGNED, line, shield_document

pytestmark = pytest.mark.django_db
HOUR = timedelta(hours=1)


def sql(statement: str, *values: object) -> None:
    with connection.cursor() as cursor:
        cursor.execute(statement, list(values))


@pytest.fixture
def chain(bench):
    """Three records: two blocks sprayed, and one job that was not applied."""
    first = bench.signed()
    second = bench.signed(blocks=[{"block_id": bench.blocks[1].pk}])
    other = bench.product_of("Demo Other", shield_document() | {"rei_hours": "4"})
    third = bench.sign(bench.assigned(products=[line(other)]), meaning=Meaning.NOT_APPLIED)
    return [first, second, third]


def checked(*options: str) -> str:
    out = StringIO()
    call_command("check_records", *options, stdout=out)
    return out.getvalue()


def fault(*options: str) -> str:
    with pytest.raises(CommandError) as error:
        checked(*options)
    assert error.value.returncode == 1
    return str(error.value)


@pytest.mark.parametrize("table", ["spraying_sprayrecord", "spraying_jobstep"])
@pytest.mark.parametrize(
    "statement", ["UPDATE {} SET version = 7 WHERE id = %s", "DELETE FROM {} WHERE id = %s"], ids=["update", "delete"]
)
def test_the_database_refuses_to_change_what_only_grows(bench, table, statement):
    record = bench.signed()
    row = record.pk if table == "spraying_sprayrecord" else record.job.steps.first().pk
    with pytest.raises(DatabaseError, match=triggers.REFUSAL), transaction.atomic():
        sql(statement.format(table), row)
    assert checked().endswith("Records, ledger and board agree.\n")


@pytest.mark.parametrize(
    "changes",
    [{"seq": 1, "prev_hash": "1" * 64, "edition": 2}, {"seq": 2, "prev_hash": GENESIS, "edition": 2}],
    ids=["a second record 1", "a second chain"],
)
def test_the_database_refuses_a_fork(bench, changes):
    first = bench.signed()
    row = {
        "farm": bench.farm,
        "job": first.job,
        "hash": "2" * 64,
        "body_text": "{}",
        "meaning": "applied",
        "signed_by_id": first.signed_by_id,
        "signed_at": SIGNED,
        **changes,
    }
    with pytest.raises(IntegrityError), transaction.atomic():
        SprayRecord.rows.create(**row)


def test_the_database_refuses_a_second_record_of_the_same_edition(bench):
    first = bench.signed()
    with pytest.raises(IntegrityError), transaction.atomic():
        SprayRecord.rows.create(
            farm=bench.farm,
            job=first.job,
            seq=2,
            prev_hash=first.hash,
            hash="2" * 64,
            body_text="{}",
            meaning="applied",
            signed_by_id=first.signed_by_id,
            signed_at=SIGNED,
        )


@pytest.mark.parametrize(
    "values",
    [
        {"state": "lost"},
        {"state": "assigned", "applicator_id": None},
        {"state": "spraying", "started_at": None},
        {"state": "signed", "ended_at": None},
        {"doubt": True},
    ],
    ids=lambda v: str(v),
)
def test_the_database_refuses_states_that_cannot_be(bench, values):
    job = bench.sprayed()
    with pytest.raises(IntegrityError), transaction.atomic():
        Job.rows.filter(pk=job.pk).update(**values)


# ---- check_records ---------------------------------------------------------------------


def test_an_untouched_book_agrees_and_its_head_is_said(chain):
    said = checked()
    assert said == (
        f"alder-bend: 3 records, head {chain[2].hash}\n"
        "far-side: 0 records, head none\n"
        "Records, ledger and board agree.\n"
    )


def test_one_farm_can_be_asked_and_an_unknown_one_is_named(chain):
    assert checked("far-side") == "far-side: 0 records, head none\nRecords, ledger and board agree.\n"
    assert "no such farm: nowhere" in fault("nowhere")


def rewrite_text(chain):
    text = chain[0].body_text.replace("Demo Shield", "Demo Water")
    sql("UPDATE spraying_sprayrecord SET body_text = %s WHERE id = %s", text, chain[0].pk)


def rewrite_text_and_hash(chain):
    body = json.loads(chain[0].body_text)
    body["content"]["products"][0]["amount"] = "1"
    body["signature"]["shown_hash"] = content_hash(body["content"])
    text = canonical(body)
    digest = chain_hash(chain[0].prev_hash, text)
    sql("UPDATE spraying_sprayrecord SET body_text = %s, hash = %s WHERE id = %s", text, digest, chain[0].pk)


def delete_middle(chain):
    sql("DELETE FROM spraying_sprayrecord WHERE id = %s", chain[1].pk)


def delete_tail(chain):
    sql("DELETE FROM spraying_sprayrecord WHERE id = %s", chain[2].pk)


def change_signer(chain):
    planner = chain[0].job.created_by_id
    sql("UPDATE spraying_sprayrecord SET signed_by_id = %s WHERE id = %s", planner, chain[0].pk)


def change_time(chain):
    sql("UPDATE spraying_sprayrecord SET signed_at = %s WHERE id = %s", SIGNED - timedelta(days=1), chain[0].pk)


def unsign_job(chain):
    sql("UPDATE spraying_job SET state = 'sprayed' WHERE id = %s", chain[0].job_id)


def open_block(chain):
    sql("UPDATE safety_closure SET lifted_at = %s, lift_reason = 'called_off' WHERE kind = 'entry'", SIGNED)


def shorten_closure(chain):
    sql("UPDATE safety_closure SET ends_at = %s, speaks_until = %s WHERE kind = 'harvest'", SIGNED, SIGNED)


def delete_closures(chain):
    sql("DELETE FROM safety_closure WHERE kind = 'entry'")


def unmake_an_edition(chain):
    sql("UPDATE spraying_sprayrecord SET supersedes_id = %s WHERE id = %s", chain[0].pk, chain[1].pk)


def draw_less(chain):
    """The lines and both balances, all changed to agree with one another: only the signed record disagrees."""
    for table in ("inventory_productstock", "inventory_lot"):
        sql(f"UPDATE {table} SET on_hand = on_hand + 0.1 WHERE product_id = %s", product_of(chain[0]))
    sql(
        "UPDATE inventory_ledgerline SET on_hand_change = on_hand_change + 0.1 WHERE kind = 'draw' AND source_id = %s",
        str(chain[0].job_id),
    )


def product_of(record) -> int:
    return json.loads(record.body_text)["content"]["products"][0]["product_id"]


def rewrite_label(chain):
    row = LabelVersion.rows.order_by("pk").first()
    LabelVersion.rows.filter(pk=row.pk).update(body={**row.body, "rei_hours": "1"})


def water_the_stock(chain):
    sql("UPDATE inventory_productstock SET on_hand = on_hand + 1")


TAMPERING = {
    "text": (rewrite_text, "alder-bend: record 1: its text was changed after signing (hash)"),
    "text and hash": (rewrite_text_and_hash, "alder-bend: record 2: does not stand on the record before it (link)"),
    "one taken out": (delete_middle, "alder-bend: record 2: missing: the next one is 3 (gap)"),
    "the tail taken off": (delete_tail, "alder-bend: job 3: its state is not what its record says (job)"),
    "signer": (change_signer, "alder-bend: record 1: its signer is not the signed one (column)"),
    "time": (change_time, "alder-bend: record 1: its time of signing is not the signed one (column)"),
    "job": (unsign_job, "alder-bend: job 1: its state is not what its record says (job)"),
    "opened": (open_block, "alder-bend: record 1: the board lacks its entry closure on N1 (board)"),
    "shortened": (shorten_closure, "alder-bend: record 1: the board lacks its harvest closure on N1 (board)"),
    "closures deleted": (delete_closures, "alder-bend: record 1: the board lacks its entry closure on N1 (board)"),
    "stock": (water_the_stock, "is kept as"),
    "stock and ledger": (draw_less, "alder-bend: record 1: Demo Shield:"),
    "edition": (unmake_an_edition, "alder-bend: record 2: its record it corrects is not the signed one (column)"),
    "label": (rewrite_label, "its document is not the one that was hashed (label)"),
}


@pytest.mark.parametrize("name", TAMPERING)
def test_with_the_triggers_gone_the_first_fault_is_named(chain, name):
    tamper, said = TAMPERING[name]
    triggers.remove()
    try:
        tamper(chain)
    finally:
        triggers.install()
    assert said in fault()


def test_a_cut_tail_with_everything_else_cut_too_is_found_by_a_kept_head(chain):
    """Restoring an old backup: chain, jobs and board agree with one another, only the head kept elsewhere knows."""
    kept = chain[2].hash
    triggers.remove()
    try:
        sql("DELETE FROM spraying_sprayrecord WHERE id = %s", chain[2].pk)
        sql("UPDATE spraying_job SET not_applied_at = NULL WHERE id = %s", chain[2].job_id)
    finally:
        triggers.install()
    assert "Records, ledger and board agree." in checked()
    assert "is no longer in the chain (head)" in fault(f"--head=alder-bend={kept}")
    assert "agree" in checked(f"--head=alder-bend={chain[1].hash}")


def test_missing_triggers_are_a_fault(chain):
    triggers.remove()
    try:
        assert "this trigger is missing" in fault()
    finally:
        triggers.install()


def test_a_condition_attested_on_the_board_is_no_fault(bench):
    document = shield_document() | {"condition_release": "Do not enter until sprays have dried."}
    bench.signed(products=[line(bench.product_of("Demo Wet", document))])
    wet = Closure.rows.get(reason_code="until_dry")
    timed = Closure.rows.filter(kind="entry").exclude(pk=wet.pk)
    assert timed.count() == 1
    triggers.remove()
    try:
        sql("UPDATE safety_closure SET lifted_at = %s, lift_reason = 'attested' WHERE id = %s", SIGNED, wet.pk)
    finally:
        triggers.install()
    assert "agree" in checked()


# ---- corrections -----------------------------------------------------------------------


@pytest.fixture
def reopened(chain, bench):
    """The first record is being corrected: its job is open again and unsigned."""
    job = queries.job(bench.farm, chain[0].job_id)
    done = bench.done_values(job, loads="4")
    amend_job(member=bench.applicator, job_id=job.pk, done=done, reason="miscounted", now=SIGNED + HOUR)
    return job


def test_a_book_with_a_correction_under_way_agrees(reopened):
    assert "Records, ledger and board agree." in checked()


def test_an_open_correction_without_its_step_is_found(reopened):
    triggers.remove()
    try:
        JobStep.rows.filter(job=reopened, step="amend").delete()
    finally:
        triggers.install()
    assert "job 1: its state is not what its record says (job)" in fault()


def test_a_block_opened_while_its_record_is_unsigned_is_found(reopened):
    triggers.remove()
    try:
        sql("UPDATE safety_closure SET lifted_at = %s, lift_reason = 'lengthened' WHERE kind = 'unconfirmed'", SIGNED)
    finally:
        triggers.install()
    assert "it is unsigned again, and the board lacks its unconfirmed closure on N1 (board)" in fault()


def test_the_closures_of_the_newest_edition_count_not_those_it_replaced(reopened, bench):
    bench.sign(queries.job(bench.farm, reopened.pk), now=SIGNED + 2 * HOUR)
    assert "agree" in checked()
    newest = Closure.rows.filter(block=bench.blocks[0], kind="entry", lifted_at=None).get()
    triggers.remove()
    try:
        sql("DELETE FROM safety_closure WHERE id = %s", newest.pk)
    finally:
        triggers.install()
    assert Closure.rows.filter(block=bench.blocks[0], kind="entry", lift_reason="resigned").count() == 1
    assert "record 4: the board lacks its entry closure on N1 (board)" in fault()


# ---- a head that was kept elsewhere ----------------------------------------------------


def kept_file(tmp_path) -> str:
    out = StringIO()
    call_command("chain_head", stdout=out)
    path = tmp_path / "heads.json"
    path.write_text(out.getvalue(), encoding="utf-8")
    return str(path)


def forget_the_last(chain) -> None:
    """Everything the last signature left behind, as if it had never been."""
    sql("DELETE FROM spraying_sprayrecord WHERE id = %s", chain[2].pk)
    sql("UPDATE spraying_job SET not_applied_at = NULL WHERE id = %s", chain[2].job_id)


def rewrite_everything(chain) -> None:
    """A clever hand: the first record changed, and every hash after it made again. The book agrees with itself."""
    prev = GENESIS
    for row in SprayRecord.rows.order_by("seq"):
        body = json.loads(row.body_text)
        if row.seq == 1:
            body["content"]["job"]["notes"] = "as it should have been"
            body["signature"]["shown_hash"] = content_hash(body["content"])
        text = canonical(body)
        digest = chain_hash(prev, text)
        SprayRecord.rows.filter(pk=row.pk).update(body_text=text, prev_hash=f"{row.seq:064d}", hash=digest)
        SprayRecord.rows.filter(pk=row.pk).update(prev_hash=prev)
        prev = digest


def cut_the_steps(chain) -> None:
    sql("DELETE FROM spraying_jobstep WHERE id IN (SELECT max(id) FROM spraying_jobstep)")


HANDS = {
    "cut short": (forget_the_last, "had 3 records then and has 2 now: it was cut short or an old copy is in use"),
    "rewritten": (rewrite_everything, "record 3 is not the one that stood there then (rewritten)"),
    "steps cut": (cut_the_steps, "spraying_jobstep had"),
}


@pytest.mark.parametrize("hand", HANDS)
def test_what_agrees_with_itself_is_found_by_a_head_that_was_kept(chain, tmp_path, hand):
    tamper, said = HANDS[hand]
    path = kept_file(tmp_path)
    assert "agree" in checked(f"--against={path}")
    triggers.remove()
    try:
        tamper(chain)
    finally:
        triggers.install()
    assert "agree" in checked()
    assert said in fault(f"--against={path}")


def test_a_book_that_only_grew_agrees_with_its_old_head(chain, bench, tmp_path):
    path = kept_file(tmp_path)
    bench.signed(products=[line(bench.product_of("Demo New", shield_document()))])
    assert "alder-bend: 4 records" in checked(f"--against={path}")


@pytest.mark.parametrize("text", ["", "no json", "[]", "{}", '{"heads": [{"farm": "alder-bend"}]}'])
def test_a_file_that_holds_no_heads_is_named(chain, tmp_path, text):
    path = tmp_path / "heads.json"
    path.write_text(text, encoding="utf-8")
    assert "cannot be read as chain heads" in fault(f"--against={path}")
    assert "cannot be read" in fault(f"--against={tmp_path / 'nowhere.json'}")


def test_a_farm_that_is_gone_is_a_fault(chain, tmp_path):
    path = tmp_path / "heads.json"
    path.write_text('{"farm": "lost-farm", "records": 1, "head": "00"}', encoding="utf-8")
    assert "lost-farm: the book has no such farm any more (farm)" in fault(f"--against={path}")


def test_the_head_of_the_day_goes_to_the_managers_once(chain, bench):
    """From six in the morning, farm time, on days after something was signed."""
    early, morning = datetime(2026, 7, 7, 10, 59, tzinfo=UTC), datetime(2026, 7, 7, 11, 0, tzinfo=UTC)
    assert heads.due(bench.farm, early) == []
    (found,) = heads.due(bench.farm, morning)
    assert (found.kind, found.occasion, list(found.person_ids)) == (
        "chain_head",
        "2026-07-07",
        [bench.manager.person_id],
    )
    assert (found.numbers["records"], found.numbers["head"]) == ("3", chain[2].hash)
    (later,) = heads.due(bench.farm, morning + 5 * HOUR)
    assert later.key == found.key
    assert "apps.spraying.heads.due" in settings.REMINDER_SOURCES
    assert heads.due(bench.farm, morning + 48 * HOUR) == []
    assert [d.occasion for d in heads.due(bench.farm, morning + 6 * 24 * HOUR)] == ["2026-07-13"]


def test_a_farm_without_records_has_no_head_to_send(cast):
    assert heads.due(cast.farm, datetime(2026, 7, 7, 15, 0, tzinfo=UTC)) == []
