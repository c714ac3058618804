"""May this person apply this mix on this day: certificate, supervision, training, respirator."""

from __future__ import annotations

from datetime import date

from apps.products.rules import PESTICIDES, Method
from apps.spraying.rules.caps import add_months
from apps.spraying.rules.facts import CertificateFact, CheckFacts, Worker
from apps.spraying.rules.mix import Judged
from apps.spraying.rules.saying import PROJECT, justify, note, on_label, refuse, say
from apps.training.rules import ADULT, FAMILY_MINIMUM, age_on
from farmops.errors import Finding, gettext_noop

CERTIFIED = "40 CFR 171.1(b): certified only while valid in the jurisdiction"
SUPERVISION = "40 CFR 171.201"
HANDLERS = "40 CFR 170.501"
RESPIRATOR = "40 CFR 170.507(b)(10)"
HANDLER_MONTHS = 12
BREATHING = ("respirator", "facepiece", "niosh", "n95", "scba", "breathing apparatus")  # how labels put it: from memory


def findings(facts: CheckFacts) -> list[Finding]:
    """Codes: applicator_missing, rup_cert, rup_supervision, age_unknown, too_young, young_family, rup_training,
    certificate_missing, handler_training, respirator."""
    found = [f for j in facts.judged for f in (*_restricted(facts, j), *_label_training(facts, j))]
    return [*found, *_nobody(facts), *_general(facts), *_handler(facts), *_respirator(facts)]


def certificates_on(worker: Worker | None, facts: CheckFacts) -> list[CertificateFact]:
    """Certificates that are valid here on the farm-local day, their last day included, and fit the method."""
    category = facts.policy.method_categories.get(facts.method) if facts.method else None
    return [
        c
        for c in (worker.certificates if worker else ())
        if c.jurisdiction.casefold() == facts.jurisdiction.casefold() != ""
        and not c.suspended
        and c.valid_from <= facts.on_date <= c.valid_to
        and (category is None or category in c.categories)
    ]


def certified_on(worker: Worker | None, facts: CheckFacts) -> bool:
    """Whether somebody holds a certificate that counts for this job."""
    return bool(certificates_on(worker, facts))


def _nobody(facts: CheckFacts) -> list[Finding]:
    if facts.applicator is not None:
        return []
    template = gettext_noop("Nobody is named as applicator.")
    word = refuse if facts.at_start else note
    return [word("applicator_missing", template, source=PROJECT, field="applicator")]


def _restricted(facts: CheckFacts, j: Judged) -> list[Finding]:
    if not j.label.restricted_use or certified_on(facts.applicator, facts):
        return []
    numbers = {
        "product": j.line.name,
        "who": facts.applicator.name if facts.applicator else "?",
        "on": str(facts.on_date),
        "where": facts.jurisdiction or "?",
    }
    source = on_label(j.line, "restricted_use", f"restricted use; {CERTIFIED}")
    if facts.supervised and j.label.supervised_use_allowed is False:
        template = gettext_noop(
            "{product}: certified applicators only. {who} may not apply it, under supervision or not."
        )
        return [refuse("rup_cert", template, source=source, field="applicator", **numbers)]
    if facts.supervised and certified_on(facts.supervisor, facts):
        if j.label.supervised_use_allowed:
            return _of_age(facts, j)
        template = gettext_noop("{product}: it is not on record whether the label allows use under supervision.")
        source = on_label(j.line, "supervised_use_allowed", SUPERVISION)
        asked = justify("rup_supervision", template, source=source, field="applicator", product=j.line.name)
        return [asked, *_of_age(facts, j)]
    template = gettext_noop(
        "{product} is restricted use, and {who} has no certificate that is valid in {where} on {on}."
    )
    return [refuse("rup_cert", template, source=source, field="applicator", **numbers)]


def _of_age(facts: CheckFacts, j: Judged) -> list[Finding]:
    """Under supervision one must be 18; 16 with a certified supervisor of the immediate family, not by air.

    That both stand on the list as of an owner's immediate family does not say that it is the same one: that is asked.
    """
    worker = facts.applicator
    who = worker.name if worker else "?"
    if worker is None or worker.born_on is None:
        template = gettext_noop("The age of {who} is not on record; under supervision one must be {limit}.")
        return [refuse("age_unknown", template, source=SUPERVISION, field="applicator", who=who, limit=str(ADULT))]
    family = facts.same_family and facts.method is not None and facts.method is not Method.AIR
    least, age = FAMILY_MINIMUM if family else ADULT, age_on(worker.born_on, facts.on_date)
    if age >= ADULT:
        return []
    if age >= least:
        template = gettext_noop(
            "{who} is {age}: write down how {who} and the certified supervisor are of one immediate family, "
            "and that the state allows it."
        )
        return [justify("young_family", template, source=SUPERVISION, field="supervisor", who=who, age=str(age))]
    template = gettext_noop("{who} is {age}; under supervision one must be {limit} to apply {product}.")
    numbers = {"who": who, "age": str(age), "limit": str(least), "product": j.line.name}
    return [refuse("too_young", template, source=SUPERVISION, field="applicator", **numbers)]


def _label_training(facts: CheckFacts, j: Judged) -> list[Finding]:
    topic, months = j.label.training_topic, j.label.training_months
    if topic is None or months is None or _trained(facts.applicator, topic, months, facts.on_date):
        return []
    template = gettext_noop("{product}: the label asks for {topic} training within {months} months; {who} has {last}.")
    numbers = {
        "product": j.line.name,
        "topic": topic,
        "months": str(months),
        "who": facts.applicator.name if facts.applicator else "?",
        "last": str(last_training(facts.applicator, topic, facts.on_date) or "–"),
    }
    source = on_label(j.line, "training_topic", "training")
    return [refuse("rup_training", template, source=source, field="applicator", **numbers)]


def last_training(worker: Worker | None, topic: str, on_date: date) -> date | None:
    """The newest training in a topic on or before a day."""
    days = [
        t.done_on
        for t in (worker.trainings if worker else ())
        if t.topic.casefold() == topic.casefold() and t.done_on <= on_date
    ]
    return max(days, default=None)


def _trained(worker: Worker | None, topic: str, months: int, on_date: date) -> bool:
    last = last_training(worker, topic, on_date)
    return last is not None and on_date <= add_months(last, months)


def _pesticides(facts: CheckFacts) -> list[Judged]:
    return [j for j in facts.judged if j.label.kind in PESTICIDES]


def _general(facts: CheckFacts) -> list[Finding]:
    """General-use products: federal law asks for no certificate, a state or the farm may."""
    if facts.applicator is None or certified_on(facts.applicator, facts) or not _pesticides(facts):
        return []
    template = gettext_noop("{who} has no certificate that is valid in {where} on {on}.")
    numbers = {"who": facts.applicator.name, "where": facts.jurisdiction or "?", "on": str(facts.on_date)}
    severity = facts.policy.general_use_certificate
    source = facts.policy.where("general_use_certificate", PROJECT)
    return [say("certificate_missing", severity, template, source=source, field="applicator", **numbers)]


def _handler(facts: CheckFacts) -> list[Finding]:
    """Handlers are trained within 12 months before; certified applicators and owners' families are exempt."""
    worker = facts.applicator
    if worker is None or worker.training_exempt or certified_on(worker, facts) or not _pesticides(facts):
        return []
    if _trained(worker, "handler", HANDLER_MONTHS, facts.on_date):
        return []
    template = gettext_noop("{who} has no handler training within 12 months before {on} (last: {last}).")
    last = str(last_training(worker, "handler", facts.on_date) or "–")
    numbers = {"who": worker.name, "on": str(facts.on_date), "last": last}
    return [refuse("handler_training", template, source=HANDLERS, field="applicator", **numbers)]


def asking_respirator(facts: CheckFacts) -> list[Judged]:
    """The products whose label names a respirator, for mixing or for applying, in whatever words."""
    return [
        j
        for j in facts.judged
        if any(word in gear.casefold() for gear in (*j.label.ppe.mixing, *j.label.ppe.applying) for word in BREATHING)
    ]


def _respirator(facts: CheckFacts) -> list[Finding]:
    """Not on record and run out are the same: nobody wears a respirator that was not fitted to them."""
    worker, asking = facts.applicator, asking_respirator(facts)
    if worker is None or not asking:
        return []
    if worker.respirator_until is not None and worker.respirator_until >= facts.on_date:
        return []
    template = gettext_noop(
        "{product} asks for a respirator, and {who} has no clearance and fit test on record for {on}."
    )
    numbers = {"product": min(j.line.name for j in asking), "who": worker.name, "on": str(facts.on_date)}
    return [refuse("respirator", template, source=RESPIRATOR, field="applicator", **numbers)]
