"""The label library: products, drafts, the check against the paper, withdrawal."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any

from django.db import transaction

from apps.audit import services as audit
from apps.people.models import Farm
from apps.people.queries import Member, one
from apps.people.rules import Can
from apps.people.services import save_changes
from apps.products import queries
from apps.products.models import LabelVersion, Product, hash_of
from apps.products.rules import Kind, label_body, read_label
from farmops.errors import BadInput, Stale, gettext_noop, one_of, refuse

PLACE = "body"  # where the label document stands in a request; its faults are named from there


def _name(member: Member, name: str, *, but: int | None = None) -> str:
    """A product name that is free on this farm, upper and lower case alike. Locks the farm: two must not take it."""
    Farm.objects.select_for_update().get(pk=member.farm.pk)
    text = " ".join(name.split())
    if not text or len(text) > 120:
        raise BadInput({"name": gettext_noop("Enter the product name, 120 characters at most.")})
    if Product.objects.for_farm(member.farm).filter(name__iexact=text).exclude(pk=but).exists():
        raise BadInput({"name": gettext_noop("The library already holds a product of this name.")})
    return text


def _only(changes: Mapping[str, Any], *allowed: str) -> dict[str, Any]:
    """A copy of ``changes``; ``BadInput`` for anything that an edit must not touch."""
    if extra := set(changes) - set(allowed):
        raise BadInput(dict.fromkeys(sorted(extra), gettext_noop("This cannot be changed here.")))
    return dict(changes)


def _locked(member: Member, product_id: int) -> Product:
    return one(Product.objects.for_farm(member.farm).select_for_update().filter(pk=product_id))


def _locked_version(member: Member, label_id: int) -> LabelVersion:
    mine = LabelVersion.objects.for_farm(member.farm).select_related("product").select_for_update(of=("self",))
    return one(mine.filter(pk=label_id))


@transaction.atomic
def add_product(
    *, member: Member, name: str, kind: Kind | str, registration_number: str = "", is_demo: bool = False, now: datetime
) -> Product:
    """Take a product into the library. ``is_demo`` marks an invented product and stays for good."""
    member.require(Can.EDIT_LABELS)
    values = {
        "name": _name(member, name),
        "kind": _kind(kind),
        "registration_number": registration_number.strip(),
        "is_demo": is_demo,
    }
    row = Product.objects.add(farm=member.farm, **values)
    audit.record(farm=member.farm, actor=member, verb="added", subject=row, now=now, after=values)
    return row


def _kind(kind: Kind | str) -> str:
    if kind not in set(Kind):
        raise BadInput({"kind": one_of(Kind)})
    return Kind(kind).value


@transaction.atomic
def edit_product(
    *, member: Member, product_id: int, expected_version: int, changes: Mapping[str, Any], now: datetime
) -> Product:
    """Change name, registration number or kind; ``retired`` true or false takes it off the lists or brings it back."""
    member.require(Can.EDIT_LABELS)
    row = _locked(member, product_id)
    wanted = _only(changes, "name", "kind", "registration_number", "retired")
    if "name" in wanted:
        wanted["name"] = _name(member, wanted["name"], but=row.pk)
    if "kind" in wanted:
        wanted["kind"] = _kind(wanted["kind"])
        if wanted["kind"] != row.kind and queries.versions_of(member.farm, row.pk).exists():
            raise refuse("kind_in_use", gettext_noop("The labels of this product already say its kind."), field="kind")
    if "retired" in wanted:
        wanted["retired_at"] = (row.retired_at or now) if wanted.pop("retired") else None
    return save_changes(row, member=member, expected_version=expected_version, changes=wanted, now=now)


def _document(product: Product, body: object) -> tuple[dict[str, Any], str]:
    """The document in its one canonical form, and its hash. Faults by path: ``body.uses.0.rate_max``."""
    try:
        label = read_label(body)
    except BadInput as bad:
        raise BadInput({n if n == PLACE else f"{PLACE}.{n}": said for n, said in bad.errors.items()}) from None
    if label.kind.value != product.kind:
        said = f"The library holds {product.name} as “{product.kind}”; this document says “{label.kind}”."
        raise BadInput({f"{PLACE}.kind": said})
    document = label_body(label)
    return document, hash_of(document)


@transaction.atomic
def draft_label(
    *, member: Member, product_id: int, effective_on: date, body: object, note: str = "", now: datetime
) -> LabelVersion:
    """Enter a label as a new draft. ``BadInput`` names every fault of the document by its path."""
    member.require(Can.EDIT_LABELS)
    product = _locked(member, product_id)
    document, fingerprint = _document(product, body)
    newest = queries.versions_of(member.farm, product.pk).order_by("-number").first()
    row = LabelVersion.objects.add(
        farm=member.farm,
        product=product,
        number=newest.number + 1 if newest else 1,
        effective_on=effective_on,
        body=document,
        body_hash=fingerprint,
        note=note.strip(),
        transcribed_by_id=member.person_id,
        transcribed_at=now,
    )
    audit.record(farm=member.farm, actor=member, verb="transcribed", subject=row, now=now, after={"hash": fingerprint})
    return row


@transaction.atomic
def take_library(*, member: Member, library: Mapping[str, Any], now: datetime) -> list[LabelVersion]:
    """Take in a library file (``effective_on``, ``products`` with a ``label`` each) as products with one draft each.

    Products whose name is there already are passed over. The drafts still have to be checked.
    """
    member.require(Can.EDIT_LABELS)
    names = Product.objects.for_farm(member.farm).values_list("name", flat=True)
    known = {name.casefold() for name in names}
    made = []
    for entry in library["products"]:
        if entry["name"].casefold() in known:
            continue
        facts = {k: entry[k] for k in ("name", "kind", "registration_number", "is_demo")}
        row = add_product(member=member, now=now, **facts)
        since = date.fromisoformat(library["effective_on"])
        note, body = entry["note"], entry["label"]
        made.append(draft_label(member=member, product_id=row.pk, effective_on=since, body=body, note=note, now=now))
    return made


@transaction.atomic
def edit_draft(
    *, member: Member, label_id: int, expected_version: int, changes: Mapping[str, Any], now: datetime
) -> LabelVersion:
    """Change a draft (``effective_on``, ``body``, ``note``). Whoever changes the text becomes its transcriber."""
    member.require(Can.EDIT_LABELS)
    row = _locked_version(member, label_id)
    _only_draft(row)
    wanted = _only(changes, "effective_on", "body", "note")
    if "body" in wanted:
        wanted["body"], wanted["body_hash"] = _document(row.product, wanted["body"])
        if wanted["body_hash"] != row.body_hash:
            wanted |= {"transcribed_by_id": member.person_id, "transcribed_at": now}
    return save_changes(row, member=member, expected_version=expected_version, changes=wanted, now=now)


def _only_draft(row: LabelVersion) -> None:
    if row.withdrawn_at:
        raise refuse("label_withdrawn", gettext_noop("This label version is withdrawn. Enter a new version."))
    if row.checked_at:
        raise refuse(
            "label_checked", gettext_noop("This label version is checked and never changes. Enter a new version.")
        )


@transaction.atomic
def check_label(*, member: Member, label_id: int, body_hash: str, checked_against: str, now: datetime) -> LabelVersion:
    """Say that this text was compared with the paper label: from now on it may be used, and never changes.

    ``body_hash`` is that of the text that was read: ``Stale`` if the draft has changed since.
    ``checked_against`` names the paper, e.g. "paper label dated 3 Mar 2026". The checker may be the
    transcriber; the version shows it (``same_person``).
    """
    member.require(Can.CHECK_LABELS)
    row = _locked_version(member, label_id)
    _only_draft(row)
    if row.body_hash != body_hash:
        raise Stale(gettext_noop("The draft was changed after you read it. Read it again against the paper."))
    paper = checked_against.strip()
    if len(paper) < 5 or len(paper) > 300:
        raise BadInput(
            {"checked_against": gettext_noop("Enter which paper you compared it with, such as: paper label dated …")}
        )
    row.checked_by_id, row.checked_at, row.checked_against = member.person_id, now, paper
    row.version += 1
    row.save(update_fields=["checked_by", "checked_at", "checked_against", "version"])
    after = {"against": paper, "hash": row.body_hash, "also transcribed it": row.same_person}
    audit.record(farm=member.farm, actor=member, verb="checked", subject=row, now=now, after=after)
    return row


@transaction.atomic
def withdraw_label(*, member: Member, label_id: int, reason: str, now: datetime) -> LabelVersion:
    """Take a version out of use at once (a draft: throw it away). The version before it is in force again, if any."""
    member.require(Can.CHECK_LABELS)
    row = _locked_version(member, label_id)
    if row.withdrawn_at:
        raise refuse("label_withdrawn", gettext_noop("This label version is already withdrawn."))
    why = reason.strip()
    if not why or len(why) > 300:
        raise BadInput({"reason": gettext_noop("Enter why you withdraw this label version, 300 characters at most.")})
    row.withdrawn_by_id, row.withdrawn_at, row.withdrawn_reason = member.person_id, now, why
    row.version += 1
    row.save(update_fields=["withdrawn_by", "withdrawn_at", "withdrawn_reason", "version"])
    audit.record(farm=member.farm, actor=member, verb="withdrew", subject=row, now=now, after={"reason": why})
    return row
