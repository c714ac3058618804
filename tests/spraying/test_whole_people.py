"""Who applies: each finding in full. Sources: 40 CFR 170.501, 170.507, 171.1, 171.201."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest

from apps.products.rules import Method
from apps.spraying.rules import CertificateFact, FarmPolicy, TrainingFact, Worker, check
from farmops.errors import Severity

from .mixes import PLACE, changed
from .whole import given, paged, whole

I1, F3 = paged("I1", "3.84"), paged("F3", 6)


def who(name="Ana", *, trained=date(2026, 1, 10), **more):
    trainings = (TrainingFact(topic="handler", done_on=trained),) if trained else ()
    return Worker(name=name, trainings=trainings, **{"born_on": date(1990, 1, 1), **more})


CARD = CertificateFact(number="7", jurisdiction=PLACE, valid_from=date(2024, 1, 1), valid_to=date(2027, 12, 31))
ANA = who()
UNDER = {"applicator": ANA, "supervisor": who("Boss", certificates=(CARD,)), "supervised": True}
FAMILY = {**UNDER, "same_family": True}
NO_SUPERVISION, NOT_SAID = (paged("I1", "3.84", supervised_use_allowed=said) for said in (False, None))
ASKING = paged("F3", 6, training_topic="paraquat", training_months=36)
OLD = replace(ANA, trainings=tuple(TrainingFact(topic="Paraquat", done_on=date(year, 8, 3)) for year in (2021, 2023)))
MASKS = (paged("F3", 6, ppe={"applying": ["NIOSH-approved half mask"]}), paged("F1", 3, ppe={"mixing": ["Respirator"]}))
REFUSING = FarmPolicy(general_use_certificate=Severity.REFUSE, own_limits=frozenset({"general_use_certificate"}))
RESTRICTED = (
    "label of I1, label 1, restricted use; 40 CFR 171.1(b): certified only while valid in the jurisdiction, page 17"
)
AGE = "40 CFR 171.201"

WHOLE = [
    ("nobody", given(F3, applicator=None), "applicator_missing", "note",
     "Nobody is named as applicator.", "project rule", "applicator", ""),
    ("nobody_at_the_start", given(F3, applicator=None, at_start=True), "applicator_missing", "refuse",
     "Nobody is named as applicator.", "project rule", "applicator", ""),
    ("no_certificate", given(I1, applicator=ANA), "rup_cert", "refuse",
     "I1 is restricted use, and Ana has no certificate that is valid in Oakhaven on Tue, Aug 4, 2026.",
     RESTRICTED, "applicator", "I1"),
    ("nobody_nowhere", given(I1, applicator=None, jurisdiction=""), "rup_cert", "refuse",
     "I1 is restricted use, and ? has no certificate that is valid in ? on Tue, Aug 4, 2026.",
     RESTRICTED, "applicator", "I1"),
    ("no_supervision", given(NO_SUPERVISION, **UNDER), "rup_cert", "refuse",
     "I1: certified applicators only. Ana may not apply it, under supervision or not.", RESTRICTED, "applicator", "I1"),
    ("supervision_not_said", given(NOT_SAID, **UNDER), "rup_supervision", "justify",
     "I1: it is not on record whether the label allows use under supervision.",
     f"label of I1, label 1, {AGE}, page 18", "applicator", "I1"),
    ("age_unknown", given(I1, **{**UNDER, "applicator": who(born_on=None)}), "age_unknown", "refuse",
     "The age of Ana is not on record; under supervision one must be 18.", AGE, "applicator", ""),
    ("nobody_under_supervision", given(I1, **{**UNDER, "applicator": None}), "age_unknown", "refuse",
     "The age of ? is not on record; under supervision one must be 18.", AGE, "applicator", ""),
    ("age_where_supervision_is_not_said", given(NOT_SAID, **{**UNDER, "applicator": who(born_on=None)}), "age_unknown",
     "refuse", "The age of Ana is not on record; under supervision one must be 18.", AGE, "applicator", ""),
    ("seventeen", given(I1, **{**UNDER, "applicator": who(born_on=date(2008, 8, 5))}), "too_young", "refuse",
     "Ana is 17; under supervision one must be 18 to apply I1.", AGE, "applicator", "I1"),
    ("fifteen_in_the_family", given(I1, **{**FAMILY, "applicator": who(born_on=date(2010, 8, 5))}), "too_young",
     "refuse", "Ana is 15; under supervision one must be 16 to apply I1.", AGE, "applicator", "I1"),
    ("sixteen_in_the_family", given(I1, **{**FAMILY, "applicator": who(born_on=date(2010, 8, 4))}), "young_family",
     "justify", "Ana is 16: write down how Ana and the certified supervisor are of one immediate family, and that the "
     "state allows it.", AGE, "supervisor", ""),
    ("seventeen_where_supervision_is_not_said", given(NOT_SAID, **{**UNDER, "applicator": who(
        born_on=date(2008, 8, 5))}), "too_young", "refuse",
     "Ana is 17; under supervision one must be 18 to apply I1.", AGE, "applicator", "I1"),
    ("sixteen_method_not_known", given(I1, **{**FAMILY, "applicator": who(born_on=date(2010, 8, 4)), "method": None}),
     "too_young", "refuse", "Ana is 16; under supervision one must be 18 to apply I1.", AGE, "applicator", "I1"),
    ("no_training", given(ASKING, applicator=ANA), "rup_training", "refuse",
     "F3: the label asks for paraquat training within 36 months; Ana has –.",
     "label of F3, label 1, training, page 19", "applicator", "F3"),
    ("nobody_to_be_trained", given(ASKING, applicator=None), "rup_training", "refuse",
     "F3: the label asks for paraquat training within 36 months; ? has –.",
     "label of F3, label 1, training, page 19", "applicator", "F3"),
    ("old_training", given(ASKING, applicator=OLD), "rup_training", "refuse",
     "F3: the label asks for paraquat training within 36 months; Ana has Thu, Aug 3, 2023.",
     "label of F3, label 1, training, page 19", "applicator", "F3"),
    ("general_use", given(F3, applicator=ANA), "certificate_missing", "note",
     "Ana has no certificate that is valid in Oakhaven on Tue, Aug 4, 2026.", "project rule", "applicator", ""),
    ("general_use_by_the_farm", given(F3, applicator=ANA, jurisdiction="", policy=REFUSING), "certificate_missing",
     "refuse", "Ana has no certificate that is valid in ? on Tue, Aug 4, 2026.",
     "project rule; the farm's own number", "applicator", ""),
    ("handler", given(F3, applicator=who(trained=None)), "handler_training", "refuse",
     "Ana has no handler training within 12 months before Tue, Aug 4, 2026 (last: –).",
     "40 CFR 170.501", "applicator", ""),
    ("handler_of_long_ago", given(F3, applicator=who(trained=date(2025, 8, 3))), "handler_training", "refuse",
     "Ana has no handler training within 12 months before Tue, Aug 4, 2026 (last: Sun, Aug 3, 2025).",
     "40 CFR 170.501", "applicator", ""),
    ("respirator", given(*MASKS, applicator=ANA), "respirator", "refuse",
     "F1 asks for a respirator, and Ana has no clearance and fit test on record for Tue, Aug 4, 2026.",
     "40 CFR 170.507(b)(10)", "applicator", "F1"),
]  # fmt: skip


@pytest.mark.parametrize(("story", "code", "expected"), [(r[1], r[2], r[3:]) for r in WHOLE], ids=[r[0] for r in WHOLE])
def test_the_whole_finding(story, code, expected):
    assert whole(story, code) == [expected]


def spoken(story):
    return [f.code for f in check(story)]


def test_a_certificate_of_nowhere_is_valid_nowhere():
    """Two empty places are not the same place."""
    nowhere = who(certificates=(replace(CARD, jurisdiction=""),))

    assert "rup_cert" in spoken(given(I1, applicator=nowhere, jurisdiction=""))


def test_a_young_person_under_supervision_with_a_label_that_does_not_say_is_asked_both():
    young = {**FAMILY, "applicator": who(born_on=date(2010, 8, 4))}

    assert {"rup_supervision", "young_family"} <= set(spoken(given(NOT_SAID, **young)))


def test_a_sprayer_without_a_category_and_a_method_nobody_knows():
    """Only a known method asks for a category (40 CFR 171.105)."""
    story = given(I1, applicator=who(certificates=(CARD,)), method=None)

    assert "rup_cert" not in spoken(story)
    assert "rup_cert" in spoken(changed(story, method=Method.AIR))


def test_a_certificate_holder_lacks_none():
    assert "certificate_missing" not in spoken(given(F3, applicator=who(certificates=(CARD,))))


def test_training_of_the_day_itself_counts_and_of_the_next_day_does_not():
    """On or before the day of the spray (project rule: a day is the smallest that is on record)."""
    days = [date(2026, 8, 4), date(2026, 8, 5)]

    assert ["handler_training" in spoken(given(F3, applicator=who(trained=day))) for day in days] == [False, True]
