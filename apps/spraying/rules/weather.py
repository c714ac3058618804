"""Wind, heat and rain against the label. Missing data is said, and at the start a missing wind stops the job."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal

from apps.spraying.rules.facts import CheckFacts, Weather
from apps.spraying.rules.house import DRIFT
from apps.spraying.rules.mix import Judged
from apps.spraying.rules.saying import PROJECT, justify, note, on_label, plain, refuse
from apps.weather.rules.air import AFTER_SUNRISE, BEFORE_SUNSET, CALM_SOURCE, HOURS_SOURCE
from farmops.errors import Finding, gettext_noop


def findings(facts: CheckFacts) -> list[Finding]:
    """Codes: wind_high, wind_low, gust_high, wind_low_inversion, data_missing_wind, inversion_hours, temp_high,
    phyto_heat, data_missing_temperature, rain_soon, data_missing_rain."""
    if not facts.judged:
        return []
    reading = _reading(facts)
    found = [*_wind(facts, reading), *_inversion_hours(facts)]
    for j in facts.judged:
        found += [*_heat(facts, reading, j), *_rain(facts, j)]
    return found


def _reading(facts: CheckFacts) -> Weather:
    """The reading, if it is fresh enough for a start; a stale one counts as none."""
    reading = facts.weather or Weather()
    if not facts.at_start:
        return reading
    good = timedelta(minutes=facts.policy.reading_good_minutes)
    fresh = reading.taken_at is not None and facts.start_at - good <= reading.taken_at <= facts.start_at + good
    return reading if fresh else Weather()


def _wind(facts: CheckFacts, reading: Weather) -> list[Finding]:
    if reading.wind_mph is None:
        word = refuse if facts.at_start else justify
        template = gettext_noop("No wind reading. A reading taken in the field is needed before spraying starts.")
        return [word("data_missing_wind", template, source=PROJECT, field="wind_mph")]
    found = [f for j in facts.judged for f in _wind_limits(facts, reading, j)]
    calm = facts.policy.calm_wind_mph
    if calm is not None and reading.wind_mph < calm:
        template = gettext_noop("Wind {wind} mph is below {limit} mph: the air may be inverted and carry spray far.")
        numbers = {"wind": plain(reading.wind_mph), "limit": plain(calm)}
        source = facts.policy.where("calm_wind_mph", CALM_SOURCE)
        found.append(justify("wind_low_inversion", template, source=source, field="wind_mph", **numbers))
    return found


def _wind_limits(facts: CheckFacts, reading: Weather, j: Judged) -> list[Finding]:
    wind, product = reading.wind_mph or Decimal(0), j.line.name
    source, found = on_label(j.line, "wind_max_mph", "wind"), []
    most, house = j.label.wind_max_mph, facts.policy.wind_max_mph
    numbers = {"product": product, "wind": plain(wind)}
    above = gettext_noop("{product}: wind {wind} mph is above {limit} mph.")
    if most is not None and wind > most:
        found.append(refuse("wind_high", above, source=source, field="wind_mph", limit=plain(most), **numbers))
    elif most is None and house is not None and wind > house:
        own = facts.policy.where("wind_max_mph", DRIFT)
        found.append(justify("wind_high", above, source=own, field="wind_mph", limit=plain(house), **numbers))
    if most is not None and reading.gust_mph is not None and reading.gust_mph > most >= wind:
        template = gettext_noop("{product}: gusts of {wind} mph are above the label's {limit} mph.")
        gust = {"product": product, "wind": plain(reading.gust_mph), "limit": plain(most)}
        found.append(justify("gust_high", template, source=f"{source}; {PROJECT}", field="gust_mph", **gust))
    least = j.label.wind_min_mph
    if least is not None and wind < least:
        template = gettext_noop("{product}: wind {wind} mph is below the label's lowest, {limit} mph.")
        source = on_label(j.line, "wind_min_mph", "wind")
        found.append(refuse("wind_low", template, source=source, field="wind_mph", limit=plain(least), **numbers))
    return found


def _inversion_hours(facts: CheckFacts) -> list[Finding]:
    """From shortly before sunset until some time after sunrise the air near the ground is most often inverted."""
    for night in facts.nights:
        since, until = night.starts_at - BEFORE_SUNSET, night.ends_at + AFTER_SUNRISE
        if facts.start_at < until and since < facts.end_at:
            template = gettext_noop(
                "Between {since} and {until} the air is often inverted: look for hanging smoke or dust before starting."
            )
            numbers = {"since": facts.local(since), "until": facts.local(until)}
            return [note("inversion_hours", template, source=HOURS_SOURCE, field="start_at", **numbers)]
    return []


def _heat(facts: CheckFacts, reading: Weather, j: Judged) -> list[Finding]:
    most, caution, product = j.label.temperature_max_f, j.label.temperature_caution_f, j.line.name
    if most is None and caution is None:
        return []
    known = [t for t in (facts.forecast_high_f, reading.temperature_f) if t is not None]
    if not known or (facts.at_start and reading.temperature_f is None):
        template = gettext_noop("{product} has a temperature limit and the temperature is not known.")
        word = note if not facts.at_start else refuse if most is not None else justify
        source = on_label(j.line, "temperature_caution_f" if most is None else "temperature_max_f", "temperature")
        return [word("data_missing_temperature", template, source=source, field="temperature_f", product=product)]
    heat = max(known)
    if most is not None and heat > most:
        template = gettext_noop("{product}: {heat} °F is above the label's {limit} °F.")
        source = on_label(j.line, "temperature_max_f", "temperature")
        numbers = {"product": product, "heat": plain(heat), "limit": plain(most)}
        return [refuse("temp_high", template, source=source, field="temperature_f", **numbers)]
    if caution is not None and heat > caution:
        template = gettext_noop("{product} may burn leaves: {heat} °F is above {limit} °F.")
        source = on_label(j.line, "temperature_caution_f", "temperature")
        numbers = {"product": product, "heat": plain(heat), "limit": plain(caution)}
        return [justify("phyto_heat", template, source=source, field="temperature_f", **numbers)]
    return []


def _rain(facts: CheckFacts, j: Judged) -> list[Finding]:
    need, product = j.label.rain_free_hours, j.line.name
    if not need:
        return []
    source = on_label(j.line, "rain_free_hours", "hours without rain")
    if facts.rain_in_hours is None:
        template = gettext_noop("{product} needs {limit} h without rain and no forecast is on record.")
        word = justify if facts.at_start else note
        return [word("data_missing_rain", template, source=source, product=product, limit=plain(need))]
    if facts.rain_in_hours >= need:
        return []
    template = gettext_noop("{product}: rain expected in {hours} h, the label asks for {limit} h without.")
    numbers = {"product": product, "hours": plain(facts.rain_in_hours), "limit": plain(need)}
    return [justify("rain_soon", template, source=source, field="start_at", **numbers)]
