"""The worked-example library and its cases as facts of the check (fixtures/worked_examples/tank_mix_cases.json)."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from apps.crops.rules import Bloom, NextCrop
from apps.products.rules import Label, Method, Rate, Scheme, read_label
from apps.spraying.rules import (
    CertificateFact,
    CheckFacts,
    Entry,
    Event,
    FarmPolicy,
    GroupRule,
    MixLine,
    Span,
    SprayerFact,
    TrainingFact,
    Weather,
    Worker,
    check,
)
from farmops.errors import Finding, Severity
from farmops.units import Quantity

FILE = Path(__file__).parents[2] / "fixtures" / "worked_examples" / "tank_mix_cases.json"
CASES: dict[str, Any] = json.loads(FILE.read_text(encoding="utf-8"))
LIBRARY: dict[str, Any] = CASES["library"]
ZONE = ZoneInfo("America/New_York")
PLACE = "Oakhaven"
KINDS = {"F": "fungicide", "I": "insecticide", "H": "herbicide", "N": "nutrient"}
SCHEMES = {"F": "frac", "I": "irac", "H": "hrac", "N": "frac"}
MOBILE = ("3", "7", "11", "13", "50", "U06")  # the groups that the cases say need a multi-site partner
OFTEN = 25 if os.environ.get("NIGHTLY") == "1" else 1  # property tests try this many times as many stories
Mix = Sequence[tuple[str, float | str]]


def group_of(product: Mapping[str, Any], code: str) -> dict[str, str]:
    return {"scheme": SCHEMES[product["kind"]], "code": code.removeprefix("HRAC")}


def use_body(product: Mapping[str, Any], site: str, phi: int | None) -> dict[str, Any]:
    tiers = product.get("phi_tiers", {}).get(site, [])
    return {
        "site_code": site,
        "rate_min": product["rmin"],
        "rate_max": product["rmax"],
        "rate_unit": product["unit"],
        "rate_basis": "per_acre",
        "phi_days": phi,
        "phi_tiers": [{"up_to_rate": up_to, "days": days} for up_to, days in tiers],
        "min_interval_days": product["interval"],
        "interval_scope": "ingredient" if product.get("interval_scope") == "ai" else "product",
        "max_uses": product.get("max_apps"),
        "season_max_product": product.get("prod_year"),
        "season_basis": "calendar",
        "stage_before": product.get("stage_before"),
    }


def caps_body(product: Mapping[str, Any]) -> list[dict[str, Any]]:
    year = [(name, pounds, "year", None) for name, pounds in product.get("ai_year", {}).items()]
    once = [(name, pounds, "pass", None) for name, pounds in product.get("ai_single", {}).items()]
    for site, caps in product.get("ai_year_crop", {}).items():
        year += [(name, pounds, "year", site) for name, pounds in caps.items()]
    return [
        {"ingredient": name, "pounds": pounds, "per": per, "year_basis": "calendar", "site_code": site}
        for name, pounds, per, site in (*year, *once)
    ]


def label_document(product: Mapping[str, Any]) -> dict[str, Any]:
    """A product of the worked library as a label document."""
    basis = "lb_per_gal" if product["dens"] == "gal" else "fraction"
    return {
        "kind": KINDS[product["kind"]],
        "restricted_use": product.get("rup", False),
        "ingredients": [{"name": n, "amount": a, "basis": basis} for n, a in product["ais"].items()],
        "groups": [group_of(product, code) for code in product["groups"]],
        "group_run_limits": [
            {**group_of(product, code), "max_in_a_row": most} for code, most in product.get("label_consec", {}).items()
        ],
        "caps": caps_body(product),
        "separations": [{"ingredient": name, "days": days} for name, days in product.get("sep", {}).items()],
        "plantback": [{"site_code": s, "months": m} for s, m in product.get("plantback_months", {}).items()],
        "cover_crop_any_time": product.get("covercrop_any", False),
        "preplant_days": product.get("preplant", {}),
        "bee_class": product.get("bee", "NONE").lower(),
        "methods": product.get("methods", []),
        "min_spray_gpa": product.get("gpa_min"),
        "recommended_gpa": product.get("gpa_rec"),
        "wind_max_mph": product.get("wind_max"),
        "buffer_ft": product.get("buffer_ft"),
        "temperature_max_f": product.get("temp_max"),
        "temperature_caution_f": product.get("heat_warn"),
        "solution_ph_min": product.get("ph_min"),
        "surfactant_caution": product.get("surfactant_caution", False),
        "rain_free_hours": product.get("rainfree_h"),
        "mix_cautions": product.get("mix_caution", []),
        "supervised_use_allowed": not product.get("no_supervised", False),
        "training_topic": "paraquat" if "training_years" in product else None,
        "training_months": product["training_years"] * 12 if "training_years" in product else None,
        "contains_oil": False,
        "rei_hours": product["rei"],
        "uses": [use_body(product, site, phi) for site, phi in product["crops"].items()],
    }


@cache
def label(code: str) -> Label:
    return read_label(label_document(LIBRARY[code]))


def line(code: str, amount: float | str, unit: str = "", **changes: Any) -> MixLine:
    """``F3`` at 6 of its own rate unit per acre, or of ``unit``."""
    rate = changes.pop("rate", None) or Rate(
        quantity=Quantity(Decimal(str(amount)), unit or LIBRARY[code]["unit"]),
    )
    ready = {"label": label(code), "label_ref": "label 1", "label_checked": True}
    return MixLine(product_id=code, name=code, rate=rate, **{**ready, **changes})


def mix(*plan: tuple[Any, ...]) -> tuple[MixLine, ...]:
    return tuple(line(*row) for row in plan)


def past(on: str, *plan: tuple[Any, ...], zone: str = "all", crop: str | None = "pumpkin", **changes: Any) -> Event:
    """A past spray: ``past("2026-07-27", ("F3", 6), ("F1", 3))``."""
    parts = frozenset() if zone == "all" else frozenset({zone})
    ready = {"lines": mix(*plan), "site_code": crop, "parts": parts, "spray_gpa": Decimal(40)}
    return Event(on_date=date.fromisoformat(on), **{**ready, **changes})


def advisory_policy() -> FarmPolicy:
    """The advice that the cases were worked out with."""
    source = "advice stated with the worked cases"
    rules = [
        GroupRule(
            scheme=Scheme.FRAC,
            code=code,
            source=source,
            max_in_a_row=row.get("consec"),
            window=tuple(row["window"]) if "window" in row else None,
            max_per_crop=row.get("per_crop"),
            share=Fraction(row["share"]).limit_denominator(1000) if "share" in row else None,
        )
        for code, row in CASES["advisory_policy"].items()
    ]
    rules += [GroupRule(scheme=Scheme.FRAC, code=code, source=source, needs_multisite=True) for code in MOBILE]
    return FarmPolicy(name="worked_cases", group_rules=tuple(rules), wind_max_mph=None)


POLICY = advisory_policy()


def at(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=ZONE)


def dec(value: object) -> Decimal | None:
    return None if value is None else Decimal(str(value))


def worker(name: str, expires: str | None, trained: str | None, *, handler_on: date) -> Worker:
    certificates = []
    if expires is not None:
        certificates.append(
            CertificateFact(
                number="1", jurisdiction=PLACE, valid_from=date(2015, 1, 1), valid_to=date.fromisoformat(expires)
            )
        )
    trainings = [TrainingFact(topic="handler", done_on=handler_on)]
    if trained is not None:
        trainings.append(TrainingFact(topic="paraquat", done_on=date.fromisoformat(trained)))
    return Worker(name=name, certificates=tuple(certificates), trainings=tuple(trainings), born_on=date(1990, 1, 1))


def people(ctx: Mapping[str, Any], on: date) -> dict[str, Any]:
    """With ``supervised`` the expiry is the supervisor's."""
    cert, handler_on = ctx["cert"], on - timedelta(days=30)
    expires = cert["expires"] if cert["holder"] else None
    boss = worker("Boss", cert["expires"], None, handler_on=handler_on) if ctx["supervised"] else None
    return {
        "applicator": worker("Hand", expires, cert["paraquat_trained"], handler_on=handler_on),
        "supervisor": boss,
        "supervised": ctx["supervised"],
        "jurisdiction": PLACE,
    }


def next_crops(ctx: Mapping[str, Any]) -> tuple[NextCrop, ...]:
    crops = []
    if ctx["next"]:
        site, on, use = ctx["next"]
        crops.append(NextCrop(site_code=site, planted_on=date.fromisoformat(on), harvested=use == "harvest"))
    if ctx["plantdate"]:
        site, on = ctx["plantdate"]
        crops.append(NextCrop(site_code=site, planted_on=date.fromisoformat(on), harvested=True))
    return tuple(crops)


def nights(day: date, sunset: str) -> tuple[Span, ...]:
    """Sunset as the case gives it; sunrise 06:10, chosen."""
    return tuple(
        Span(at(f"{day + timedelta(days=n)}T{sunset}"), at(f"{day + timedelta(days=n + 1)}T06:10")) for n in (-1, 0)
    )


def facts(plan: Mix, history: Sequence[Event] = (), **ctx_changes: Any) -> CheckFacts:
    """The default context of the cases with changes, in the cases' own words."""
    ctx = {**CASES["default_context"], **ctx_changes}
    start_at = at(ctx["start"])
    return CheckFacts(
        block_name="Long Field 2",
        zone=ZONE,
        start_at=start_at,
        end_at=at(ctx["end"]),
        lines=mix(*plan),
        site_code=ctx["crop"],
        crop_name=ctx["crop"].replace("_", " "),
        parts=frozenset() if ctx["zone"] == "all" else frozenset({ctx["zone"]}),
        history=tuple(history),
        history_known_from=date(2010, 1, 1),
        next_crops=next_crops(ctx),
        harvest_at=at(ctx["harvest"]) if ctx["harvest"] else None,
        all_mature=ctx["all_mature"],
        entries=(Entry(at=at(ctx["entry"]), activity="scouting_on_foot"),) if ctx["entry"] else (),
        bloom=Bloom.YES if ctx["bloom"] else Bloom.NO,
        nights=nights(start_at.date(), ctx["sunset"]),
        weather=Weather(wind_mph=dec(ctx["wind"])),
        forecast_high_f=dec(ctx["temp"]),
        rain_in_hours=dec(ctx["rain_h"]),
        method=Method(ctx["method"]),
        spray_gpa=dec(ctx["gpa"]),
        sprayer=SprayerFact(
            name="Boom",
            measured_gpa=dec(ctx["gpa"]),
            measured_on=start_at.date() - timedelta(days=20),
            good_until=start_at.date() + timedelta(days=100),
        ),
        water_ft=dec(ctx["dist"]),
        stage=ctx["stage"],
        water_ph=dec(ctx["ph"]),
        surfactant=ctx["surfactant"],
        policy=POLICY,
        **people(ctx, start_at.date()),
    )


def history_of(rows: Sequence[Any], crop: str) -> list[Event]:
    """Rows ``[date, mix, zone?, crop?]`` of a case."""
    return [
        past(row[0], *row[1], zone=row[2] if len(row) > 2 else "all", crop=row[3] if len(row) > 3 else crop)
        for row in rows
    ]


def case_facts(case: Mapping[str, Any]) -> CheckFacts:
    crop = case["ctx"].get("crop", CASES["default_context"]["crop"])
    return facts(case["plan"], history_of(case["hist"], crop), **case["ctx"])


def codes(findings: Sequence[Finding], severity: Severity) -> list[str]:
    return sorted({f.code for f in findings if f.severity is severity})


def reasons(given: CheckFacts) -> tuple[list[str], list[str]]:
    """(codes that refuse, codes that ask for a reason), each once, sorted."""
    found = check(given)
    return codes(found, Severity.REFUSE), codes(found, Severity.JUSTIFY)


def changed(given: CheckFacts, **changes: Any) -> CheckFacts:
    return replace(given, **changes)


def relabelled(
    code: str, amount: float | str, unit: str = "", *, use: Mapping[str, Any] | None = None, **doc: Any
) -> MixLine:
    """A library product with its label document changed: ``use`` on every use, ``doc`` on the label."""
    body = {**label_document(LIBRARY[code]), **doc}
    body["uses"] = [{**row, **(use or {})} for row in body["uses"]]
    return line(code, amount, unit, label=read_label(body))


def notes(given: CheckFacts) -> list[str]:
    return codes(check(given), Severity.NOTE)


def said(given: CheckFacts, code: str) -> list[str]:
    """The sentences of one code."""
    return [f.sentence for f in check(given) if f.code == code]
