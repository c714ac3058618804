"""The board's words: every sentence has its Spanish, and none promises more than the board knows."""

from __future__ import annotations

import ast
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from string import Formatter

import pytest

from apps.safety import rules, wording
from apps.safety.rules import Activity, Answer, Because, Word
from apps.safety.spanish import SENTENCES

APP = Path(rules.__file__).parents[1]
SPEAKERS = ("rules/verdicts.py", "rules/answers.py")
ZONE = "America/Chicago"
NOON = datetime(2026, 6, 1, 17, tzinfo=UTC)


def _marked(path: str) -> set[str]:
    tree = ast.parse((APP / path).read_text())
    calls = [n for n in ast.walk(tree) if isinstance(n, ast.Call) and getattr(n.func, "id", "") == "gettext_noop"]
    return {ast.literal_eval(call.args[0]) for call in calls}


def _doubts() -> set[str]:
    """The sentences of the reading side that end up in an answer."""
    return {s for s in _marked("queries.py") if s.startswith(("This block", "The farm's", "The board could"))}


def test_every_sentence_of_an_answer_has_its_spanish_and_there_is_no_other():
    said = _doubts().union(*(_marked(path) for path in SPEAKERS))
    assert len(said) > 20
    assert set(SENTENCES) == said


def _slots(template: str) -> set[str]:
    return {slot for _, slot, _, _ in Formatter().parse(template) if slot}


@pytest.mark.parametrize("english", list(SENTENCES))
def test_both_languages_fill_the_same_slots(english):
    assert _slots(SENTENCES[english]) == _slots(english)


def _fixed() -> list[wording.Both]:
    named = [both for both in vars(wording).values() if isinstance(both, wording.Both)]
    return [*named, *wording.ACTIVITY_NAMES.values(), *wording.MISSING.values()]


FORBIDDEN = r"\b(safe|ok|clear|danger|warning|caution|seguro|segura|libre|hasta|peligro|aviso|precaución|solicitud)\b"


@pytest.mark.parametrize("text", [*SENTENCES, *SENTENCES.values(), *(t for b in _fixed() for t in (b.en, b.es))])
def test_no_sentence_uses_a_word_that_promises_or_is_a_label_signal_word(text):
    assert re.findall(FORBIDDEN, text, re.I) == []


def test_every_kind_of_work_has_a_name_in_both_languages():
    assert list(wording.ACTIVITY_NAMES) == list(Activity)


def answer(word: Word, *codes: str, opens_at: datetime | None = None) -> Answer:
    said = tuple(Because(code=code, answer=word, template="Ask again.") for code in codes)
    return Answer(answer=word, at=NOON, as_of=NOON, good_until=NOON, opens_at=opens_at, because=said)


@pytest.mark.parametrize("word", [Word.NO, Word.UNKNOWN])
@pytest.mark.parametrize("codes", [(), ("something_new",)])
def test_a_reason_without_words_of_its_own_still_keeps_out(word, codes):
    shown = answer(word, *codes)
    assert wording.headline(shown) == wording.KEEP_OUT
    assert wording.second_line(shown, ZONE) == (wording.NOT_CONFIRMED if word is Word.UNKNOWN else wording.NO_END)


def test_an_opening_is_named_with_day_zone_and_time_left_rounded_up():
    """26 h 59 min must read as 1 day 3 h: never shorter than the truth."""
    shown = answer(Word.NO, "entry_interval", opens_at=NOON + timedelta(hours=26, minutes=59))
    assert wording.second_line(shown, ZONE) == wording.Both(
        "until Tue, Jun 2, 2:59 PM CDT", "No antes del mar 2 de jun, 2:59 p.m. CDT"
    )
    assert wording.remaining(shown) == wording.Both("1 day 3 h from now", "faltan 1 día 3 h")


def test_only_a_yes_is_allowed():
    assert wording.headline(answer(Word.YES)) == wording.ENTRY_ALLOWED
    assert wording.headline(answer(Word.YES), harvest=True) == wording.PICKING_ALLOWED
    assert wording.headline(answer(Word.UNKNOWN), harvest=True) == wording.NO_PICKING


def test_a_pesticide_without_a_name_is_called_one_in_both_languages():
    because = Because(code="phi_missing", answer=Word.UNKNOWN, template="Sprayed with {product}. Its wait before "
                      "harvest is not known.", numbers={"product": "a pesticide"})  # fmt: skip
    assert wording.both(because, ZONE) == wording.Both(
        "Sprayed with a pesticide. Its wait before harvest is not known.",
        "Se aplicó un pesticida. No se conoce su intervalo antes de la cosecha.",
    )
