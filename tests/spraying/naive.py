"""A second, deliberately plain judge of the worked-case rules, straight from the JSON library, in floats.

It shares no code with the rules it judges. It covers what the worked cases cover and no more.
"""

from __future__ import annotations

from datetime import date, datetime, timedelta

from .mixes import CASES, LIBRARY, MOBILE

TO_BASE = {"floz": 1 / 128, "pt": 1 / 8, "qt": 1 / 4, "gal": 1.0, "oz": 1 / 16, "lb": 1.0}
POLICY = CASES["advisory_policy"]
HAIR = 1e-6


def pounds(code, rate):
    product = LIBRARY[code]
    base = rate * TO_BASE[product["unit"]]
    return {name: base * content for name, content in product["ais"].items()}


def months_on(day, months):
    for back in range(4):
        try:
            total = day.year * 12 + day.month - 1 + months
            return date(total // 12, total % 12 + 1, day.day - back)
        except ValueError:
            continue
    raise AssertionError


def judge(plan, history, ctx):
    """(refuse, warn) as sets of upper-case codes; history rows are (date, mix, zone, crop)."""
    ctx = {**CASES["default_context"], **ctx}
    start, end = (datetime.fromisoformat(ctx[k]) for k in ("start", "end"))
    day, refuse, warn = start.date(), set(), set()
    here = [
        (date.fromisoformat(on), mix, crop)
        for on, mix, zone, crop in history
        if "all" in (zone, ctx["zone"]) or zone == ctx["zone"]
    ]
    year = [row for row in here if row[0].year == day.year]
    for code, rate in plan:
        product(code, rate, plan, here, year, ctx, day, start, end, refuse, warn)
    season(plan, year, ctx, refuse, warn)
    entry(plan, ctx, end, refuse, warn)
    wind(plan, ctx, refuse, warn)
    groups(plan, year, ctx, day, refuse, warn)
    return refuse, warn


def product(code, rate, plan, here, year, ctx, day, start, end, refuse, warn):
    p = LIBRARY[code]
    if ctx["crop"] not in p["crops"]:
        refuse.add("CROP_NOT_ON_LABEL")
    elif ctx["harvest"]:
        phi = p["crops"][ctx["crop"]]
        if phi is None:
            phi = next((days for up_to, days in p["phi_tiers"][ctx["crop"]] if rate <= up_to + 1e-9), 7)
        if ctx["crop"] != "fallow_cover" and datetime.fromisoformat(ctx["harvest"]) < end + timedelta(days=phi):
            refuse.add("PHI")
    if rate > p["rmax"] + 1e-9:
        refuse.add("RATE_HIGH")
    if rate < p["rmin"] - 1e-9:
        warn.add("RATE_LOW")
    for on, mix, _ in here:
        for other, _ in mix:
            near = abs((day - on).days) < p["interval"]
            if near and other == code:
                refuse.add("INTERVAL")
            shared = set(p["ais"]) & set(LIBRARY[other]["ais"])
            if near and other != code and shared and p.get("interval_scope") == "ai":
                refuse.add("INTERVAL_AI")
    for other in [other for other, _ in plan]:
        if set(p.get("sep", {})) & set(LIBRARY[other]["ais"]):
            refuse.add("SEPARATION")
        if set(p.get("mix_caution", ())) & set(LIBRARY[other]["ais"]):
            warn.add("MIX_CAUTION")
    for on, mix, _ in here:
        for other, _ in mix:
            for asks, has in ((p, LIBRARY[other]), (LIBRARY[other], p)):
                days = [d for name, d in asks.get("sep", {}).items() if name in has["ais"]]
                if days and abs((day - on).days) < max(days):
                    refuse.add("SEPARATION")
    uses = 1 + sum(any(other == code for other, _ in mix) for _, mix, _ in year)
    if p.get("max_apps") and uses > p["max_apps"]:
        refuse.add("MAX_APPS")
    used = rate + sum(r for _, mix, _ in year for other, r in mix if other == code)
    if p.get("prod_year") and used > p["prod_year"] + HAIR:
        refuse.add("SEASON_PRODUCT")
    conditions(p, ctx, day, start, refuse, warn)


def conditions(p, ctx, day, start, refuse, warn):
    night = start.strftime("%H:%M") >= ctx["sunset"]
    if ctx["bloom"] and p.get("bee", "NONE") != "NONE":
        if p["bee"] == "NO_BLOOM" or not night:
            refuse.add("BEE_BLOOM")
        elif p["bee"] == "RESIDUAL":
            warn.add("BEE_RESIDUAL")
    if ctx["gpa"] < p.get("gpa_min", 0):
        refuse.add("GPA_LOW")
    if ctx["dist"] < p.get("buffer_ft", 0):
        refuse.add("BUFFER")
    if p.get("methods") and ctx["method"] not in p["methods"]:
        refuse.add("METHOD")
    if ctx["temp"] > p.get("temp_max", 999):
        refuse.add("TEMP_HIGH")
    if ctx["temp"] > p.get("heat_warn", 999):
        warn.add("PHYTO_HEAT")
    if ctx["ph"] < p.get("ph_min", 0):
        refuse.add("SOLUTION_PH")
    if p.get("surfactant_caution") and ctx["surfactant"]:
        warn.add("COPPER_SURFACTANT")
    if ctx["rain_h"] < p.get("rainfree_h", 0):
        warn.add("RAIN_SOON")
    if p.get("stage_before") and ctx["stage"] in ("first_female_flower", "fruit_set"):
        refuse.add("STAGE")
    people(p, ctx, day, refuse)
    follow = [tuple(ctx["next"])] if ctx["next"] else []
    follow += [(*ctx["plantdate"], "harvest")] if ctx["plantdate"] else []
    for site, on, use in follow:
        months = p.get("plantback_months", {})
        wait = months.get(site, months.get("*", 0))
        if date.fromisoformat(on) < months_on(day, wait):
            if p.get("covercrop_any") and use != "harvest":
                warn.add("PLANTBACK_COVER")
            else:
                refuse.add("PLANTBACK")
        if (date.fromisoformat(on) - day).days < p.get("preplant", {}).get(site, 0):
            refuse.add("PREPLANT")


def people(p, ctx, day, refuse):
    cert = ctx["cert"]
    valid = date.fromisoformat(cert["expires"]) >= day
    supervised = ctx["supervised"] and valid and not p.get("no_supervised")
    if p.get("rup") and not (cert["holder"] and valid) and not supervised:
        refuse.add("RUP_CERT")
    if p.get("training_years"):
        trained = cert["paraquat_trained"]
        if trained is None or months_on(date.fromisoformat(trained), 12 * p["training_years"]) < day:
            refuse.add("RUP_TRAINING")


def season(plan, year, ctx, refuse, warn):
    tank, total = {}, {}
    for code, rate in plan:
        for name, lb in pounds(code, rate).items():
            tank[name] = tank.get(name, 0) + lb
    for _, mix, _ in year:
        for code, rate in mix:
            for name, lb in pounds(code, rate).items():
                total[name] = total.get(name, 0) + lb
    worst = {}
    for code, _ in plan:
        p = LIBRARY[code]
        caps = {**p.get("ai_year", {}), **p.get("ai_year_crop", {}).get(ctx["crop"], {})}
        for name, cap in caps.items():
            worst[name] = min(worst.get(name, cap), cap)
        for name, cap in p.get("ai_single", {}).items():
            if tank[name] > cap + HAIR:
                refuse.add("RATE_AI_SINGLE")
    for name, cap in worst.items():
        lb = tank[name] + total.get(name, 0)
        if lb > cap + HAIR:
            refuse.add("SEASON_AI")
        elif lb >= 0.9 * cap - 1e-9:
            warn.add("SEASON_NEAR")


def entry(plan, ctx, end, refuse, warn):
    opens = end + timedelta(hours=max(LIBRARY[code]["rei"] for code, _ in plan))
    if ctx["harvest"] and datetime.fromisoformat(ctx["harvest"]) < opens:
        refuse.add("REI_HARVEST")
    if ctx["entry"] and datetime.fromisoformat(ctx["start"]) <= datetime.fromisoformat(ctx["entry"]) < opens:
        warn.add("REI_ENTRY")


def wind(plan, ctx, refuse, warn):
    if ctx["wind"] is None:
        warn.add("DATA_MISSING_WIND")
        return
    if any(ctx["wind"] > LIBRARY[code]["wind_max"] for code, _ in plan if "wind_max" in LIBRARY[code]):
        refuse.add("WIND_HIGH")
    if ctx["wind"] < 3:
        warn.add("WIND_LOW_INVERSION")


def fungal(mix):
    return {g for code, _ in mix if LIBRARY[code]["kind"] == "F" for g in LIBRARY[code]["groups"]}


def groups(plan, year, ctx, day, refuse, warn):
    days = {}
    for on, mix, crop in year:
        if crop == ctx["crop"] and any(LIBRARY[code]["kind"] == "F" for code, _ in mix):
            days.setdefault(on, set()).update(fungal(mix))
    days.setdefault(day, set()).update(fungal(plan))
    line = [days[on] for on in sorted(days) if on <= day]
    for g in fungal(plan):
        run = 0
        while run < len(line) and g in line[-1 - run]:
            run += 1
        caps = [LIBRARY[c]["label_consec"][g] for c, _ in plan if g in LIBRARY[c].get("label_consec", {})]
        rule = POLICY.get(g, {})
        if caps and run > min(caps):
            refuse.add("GROUP_CONSEC_LABEL")
        elif "consec" in rule and run > rule["consec"]:
            warn.add("GROUP_CONSEC")
        count = sum(g in held for held in line)
        if "window" in rule and sum(g in held for held in line[-rule["window"][1] :]) > rule["window"][0]:
            warn.add("GROUP_WINDOW")
        if "per_crop" in rule and count > rule["per_crop"]:
            warn.add("GROUP_MAX_CROP")
        if "share" in rule and len(line) >= 3 and count / len(line) > rule["share"] + 1e-9:
            warn.add("GROUP_SHARE")
    if fungal(plan) & set(MOBILE) and not any(g.startswith("M") for g in fungal(plan)):
        warn.add("NO_MULTISITE_PARTNER")
