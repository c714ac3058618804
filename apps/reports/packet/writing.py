"""A packet's files, written one record at a time into a folder: CSV and JSON as they go, the PDF in parts.

The first part is set last, so that the findings stand in front of it without a second reading of the records. No
more than two parts are in memory: what is needed does not grow with the number of records.
"""

from __future__ import annotations

import csv
import hashlib
import json
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import IO, Any

from django.utils import translation
from django.utils.translation import gettext

from apps.people.models import Farm
from apps.reports import exports
from apps.reports.packet import completeness, lines, queries, sheet
from apps.reports.packet.moment import one_moment
from apps.reports.packet.press import Press
from apps.reports.packet.rules import MANY, PART, Ask, Audience
from apps.spraying.models import Job
from farmops import csv_rows

SMALL_SHEET = 200
"""Rows that are set in this process: for them a process of its own would take longer than the setting."""
SIGN_OF_LIFE = 500
LIMITED_HEADER = (
    "started_at",
    "started_at_farm_time",
    "ended_at",
    "ended_at_farm_time",
    "field",
    "block",
    "crop",
    "product",
    "registration_number",
    "active_ingredients",
    "entry_restricted",
    "standing",
)


@dataclass(frozen=True, kw_only=True)
class Made:
    """What came out: the files (name, media type, bytes, SHA-256) and what was counted."""

    files: tuple[dict[str, Any], ...]
    records: int
    findings: int
    last_seq: int
    head: str
    sound: bool


@dataclass
class Tally:
    """What stands in front of the PDF; ``listed`` holds at most ``MANY``."""

    rows: int = 0
    findings: int = 0
    listed: list[completeness.Blank] = field(default_factory=list)
    by_rule: dict[str, int] = field(default_factory=dict)
    elsewhere: dict[str, None] = field(default_factory=dict)  # in order, each once

    def add(self, found: list[completeness.Blank], elsewhere: list[str]) -> None:
        self.elsewhere.update(dict.fromkeys(elsewhere))
        self.findings += len(found)
        for blank in found:
            self.by_rule[blank.rule] = self.by_rule.get(blank.rule, 0) + 1
        self.listed.extend(found[: max(0, MANY - len(self.listed))])


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What a packet is made from, fixed before the first line is written."""

    farm: Farm
    ask: Ask
    now: datetime
    last: int
    keys: list[int]
    replaced: dict[int, int]
    jobs: list[Job]
    brought: list[int]
    rules: completeness.Rules


def plan(farm: Farm, ask: Ask, now: datetime) -> Plan:
    """Which records, and which jobs without one, all of one moment. What these keys name never changes again."""
    with one_moment():
        last = queries.last_seq(farm)
        return Plan(
            farm=farm,
            ask=ask,
            now=now,
            last=last,
            keys=queries.chosen(farm, ask, last),
            replaced=queries.replaced(farm, last),
            jobs=queries.without_record(farm, ask),
            brought=queries.brought_keys(farm, ask),
            rules=completeness.rules_of(farm, last),
        )


def write(plan: Plan, folder: Path, alive: Callable[[int], None] = lambda done: None) -> Made:
    """Write every file of a packet into ``folder``. ``alive`` hears now and then how many records are done."""
    told = folder / "records.part"
    with translation.override(plan.ask.language), Press(folder, plan.ask.language, plan.now) as press:
        tally, paper = Tally(), _Paper(plan=plan, press=press)
        with _text(folder / "packet.csv") as table, _text(told) as records:
            _write_records(plan, tally, paper, table, records, alive)
        proof = None if plan.ask.limited else queries.prove(plan.farm, plan.last)
        alive(len(plan.keys))
        paper.close(tally, proof)
        _write_json(plan, tally, proof, folder)
        press.finish()
        alive(len(plan.keys))
    told.unlink()
    files = [_listed(folder / name, media) for name, media in [*((n, PDF) for n in paper.names), *_OTHERS]]
    return Made(
        files=tuple(files),
        records=len(plan.keys),
        findings=tally.findings + len(plan.jobs),
        last_seq=plan.last,
        head=proof.head if proof else "",
        sound=proof is None or proof.fault is None,
    )


PDF = "application/pdf"
_OTHERS = [("packet.csv", "text/csv"), ("packet.json", "application/json")]


def _text(path: Path) -> IO[str]:
    return path.open("w", encoding="utf-8", newline="")


@dataclass
class _Paper:
    """Rows on their way into PDFs of ``PART`` rows. Holds the first part and the one being filled."""

    plan: Plan
    press: Press
    first: list[dict[str, Any]] = field(default_factory=list)
    filling: list[dict[str, Any]] = field(default_factory=list)
    part: int = 1

    @property
    def names(self) -> list[str]:
        return ["packet.pdf"] if self.part == 1 else [f"packet-{n}.pdf" for n in range(1, self.part + 1)]

    def add(self, row: dict[str, Any]) -> None:
        if self.part == 1 and len(self.first) < PART:
            self.first.append(row)
            return
        if len(self.filling) == PART:
            self._set(self.part, self.filling, last=False)
            self.filling = []
        if not self.filling:
            self.part += 1
        self.filling.append(row)

    def close(self, tally: Tally, proof: queries.Proof | None) -> None:
        """Set the last part with the proof, and the first with what is missing."""
        front = sheet.front(self.plan.farm, self.plan.ask, self.plan.now, tally, self.plan.jobs)
        if self.part > 1:
            self._set(self.part, self.filling, last=True, proof=proof)
            front[0]["facts"].append(sheet.in_parts(self.part))
        self._set(1, self.first, last=self.part == 1, proof=proof, front=front)

    def _set(
        self,
        part: int,
        rows: list[dict[str, Any]],
        *,
        last: bool,
        proof: queries.Proof | None = None,
        front: Sequence[dict[str, Any]] = (),
    ) -> None:
        plan, single = self.plan, self.part == 1
        title = sheet.title(plan.farm, plan.ask, None if single else part)
        back = [*(self._brought() if last else []), *sheet.back(plan.ask, proof if last else None, plan.last, rows)]
        data = {"title": title, "sections": [*front, sheet.table(plan.ask, rows), *back]}
        put = self.press.here if len(rows) <= SMALL_SHEET else self.press.apart
        put("packet.pdf" if single else f"packet-{part}.pdf", data, title)

    def _brought(self) -> list[dict[str, Any]]:
        """What was brought in, before the proof of what was signed; a limited packet has it among its rows."""
        keys = [] if self.plan.ask.limited else self.plan.brought
        listed = list(queries.brought(self.plan.farm, keys[:MANY]))
        return [sheet.brought_section(listed, len(keys))] if keys else []


def _write_records(
    plan: Plan, tally: Tally, paper: _Paper, table: IO[str], told: IO[str], alive: Callable[[int], None]
) -> None:
    writer = csv.writer(table)
    stamp = plan.now.astimezone(UTC).isoformat(timespec="seconds")
    header = LIMITED_HEADER if plan.ask.limited else (*exports.RECORD_HEADER, "missing")
    table.write(csv_rows.BOM)
    writer.writerow([*header, "as_of"])
    entries = _limited(plan) if plan.ask.limited else _whole(plan, tally, alive)
    for cells, row, record in entries:
        tally.rows += 1
        paper.add(cells)
        writer.writerow([csv_rows.cell(value) for value in [*row, stamp]])
        told.write(("," if tally.rows > 1 else "") + "\n" + json.dumps(record, ensure_ascii=False, default=str))


Entry = tuple[dict[str, Any], list[csv_rows.Value], dict[str, Any]]


def _whole(plan: Plan, tally: Tally, alive: Callable[[int], None]) -> Iterator[Entry]:
    """Each version of each record: table cells, CSV row, JSON object."""
    zone = plan.farm.time_zone
    for done, record in enumerate(queries.records(plan.farm, plan.keys), start=1):
        body = json.loads(record.body_text)
        newer = plan.replaced.get(record.seq)
        blanks, elsewhere = ([], []) if newer else completeness.judged(plan.rules, record, body["content"])
        tally.add(blanks, elsewhere)
        cells = lines.cells(body, replaced_by=newer, signed_at=record.signed_at)
        told = {
            "record": record.seq,
            "edition": record.edition,
            "supersedes_record": body["supersedes"],
            "replaced_by_record": newer,
            "signed_at": record.signed_at.astimezone(UTC).isoformat(),
            "missing": [b.as_json() for b in blanks],
            "prev_hash": record.prev_hash,
            "hash": record.hash,
            "body_text": record.body_text,
        }
        row = [*exports.record_row(record, body, plan.replaced, zone), "; ".join(b.sentence for b in blanks)]
        yield {"cells": cells, "proof": [str(record.seq), record.hash]}, row, told
        if done % SIGN_OF_LIFE == 0:
            alive(done)


def _limited(plan: Plan) -> Iterator[Entry]:
    """What was put out, product by product and block by block; sprays that nobody signed yet last."""
    for record in queries.records(plan.farm, plan.keys):
        if queries.is_current_spray(record, plan.replaced):
            content = json.loads(record.body_text)["content"]
            yield from _applications(plan, content, sheet.standing(record))
    for job in plan.jobs:
        yield from _applications(plan, sheet.unsigned(job), sheet.standing_of(job))
    for row in queries.brought(plan.farm, plan.brought):
        yield from _applications(plan, sheet.brought(row), gettext(sheet.BROUGHT))


def _applications(plan: Plan, content: dict[str, Any], standing: str) -> Iterator[Entry]:
    amounts = plan.ask.audience is Audience.DOCTOR
    for block in content["blocks"]:
        if plan.ask.block_id not in (None, block.get("block_id")):
            continue
        for product in content["products"]:
            if plan.ask.product_id not in (None, product.get("product_id")):
                continue
            cells = lines.limited_cells(content, block, product, standing, amounts=amounts)
            row: list[csv_rows.Value] = [
                *csv_rows.times(lines.instant(content.get("started_at")), plan.farm.time_zone),
                *csv_rows.times(lines.instant(content.get("ended_at")), plan.farm.time_zone),
                block.get("field"),
                " ".join(str(block[k]) for k in ("code", "name") if block.get(k)),
                block.get("crop"),
                lines.joined([cells[3]]),
                product.get("registration_number"),
                lines.ingredients(product),
                lines.joined([cells[6]]),
                standing,
            ]
            yield {"cells": cells}, row, dict(zip(LIMITED_HEADER, row, strict=True))


def _write_json(plan: Plan, tally: Tally, proof: queries.Proof | None, folder: Path) -> None:
    """Header, findings, the records as they were spooled, the proof."""
    head = sheet.told(plan.farm, plan.ask, plan.now, rows=tally.rows)
    if not plan.ask.limited:
        head["missing"] = {
            "blanks": tally.findings,
            "by_rule": tally.by_rule,
            "kept_elsewhere": list(tally.elsewhere),
            "jobs_without_record": [sheet.job_told(job) for job in plan.jobs],
        }
    with _text(folder / "packet.json") as out, (folder / "records.part").open(encoding="utf-8") as told:
        out.write(json.dumps(head, ensure_ascii=False, indent=1)[:-2] + ',\n "records": [')
        for piece in iter(lambda: told.read(1 << 20), ""):
            out.write(piece)
        out.write("\n ]")
        if not plan.ask.limited:
            _write_brought(plan, out)
        if proof is not None:
            out.write(',\n "chain": ' + json.dumps(sheet.proof_told(proof, plan.last), ensure_ascii=False))
        out.write("\n}\n")


def _write_brought(plan: Plan, out: IO[str]) -> None:
    """Every application that was brought in, one at a time."""
    out.write(',\n "brought_in": [')
    for place, row in enumerate(queries.brought(plan.farm, plan.brought)):
        out.write(("," if place else "") + "\n" + json.dumps(sheet.brought_told(row), ensure_ascii=False))
    out.write("]")


def _listed(path: Path, media: str) -> dict[str, Any]:
    """A file as the packet lists it, pushed to the disk."""
    digest = hashlib.sha256()
    with path.open("rb") as found:
        for piece in iter(lambda: found.read(1 << 20), b""):
            digest.update(piece)
        os.fsync(found.fileno())
    return {"name": path.name, "media": media, "bytes": path.stat().st_size, "sha256": digest.hexdigest()}
