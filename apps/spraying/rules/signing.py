"""Who may sign, what the signature says, and the record in sentences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from enum import StrEnum
from typing import Any

from apps.safety.rules import Activity, Kind, Reason
from apps.spraying.amending.rules import UNKNOWN, What
from apps.spraying.rules.outcome import deviation, off_plan, percent_text
from apps.spraying.rules.record import Meaning
from apps.training.rules import CertificateFacts
from farmops.errors import gettext_noop
from farmops.units import Quantity, show, unit_name
from farmops.wording import stamp


class Standing(StrEnum):
    """How the signer had part in the spray."""

    APPLIED = "applied"
    SUPERVISED = "supervised"


STATEMENTS = {
    (Meaning.APPLIED, Standing.APPLIED): gettext_noop("I made this application as written above."),
    (Meaning.APPLIED, Standing.SUPERVISED): gettext_noop("I supervised this application as written above."),
    (Meaning.NOT_APPLIED, Standing.APPLIED): gettext_noop("Nothing was applied under this job."),
    (Meaning.NOT_APPLIED, Standing.SUPERVISED): gettext_noop(
        "Nothing was applied under this job, which I was to supervise."
    ),
    (Meaning.VOIDED, Standing.APPLIED): gettext_noop("I withdraw the signature under this record."),
    (Meaning.VOIDED, Standing.SUPERVISED): gettext_noop("I withdraw the signature under this record."),
}
CORRECTED = {
    (Meaning.APPLIED, Standing.APPLIED): gettext_noop(
        "This replaces the earlier record. I made this application as written above."
    ),
    (Meaning.APPLIED, Standing.SUPERVISED): gettext_noop(
        "This replaces the earlier record. I supervised this application as written above."
    ),
    (Meaning.NOT_APPLIED, Standing.APPLIED): gettext_noop(
        "This replaces the earlier record. Nothing was applied under this job."
    ),
    (Meaning.NOT_APPLIED, Standing.SUPERVISED): gettext_noop(
        "This replaces the earlier record. Nothing was applied under this job, which I was to supervise."
    ),
}
"""What is said under an edition that corrects an earlier one."""


ENTRY_UNKNOWN = "entry_unknown"


@dataclass(frozen=True, kw_only=True)
class Signing:
    """Somebody who may sign, and the certificate held on the day of the application (``None`` = none)."""

    standing: Standing
    person_id: int
    name: str
    certificate: CertificateFacts | None


def who_signs(*, supervised: bool, applicator_certified: bool) -> frozenset[Standing]:
    """Who may sign: whoever did it; under supervision an uncertified person's spray is the supervisor's to sign."""
    if not supervised:
        return frozenset({Standing.APPLIED})
    return frozenset(Standing) if applicator_certified else frozenset({Standing.SUPERVISED})


@dataclass(frozen=True, kw_only=True)
class Sentence:
    """An English sentence with slots (the message id of its translation) and what fills them."""

    template: str
    numbers: Mapping[str, str] = field(default_factory=dict)
    unusual: bool = False


@dataclass(frozen=True, kw_only=True)
class ReadBack:
    """The record as it is read back: what was done, and what follows from signing it."""

    sentences: tuple[Sentence, ...]
    consequences: tuple[Sentence, ...]
    statement: Sentence


def read_back(content: Mapping[str, Any], *, to_signer: bool = True) -> ReadBack:
    """The content of a record (as ``content`` builds it, or read again from a record) in sentences.

    ``to_signer`` speaks to the person who signs ("You sprayed"); anybody else reads the name.
    """
    zone = content["farm"]["time_zone"]
    corrected = _corrected(content, zone)
    if content["meaning"] == Meaning.VOIDED:
        return ReadBack(sentences=_voided(content, zone), consequences=_reopened(), statement=_statement(content))
    if content["meaning"] == Meaning.NOT_APPLIED:
        nothing = (*corrected, *_nothing(content, zone))
        return ReadBack(sentences=nothing, consequences=_opened(content), statement=_statement(content))
    who = _who(content, to_signer)
    done = (
        *corrected,
        *(_area(who, block) for block in content["blocks"]),
        _times(content, who, zone),
        *_amounts(content),
        *_weather(content),
        *_remarks(content),
    )
    after = tuple(s for block in content["blocks"] for s in _closed(block, zone))
    return ReadBack(sentences=done, consequences=after, statement=_statement(content))


def _dec(value: Any) -> Decimal:
    return value if isinstance(value, Decimal) else Decimal(str(value))


def _at(value: Any) -> datetime:
    return value if isinstance(value, datetime) else datetime.fromisoformat(value)


def _acres(value: Any) -> str:
    return f"{show(_dec(value), 2)} {unit_name('ac')}"


def _block_name(block: Mapping[str, Any]) -> str:
    return f"{block['code']} {block['name']}"


def _who(content: Mapping[str, Any], to_signer: bool) -> str:
    """Empty when the one who sprayed is spoken to, else who did."""
    same = content["applicator"]["person_id"] == content["signer"]["person_id"]
    return "" if same and to_signer else str(content["applicator"]["name"])


def _area(who: str, block: Mapping[str, Any]) -> Sentence:
    treated, planned = _dec(block["treated_acres"]), _dec(block["planned_acres"])
    numbers = {
        "who": who,
        "acres": _acres(treated),
        "planned": _acres(planned),
        "block": _block_name(block),
        "crop": block["crop"] or "–",
        "part": block["part_note"] or "–",
    }
    if treated == 0:
        return Sentence(template=gettext_noop("{block}: nothing was sprayed."), numbers=numbers, unusual=True)
    if treated == planned and who:
        words = gettext_noop("{who} sprayed all {acres} of {block}, {crop}.")
    elif treated == planned:
        words = gettext_noop("You sprayed all {acres} of {block}, {crop}.")
    elif who:
        words = gettext_noop("{who} sprayed {acres} of {block}, {crop} (planned: {planned}; part: {part}).")
    else:
        words = gettext_noop("You sprayed {acres} of {block}, {crop} (planned: {planned}; part: {part}).")
    return Sentence(template=words, numbers=numbers, unusual=treated != planned)


def _times(content: Mapping[str, Any], who: str, zone: str) -> Sentence:
    disputed = bool(content["disputed"])
    numbers = {
        "who": who,
        "start": stamp(_at(content["started_at"]), zone),
        "end": stamp(_at(content["ended_at"]), zone),
    }
    if disputed:
        words = gettext_noop(
            "It began {start} and ended {end}; people gave different times, and the latest end counts."
        )
    elif who:
        words = gettext_noop("{who} started {start} and finished {end}.")
    else:
        words = gettext_noop("You started {start} and finished {end}.")
    return Sentence(template=words, numbers=numbers, unusual=disputed)


def _amounts(content: Mapping[str, Any]) -> list[Sentence]:
    volume = {"gpa": show(_dec(content["spray_gpa"]), 2), "loads": show(_dec(content["loads"]), 2)}
    found = [Sentence(template=gettext_noop("Spray volume {gpa} gal per acre, {loads} loads."), numbers=volume)]
    if content.get("achieved_gpa") is not None:
        found.append(_achieved(content))
    return found + [_amount(p) for p in content["products"]]


def _achieved(content: Mapping[str, Any]) -> Sentence:
    """What gallons and acres come to; unusual when more than 5 % off the plan."""
    planned, put_on = (Quantity(_dec(content[name]), "gal") for name in ("spray_gpa", "achieved_gpa"))
    off = deviation(planned, put_on)
    numbers = {"gal": show(_dec(content["sprayed_gal"]), 2), "gpa": show(put_on.amount, 2), "off": percent_text(off)}
    words = gettext_noop("{gal} gallons were sprayed: {gpa} gal per acre, {off} off the plan.")
    return Sentence(template=words, numbers=numbers, unusual=off_plan(planned, put_on))


def _amount(product: Mapping[str, Any]) -> Sentence:
    used = Quantity(_dec(product["amount"]), product["unit"])
    numbers = {"product": product["name"], "total": str(used), "planned": product["planned_text"]}
    if not used.amount or product["per_acre"] is None:
        return Sentence(template=gettext_noop("{product}: none was used."), numbers=numbers, unusual=True)
    numbers["each"] = str(Quantity(_dec(product["per_acre"]), product["unit"]))
    words = gettext_noop("{product}: {each} per acre, {total} in all (planned: {planned}).")
    return Sentence(template=words, numbers=numbers)


def _weather(content: Mapping[str, Any]) -> list[Sentence]:
    start, end = content["readings"]["start"], content["readings"]["end"]
    begin, finish = gettext_noop("Weather at the start: {readings}."), gettext_noop("Weather at the end: {readings}.")
    found = [Sentence(template=begin, numbers={"readings": _read(start)})]
    read = _read(end)
    return [*found, Sentence(template=finish, numbers={"readings": read})] if read else found


def _read(readings: Mapping[str, str]) -> str:
    """``5 mph SW, max 8 mph, 72 °F, 60 % RH``: only what was read, in units that need no translation."""
    wind, gust = readings.get("wind_mph"), readings.get("gust_mph")
    parts = (
        f"{wind} mph {readings.get('wind_from', '').upper()}".strip() if wind else "",
        f"max {gust} mph" if gust else "",
        f"{readings['temperature_f']} °F" if readings.get("temperature_f") else "",
        f"{readings['humidity_percent']} % RH" if readings.get("humidity_percent") else "",
    )
    return ", ".join(part for part in parts if part)


def _remarks(content: Mapping[str, Any]) -> list[Sentence]:
    if not content["deviation_reason"]:
        return []
    words = gettext_noop("Why the rate differs from the plan: {reason}")
    return [Sentence(template=words, numbers={"reason": content["deviation_reason"]}, unusual=True)]


def _closed(block: Mapping[str, Any], zone: str) -> list[Sentence]:
    rows = block["closures"]
    return [_closure(_block_name(block), _for_pickers(row, rows), zone) for row in rows]


def _for_pickers(row: Mapping[str, Any], rows: Sequence[Mapping[str, Any]]) -> Mapping[str, Any]:
    """Nobody picks while entry is closed to pickers: the later of the two is the earliest picking."""
    if row["kind"] != Kind.HARVEST or row["ends_at"] is None:
        return row
    entries = [
        r
        for r in rows
        if r["kind"] == Kind.ENTRY and (not r["activities"] or Activity.PICKING_BY_HAND in r["activities"])
    ]
    if any(r["ends_at"] is None for r in entries):
        return {**row, "ends_at": None, "reason": ENTRY_UNKNOWN}
    latest = max([row, *entries], key=lambda r: _at(r["ends_at"]))
    return {**row, "ends_at": latest["ends_at"], "products": latest["products"]}


def _closure(block: str, row: Mapping[str, Any], zone: str) -> Sentence:
    numbers = {
        "block": block,
        "product": ", ".join(row["products"]) or "–",
        "work": ", ".join(str(a).replace("_", " ") for a in row["activities"]),
    }
    if row["ends_at"] is not None:
        numbers["until"] = stamp(_at(row["ends_at"]), zone)
    return Sentence(template=_closure_words(row), numbers=numbers, unusual=row["ends_at"] is None)


def _closure_words(row: Mapping[str, Any]) -> str:
    if row["kind"] == Kind.HARVEST:
        if row["reason"] == ENTRY_UNKNOWN:
            return gettext_noop("No picking on {block} before it is open for entry.")
        if row["ends_at"] is None:
            return gettext_noop("No picking on {block}: the wait before harvest of {product} is not known.")
        return gettext_noop("Earliest picking on {block}: {until} ({product}).")
    if row["reason"] == Reason.UNTIL_DRY:
        return gettext_noop("{block} stays closed until a named person confirms that {product} has dried.")
    if row["reason"] == Reason.UNTIL_LEVEL:
        return gettext_noop(
            "{block} stays closed until a named person confirms the condition on the label of {product}."
        )
    if row["ends_at"] is None:
        return gettext_noop(
            "{block} stays closed with no end: the restricted-entry interval of {product} is not known."
        )
    if row["activities"]:
        return gettext_noop("Because of this record, {block} stays closed for {work} until {until} ({product}).")
    return gettext_noop("Because of this record, {block} stays closed until {until} ({product}).")


def _statement(content: Mapping[str, Any]) -> Sentence:
    return Sentence(template=str(content["statement"]))


def _nothing(content: Mapping[str, Any], zone: str) -> tuple[Sentence, ...]:
    job = content["job"]
    numbers = {
        "job": str(job["number"]),
        "blocks": ", ".join(b["name"] for b in content["blocks"]),
        "products": ", ".join(p["name"] for p in content["products"]),
        "start": stamp(_at(job["window_starts_at"]), zone),
        "end": stamp(_at(job["window_ends_at"]), zone),
    }
    found = [
        Sentence(
            template=gettext_noop("Spray job {job}: {products} on {blocks}, planned from {start} to {end}."),
            numbers=numbers,
        ),
        Sentence(template=gettext_noop("Nothing was applied on {blocks} under this job."), numbers=numbers),
    ]
    if content["reported_before"]:
        before = gettext_noop("It had been reported as sprayed. That report stays on file and counts no longer.")
        found.append(Sentence(template=before, unusual=True))
    elif content["started_at"]:
        before = gettext_noop("It had been started {at}.")
        found.append(Sentence(template=before, numbers={"at": stamp(_at(content["started_at"]), zone)}, unusual=True))
    return tuple(found)


def _opened(content: Mapping[str, Any]) -> tuple[Sentence, ...]:
    words = gettext_noop("Because of this record, job {job} no longer closes {blocks}. Other sprays there still count.")
    blocks = ", ".join(b["name"] for b in content["blocks"])
    return (Sentence(template=words, numbers={"job": str(content["job"]["number"]), "blocks": blocks}),)


# ---- corrections -----------------------------------------------------------------------

_CHANGED = {
    What.MEANING: gettext_noop("What the record says changes."),
    What.APPLICATOR: gettext_noop("Applied by: it said {before}, it says {after} now."),
    What.SUPERVISOR: gettext_noop("Supervised by: it said {before}, it says {after} now."),
    What.STARTED_AT: gettext_noop("Start: it was {before}, it is {after} now."),
    What.ENDED_AT: gettext_noop("End: it was {before}, it is {after} now."),
    What.LOADS: gettext_noop("Loads: it was {before}, it is {after} now."),
    What.TREATED: gettext_noop("Area treated in {subject}: it was {before}, it is {after} now."),
    What.PART: gettext_noop("Part treated in {subject}: it was {before}, it is {after} now."),
    What.AMOUNT: gettext_noop("{subject}: it was {before}, it is {after} now."),
    What.LABEL: gettext_noop("Label version of {subject}: it was {before}, it is {after} now."),
    What.START_READINGS: gettext_noop("Weather at the start: it was {before}, it is {after} now."),
    What.END_READINGS: gettext_noop("Weather at the end: it was {before}, it is {after} now."),
    What.REMARK: gettext_noop("Why the rate differs from the plan: it was {before}, it is {after} now."),
    What.ENTRY: gettext_noop("{subject}, closed for entry: it was before {before}, it is before {after} now."),
    What.HARVEST: gettext_noop("{subject}, earliest picking: it was {before}, it is {after} now."),
}
_CHANGED_UNKNOWN = {
    What.ENTRY: gettext_noop("{subject}, closed for entry: whether it ends is not known before or after this change."),
    What.HARVEST: gettext_noop("{subject}, earliest picking: it is not known before or after this change."),
}


def _corrected(content: Mapping[str, Any], zone: str) -> tuple[Sentence, ...]:
    """What this edition corrects, why, and each difference; nothing for a first edition."""
    amends = content.get("amends")
    if not amends:
        return ()
    numbers = {
        "record": str(amends["record"]),
        "at": stamp(_at(amends["signed_at"]), zone),
        "who": amends["signed_by"],
        "reason": amends["reason"],
    }
    words = gettext_noop("This corrects record {record}, signed {at} by {who}. Why: {reason}")
    return (Sentence(template=words, numbers=numbers, unusual=True), *(_change(c) for c in amends["changes"]))


def _change(change: Mapping[str, Any]) -> Sentence:
    what, numbers = What(change["what"]), {k: change[k] for k in ("subject", "before", "after")}
    doubtful = what in _CHANGED_UNKNOWN and UNKNOWN in (change["before"], change["after"])
    template = _CHANGED_UNKNOWN[what] if doubtful else _CHANGED[what]
    return Sentence(template=template, numbers=numbers, unusual=True)


def _voided(content: Mapping[str, Any], zone: str) -> tuple[Sentence, ...]:
    voids = content["voids"]
    numbers = {
        "record": str(voids["record"]),
        "at": stamp(_at(voids["signed_at"]), zone),
        "who": voids["signed_by"],
        "job": str(content["job"]["number"]),
        "blocks": ", ".join(b["name"] for b in content["blocks"]),
    }
    return (
        Sentence(
            template=gettext_noop("Record {record} of spray job {job} on {blocks}, signed {at} by {who}."),
            numbers=numbers,
        ),
        Sentence(
            template=gettext_noop("Its signature is withdrawn. The record stays readable, marked as withdrawn."),
            unusual=True,
        ),
    )


def _reopened() -> tuple[Sentence, ...]:
    return (
        Sentence(
            template=gettext_noop(
                "The blocks are closed again until the spray is signed. Its amounts go on counting in season totals."
            ),
            unusual=True,
        ),
    )
