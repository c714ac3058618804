"""Signed records and steps only grow, and ``check_records`` finds what raw SQL did behind the book's back."""

from __future__ import annotations

import json
from datetime import timedelta
from io import StringIO

import pytest
from django.core.management import CommandError, call_command
from django.db import DatabaseError, IntegrityError, connection, transaction

from apps.audit import triggers
from apps.safety.models import Closure
from apps.spraying.models import Job, SprayRecord
from apps.spraying.rules.record import GENESIS, Meaning, canonical, chain_hash, content_hash
from tests.factories.spraying import SIGNED, line, shield_document

pytestmark = pytest.mark.django_db


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
