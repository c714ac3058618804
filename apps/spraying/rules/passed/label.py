"""What each label allows and the plan keeps to: crop, target, rate, volume, method, weather, water."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from apps.products.rules import BeeClass
from apps.spraying.rules.bees import in_the_dark
from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.mix import Judged
from apps.spraying.rules.passed.row import Passed, passes
from apps.spraying.rules.rates import rate_text
from apps.spraying.rules.saying import on_label, plain
from farmops.errors import gettext_noop


def passed(facts: CheckFacts) -> Iterator[Passed]:
    for j in facts.judged:
        yield from _paper(facts, j)
        yield from _rate(j)
        yield from _volume_and_method(facts, j)
        yield from _bees(facts, j)
        yield from _weather(facts, j)
        yield from _water(facts, j)


def _paper(facts: CheckFacts, j: Judged) -> Iterator[Passed]:
    product, crop = j.line.name, facts.crop_name or facts.site_code or "?"
    template = gettext_noop("{product}: a label checked by a named person is in force on {on}.")
    against = "label_missing label_unchecked"
    yield passes(
        "label", template, against, source=on_label(j.line), about=product, product=product, on=f"{facts.on_date}"
    )
    if j.listed:
        template = gettext_noop("{product}: the label names {crop}.")
        against = "crop_not_on_label site_unknown"
        yield passes(
            "crop", template, against, source=on_label(j.line, "uses"), about=product, product=product, crop=crop
        )
    named = ", ".join(t for t in j.line.targets if t in j.use.targets)
    if j.listed and named:
        template = gettext_noop("{product}: the label names {targets} on this crop.")
        numbers = {"product": product, "targets": named}
        against = "target_not_on_label"
        yield passes("target", template, against, source=on_label(j.line, "uses"), about=product, **numbers)


def _rate(j: Judged) -> Iterator[Passed]:
    if j.rate_amount is None:
        return
    numbers = {
        "product": j.line.name,
        "rate": rate_text(j.use, j.rate_amount),
        "least": "–" if j.use.rate_min is None else rate_text(j.use, Fraction(j.use.rate_min)),
        "most": rate_text(j.use, Fraction(j.use.rate_max)),
    }
    template = gettext_noop("{product}: {rate}; the label allows {least} to {most}.")
    against = "rate_high rate_low rate_unit rate_unknown"
    yield passes("rate", template, against, source=on_label(j.line, "rate", "rate"), about=j.line.name, **numbers)


def _volume_and_method(facts: CheckFacts, j: Judged) -> Iterator[Passed]:
    product = j.line.name
    least = j.label.min_spray_gpa if j.use.min_spray_gpa is None else j.use.min_spray_gpa
    if least is not None and facts.spray_gpa is not None:
        template = gettext_noop("{product}: {gpa} gal/acre; at least {limit} gal/acre.")
        numbers = {"product": product, "gpa": plain(facts.spray_gpa), "limit": plain(least)}
        source = on_label(j.line, "min_spray_gpa", "spray volume")
        yield passes("volume", template, "gpa_low gpa_unknown", source=source, about=product, **numbers)
    allowed = j.methods
    if allowed and facts.method is not None:
        template = gettext_noop("{product}: goes out by {method}; the label allows {listed}.")
        numbers = {"product": product, "method": facts.method.value, "listed": ", ".join(allowed)}
        source = on_label(j.line, "methods", "method")
        yield passes("method", template, "method method_unknown", source=source, about=product, **numbers)


def _bees(facts: CheckFacts, j: Judged) -> Iterator[Passed]:
    bee, numbers = j.label.bee_class, {"product": j.line.name, "block": facts.block_name}
    source = on_label(j.line, "bee_statement", f"bee statement: {j.label.bee_statement or '?'}")
    against = "bee_bloom bee_residual bee_window"
    if bee is BeeClass.NONE:
        template = gettext_noop("{product}: the label has no limit for bees.")
        numbers.pop("block")
    elif facts.bloom == "no":
        template = gettext_noop("{product}: nothing on {block} is in bloom, crop or weeds.")
    elif in_the_dark(facts):
        template = gettext_noop("{product}: {start} to {end} lies between sunset and sunrise at {block}.")
        numbers |= {"start": facts.local(facts.start_at), "end": facts.local(facts.end_at)}
    else:
        return
    yield passes("bees", template, against, source=source, about=j.line.name, **numbers)


def _weather(facts: CheckFacts, j: Judged) -> Iterator[Passed]:
    product, wind = j.line.name, facts.weather.wind_mph if facts.weather else None
    most = j.label.wind_max_mph
    if wind is not None and most is not None:
        template = gettext_noop("{product}: wind {wind} mph; at most {limit} mph.")
        numbers = {"product": product, "wind": plain(wind), "limit": plain(most)}
        against = "wind_high wind_low gust_high"
        source = on_label(j.line, "wind_max_mph", "wind")
        yield passes("wind", template, against, source=source, about=product, unless="data_missing_wind", **numbers)
    heat, hottest = facts.forecast_high_f, j.label.temperature_max_f
    if heat is not None and hottest is not None:
        template = gettext_noop("{product}: up to {heat} °F; at most {limit} °F.")
        numbers = {"product": product, "heat": plain(heat), "limit": plain(hottest)}
        source = on_label(j.line, "temperature_max_f", "temperature")
        yield passes("heat", template, "temp_high data_missing_temperature", source=source, about=product, **numbers)
    dry = j.label.rain_free_hours
    if dry and facts.rain_in_hours is not None:
        template = gettext_noop("{product}: dry for {hours} h; the label asks for {limit} h.")
        numbers = {"product": product, "hours": plain(facts.rain_in_hours), "limit": plain(dry)}
        source = on_label(j.line, "rain_free_hours", "hours without rain")
        yield passes("rain", template, "rain_soon data_missing_rain", source=source, about=product, **numbers)


def _water(facts: CheckFacts, j: Judged) -> Iterator[Passed]:
    product, least = j.line.name, j.label.solution_ph_min
    if least is not None and facts.water_ph is not None:
        template = gettext_noop("{product}: pH {ph}; at least {limit}.")
        numbers = {"product": product, "ph": plain(facts.water_ph), "limit": plain(least)}
        source = on_label(j.line, "solution_ph_min", "pH of the spray")
        yield passes("ph", template, "solution_ph data_missing_ph", source=source, about=product, **numbers)
    feet = j.label.buffer_ft
    if feet and facts.water_ft is not None:
        template = gettext_noop("{product}: {block} lies {distance} ft from water; at least {limit} ft.")
        numbers = {
            "product": product,
            "block": facts.block_name,
            "distance": plain(facts.water_ft),
            "limit": plain(feet),
        }
        source = on_label(j.line, "buffer_ft", "distance to water")
        yield passes("buffer", template, "buffer buffer_unknown", source=source, about=product, **numbers)
