"""The words around a packet's records: title, what was asked, what is missing, what is left out, the proof."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from django.utils.translation import get_language, gettext

from apps.land.models import Block
from apps.people.models import Farm
from apps.products.models import Product
from apps.reports.packet import lines, queries
from apps.reports.packet.rules import AUDIENCE_NAMES, LAW, LEFT_OUT, MANY, Ask
from apps.spraying import content as record_content
from apps.spraying.bringing.models import BroughtSpray
from apps.spraying.history import treated_acres
from apps.spraying.models import Job, SprayRecord
from apps.spraying.rules.states import STATE_NAMES, JobState
from farmops import wording
from farmops.errors import gettext_noop

if TYPE_CHECKING:
    from apps.reports.packet.writing import Tally

Section = dict[str, Any]
WIDTHS = ["7%", "12%", "14%", "17%", "12%", "11%", "14%", "13%"]
LIMITED_WIDTHS = ["15%", "13%", "10%", "13%", "11%", "12%", "15%", "11%"]
PROOF_WIDTHS = ["10%", "90%"]


# ---- what was asked --------------------------------------------------------------------


def title(farm: Farm, ask: Ask, part: int | None = None) -> str:
    """Title of a PDF; a part says which it is."""
    if ask.limited:
        said = gettext("Pesticide application information of {farm} for {name}").format(farm=farm.name, name=ask.about)
    else:
        said = gettext("Spray records of {farm}").format(farm=farm.name)
    return said if part is None else gettext("{title}, part {part}").format(title=said, part=part)


def in_parts(count: int) -> list[str]:
    """That there is more than this PDF: (name, value)."""
    said = gettext("{n} PDFs; this is the first. The proof of the chain ends the last.").format(n=count)
    return [gettext("Parts"), said]


def facts(farm: Farm, ask: Ask, now: datetime) -> list[list[str]]:
    """What was asked, from when it is, and who answers questions: (name, value)."""
    code = get_language()
    day = {n: wording.date(d, code) if (d := getattr(ask, n)) else gettext("open") for n in ("first_on", "last_on")}
    found = [
        [gettext("Farm"), f"{farm.name}, {farm.jurisdiction}"],
        [gettext("For"), gettext(AUDIENCE_NAMES[ask.audience])],
        [gettext("Sprayed from"), day["first_on"]],
        [gettext("Sprayed through"), day["last_on"]],
        [gettext("Block"), _named(Block, farm, ask.block_id)],
        [gettext("Product"), _named(Product, farm, ask.product_id)],
        [gettext("As of"), lines.stamp(now, farm.time_zone)],
        [gettext("Questions to"), f"{farm.contact_name}, {farm.contact_phone}"],
    ]
    if ask.about:
        found.insert(2, [gettext("About"), ask.about])
    if ask.asked_for_by:
        found.insert(3, [gettext("Asked for by"), ask.asked_for_by])
    if ask.named_on:
        found.insert(4, [gettext("Named in writing on"), wording.date(ask.named_on, code)])
    return found


def _named(model: Any, farm: Farm, key: int | None) -> str:
    row = None if key is None else model.objects.for_farm(farm).filter(pk=key).first()
    return gettext("all") if row is None else str(row)


# ---- the PDF's sections ----------------------------------------------------------------


def front(farm: Farm, ask: Ask, now: datetime, tally: Tally, jobs: Sequence[Job]) -> list[Section]:
    """What stands before the records."""
    asked = _section(gettext("What this is"), facts=facts(farm, ask, now), sentences=[gettext(LAW[ask.audience])])
    left_out = _section(gettext("What is left out, and why"), sentences=[gettext(LEFT_OUT[ask.audience])])
    if ask.limited:
        return [asked, left_out, _section(gettext("Safety data sheets"), sentences=[_sheets(farm)])]
    return [asked, *_missing(tally, jobs), left_out]


def _sheets(farm: Farm) -> str:
    return gettext(
        "The safety data sheet of every product in this list is shown at the farm's central display "
        "(40 CFR 170.311(b)). Ask {who}, {phone}, for a copy."
    ).format(who=farm.contact_name, phone=farm.contact_phone)


def _missing(tally: Tally, jobs: Sequence[Job]) -> list[Section]:
    """Completeness first: sprays without a record, then records with blanks."""
    unsigned = _section(gettext("Sprays without a signed record"))
    if jobs:
        header = [gettext("Job"), gettext("When"), gettext("Where"), gettext("State")]
        unsigned["table"] = _table(header, ["10%", "30%", "35%", "25%"], [_job_cells(job) for job in jobs])
    else:
        unsigned["sentences"] = [gettext("None: every spray of these days has its signed record.")]
    blanks = _section(gettext("Late records, and blanks in records"), sentences=[*tally.elsewhere])
    if not tally.findings:
        none = gettext("None: {n} records were held against the record rules the farm goes by.")
        blanks["sentences"].insert(0, none.format(n=tally.rows))
        return [unsigned, blanks]
    counted = [f"{rule}: {count}" for rule, count in sorted(tally.by_rule.items())]
    if tally.findings > MANY:
        counted.append(gettext("The first {n} are listed; the CSV and the JSON list all.").format(n=MANY))
    blanks["sentences"] = [*counted, *tally.elsewhere]
    header = [gettext("Record"), gettext("What is missing or was late"), gettext("Source")]
    rows = [[str(b.record), b.sentence, b.source] for b in tally.listed]
    blanks["table"] = _table(header, ["8%", "62%", "30%"], rows)
    return [unsigned, blanks]


def table(ask: Ask, rows: Sequence[Mapping[str, Any]]) -> Section:
    """The records themselves."""
    made = _section(gettext("What was sprayed") if ask.limited else gettext("Signed records, every version"))
    if not rows:
        made["sentences"] = [gettext("No spray on these days is in this book.")]
        return made
    header, widths = (lines.limited_header(), LIMITED_WIDTHS) if ask.limited else (lines.header(), WIDTHS)
    made["table"] = _table(header, widths, [row["cells"] for row in rows])
    return made


def back(ask: Ask, proof: queries.Proof | None, last: int, rows: Sequence[Mapping[str, Any]]) -> list[Section]:
    """The hashes of these records, and after the last of them what the chain says."""
    found = []
    if not ask.limited and rows:
        made = _section(gettext("Hashes of these records"))
        header = [gettext("Record"), gettext("Hash")]  # what each stands on is in the JSON
        made["table"] = {**_table(header, PROOF_WIDTHS, [row["proof"] for row in rows]), "mono": True}
        found.append(made)
    if proof is not None:
        found.append(_section(gettext("Proof of the chain"), sentences=proof_said(proof, last)))
    return found


def proof_said(proof: queries.Proof, last: int) -> list[str]:
    """The chain in words: whether it stands, and how anybody can check it."""
    if proof.fault is not None:
        template = gettext("THE CHAIN IS BROKEN at {where}: {said}. Nothing after it is proven.")
        return [template.format(where=proof.fault.where, said=proof.fault.said)]
    if not proof.records:
        return [gettext("The farm has no signed record yet.")]
    said = gettext("All {n} signed records of the farm, from record 1 through record {last}, stand on each other.")
    how = gettext(
        "Each hash is the SHA-256 of the three bytes “v1” and NUL, the 32 bytes of the hash it stands on, and the "
        "signed text in UTF-8 (“body_text” in the JSON). The first record stands on 32 zero bytes. A head that was "
        "kept elsewhere shows whether the book was rewritten since."
    )
    return [said.format(n=proof.records, last=last), gettext("Head of the chain: {head}").format(head=proof.head), how]


def _section(heading: str, **parts: Any) -> Section:
    return {"heading": heading, "facts": [], "sentences": [], "table": None, **parts}


def _table(header: list[str], widths: list[str], rows: list[list[str]]) -> Section:
    return {"header": header, "widths": widths, "rows": rows, "mono": False}


# ---- JSON ------------------------------------------------------------------------------


def told(farm: Farm, ask: Ask, now: datetime, *, rows: int) -> dict[str, Any]:
    """The opening of the JSON."""
    return {
        "packet": title(farm, ask),
        "farm": {"slug": farm.slug, "name": farm.name, "time_zone": farm.time_zone, "jurisdiction": farm.jurisdiction},
        "asked": ask.as_json(),
        "law": gettext(LAW[ask.audience]),
        "left_out": gettext(LEFT_OUT[ask.audience]),
        "as_of": now.astimezone(UTC).isoformat(),
        "rows": rows,
    }


def proof_told(proof: queries.Proof, last: int) -> dict[str, Any]:
    """The chain in the JSON."""
    fault = proof.fault and {"code": proof.fault.code, "where": proof.fault.where, "said": proof.fault.said}
    return {"records": proof.records, "through_record": last, "head": proof.head or None, "fault": fault}


def job_told(job: Job) -> dict[str, Any]:
    """A spray without a record in the JSON."""
    started = job.started_at or job.window_starts_at
    return {"job": job.number, "state": job.state, "sprayed_at": started.astimezone(UTC).isoformat()}


# ---- sprays without a record -----------------------------------------------------------


def _job_cells(job: Job) -> list[str]:
    content = unsigned(job)
    where = "\n".join(f"{b['code']} {b['name']}" for b in content["blocks"])
    return [str(job.number), lines.when(content, job.farm.time_zone), where, standing_of(job)]


def standing(record: SprayRecord) -> str:
    """How sure an application is: signed, and corrected or not."""
    corrected = gettext("signed, corrected") if record.edition > 1 else gettext("signed")
    return f"{corrected} ({gettext('record {number}').format(number=record.seq)})"


def standing_of(job: Job) -> str:
    """The same for a job nobody signed: what is not known is taken as sprayed."""
    if job.state in (JobState.SPRAYED, JobState.SPRAYING):
        return f"{gettext(STATE_NAMES[JobState(job.state)])}, {gettext('not signed yet')}"
    return gettext("may have been sprayed; not signed yet")


BROUGHT = gettext_noop("brought in, not signed here")


def brought(row: BroughtSpray) -> dict[str, Any]:
    """An application that was brought in, in the form of a record's content; its entry times were never worked out."""
    block = {
        "block_id": row.block_id,
        "code": row.block.code,
        "name": row.block.name,
        "field": row.block.field.name,
        "crop": row.site_code,
        "treated_acres": row.treated_acres,
    }
    product = {
        "product_id": row.product_id,
        "name": row.product.name,
        "registration_number": row.product.registration_number,
        "amount": row.amount,
        "unit": row.unit,
        "label": {"body": row.label_version.body},
    }
    return {
        "farm": {"time_zone": row.block.farm.time_zone},
        "started_at": row.started_at,
        "ended_at": row.ended_at,
        "entry_known": False,
        "blocks": [block],
        "products": [product],
    }


def brought_cells(row: BroughtSpray) -> list[str]:
    """One line of what was brought in, whole."""
    content = brought(row)
    who = ", ".join(part for part in (row.applicator, row.certificate) if part) or lines.NONE
    where = lines.where(content["blocks"][0])
    product = lines.product(content["products"][0])
    return [lines.when(content, row.block.farm.time_zone), where, product, who, f"{row.file.name}, {row.row}"]


def brought_told(row: BroughtSpray) -> dict[str, Any]:
    """The same in the JSON."""
    return {
        "file": row.file.name,
        "row": row.row,
        "started_at": row.started_at.astimezone(UTC).isoformat(),
        "ended_at": row.ended_at.astimezone(UTC).isoformat(),
        "date_only": row.date_only,
        "block": row.block.code,
        "product": row.product.name,
        "registration_number": row.product.registration_number,
        "treated_acres": str(row.treated_acres),
        "amount": str(row.amount),
        "unit": row.unit,
        "applicator": row.applicator,
        "certificate": row.certificate,
        "signed_here": False,
    }


def brought_section(rows: Sequence[BroughtSpray], count: int) -> Section:
    """What was brought in: listed apart from what was signed."""
    made = _section(gettext("Brought in from files, not signed here"))
    said = gettext("{n} applications of these days were brought in from files. Nobody signed them in this book.")
    made["sentences"] = [said.format(n=count)]
    if count > len(rows):
        made["sentences"].append(gettext("The first {n} are listed; the JSON lists all.").format(n=len(rows)))
    header = [gettext("When"), gettext("Where"), gettext("Products"), gettext("Who sprayed"), gettext("File and row")]
    made["table"] = _table(header, ["18%", "22%", "26%", "16%", "18%"], [brought_cells(row) for row in rows])
    return made


def unsigned(job: Job) -> dict[str, Any]:
    """A reported or doubtful spray in the form of a record's content, as far as it is known."""
    closures = record_content.closures_after(job) if job.state == JobState.SPRAYED else {}
    acres = treated_acres(job.job_blocks.all())
    return {
        "farm": {"time_zone": job.farm.time_zone},
        "started_at": job.started_at or job.window_starts_at,
        "ended_at": job.ended_at,
        "entry_known": job.state == JobState.SPRAYED,
        "blocks": [
            {
                "block_id": row.block_id,
                "code": row.block.code,
                "name": row.block.name,
                "field": row.block.field.name,
                "crop": row.crop_name,
                "treated_acres": row.treated_acres if acres else None,
                "closures": [record_content.closure_text(c) for c in closures.get(row.block_id, [])],
            }
            for row in job.job_blocks.all()
        ],
        "products": [
            {
                "product_id": row.product_id,
                "name": row.product.name,
                "registration_number": row.product.registration_number,
                "amount": row.actual_amount,
                "unit": row.actual_unit,
                "label": {"body": row.label_version.body} if row.label_version else None,
            }
            for row in job.job_products.all()
        ],
    }
