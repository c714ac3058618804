"""Who applies and with what, where that is in order."""

from __future__ import annotations

from collections.abc import Iterator

from apps.spraying.rules.facts import CheckFacts
from apps.spraying.rules.passed.row import Passed, passes
from apps.spraying.rules.people import (
    CERTIFIED,
    HANDLERS,
    RESPIRATOR,
    asking_respirator,
    certificates_on,
    last_training,
)
from apps.spraying.rules.saying import PROJECT, on_label, plain
from farmops.errors import gettext_noop


def passed(facts: CheckFacts) -> Iterator[Passed]:
    yield from _certificate(facts)
    yield from _handler(facts)
    yield from _label_training(facts)
    yield from _respirator(facts)
    yield from _sprayer(facts)


def _certificate(facts: CheckFacts) -> Iterator[Passed]:
    held = certificates_on(facts.applicator, facts)
    if facts.applicator is None or not held:
        return
    best = max(held, key=lambda c: (c.valid_to, c.number))
    template = gettext_noop("{who}: certificate {number} is valid in {where} through {until}.")
    numbers = {
        "who": facts.applicator.name,
        "number": best.number,
        "where": best.jurisdiction,
        "until": str(best.valid_to),
    }
    yield passes("certificate", template, "rup_cert certificate_missing", source=CERTIFIED, **numbers)


def _handler(facts: CheckFacts) -> Iterator[Passed]:
    worker, trained_on = facts.applicator, last_training(facts.applicator, "handler", facts.on_date)
    if worker is None or trained_on is None:
        return
    template = gettext_noop("{who}: handler training of {on} counts for 12 months.")
    numbers = {"who": worker.name, "on": str(trained_on)}
    yield passes("handler_training", template, "handler_training", source=HANDLERS, **numbers)


def _label_training(facts: CheckFacts) -> Iterator[Passed]:
    for j in facts.judged:
        topic, months = j.label.training_topic, j.label.training_months
        trained_on = last_training(facts.applicator, topic or "", facts.on_date)
        if facts.applicator is None or topic is None or months is None or trained_on is None:
            continue
        template = gettext_noop("{product}: {who} had {topic} training on {on}; it counts for {months} months.")
        numbers = {
            "product": j.line.name,
            "who": facts.applicator.name,
            "topic": topic,
            "on": str(trained_on),
            "months": str(months),
        }
        source = on_label(j.line, "training_topic", "training")
        yield passes("label_training", template, "rup_training", source=source, about=j.line.name, **numbers)


def _respirator(facts: CheckFacts) -> Iterator[Passed]:
    worker = facts.applicator
    if worker is None or worker.respirator_until is None or not asking_respirator(facts):
        return
    template = gettext_noop("{who}: clearance and fit test for a respirator count through {until}.")
    numbers = {"who": worker.name, "until": str(worker.respirator_until)}
    yield passes("respirator", template, "respirator", source=RESPIRATOR, **numbers)


def _sprayer(facts: CheckFacts) -> Iterator[Passed]:
    sprayer = facts.sprayer
    if sprayer is None or sprayer.measured_gpa is None or sprayer.measured_on is None:
        return
    template = gettext_noop("{sprayer}: measured at {measured} gal/acre on {on}, good until {until}.")
    numbers = {
        "sprayer": sprayer.name,
        "measured": plain(sprayer.measured_gpa),
        "on": str(sprayer.measured_on),
        "until": str(sprayer.good_until or "?"),
    }
    against = "calibration_old calibration_differs calibration_missing"
    yield passes("calibration", template, against, source=PROJECT, **numbers)
