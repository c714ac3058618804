"""The Spanish catalogue is whole, keeps every slot, and promises nothing."""

from __future__ import annotations

import re

import pytest

from tests.catalogue import BOOK

SLOT = re.compile(r"\{[a-z_]*\}|%\([a-z_]+\)s|%s")


def pairs() -> list[tuple[str, str]]:
    found = []
    for entry in BOOK:
        if entry.msgid_plural:
            found.append((entry.msgid_plural, entry.msgstr_plural[1]))
        else:
            found.append((entry.msgid, entry.msgstr))
    return found


def test_every_sentence_is_translated_and_none_is_a_guess():
    assert [e.msgid for e in BOOK if not e.translated()] == []
    assert [e.msgid for e in BOOK if "fuzzy" in e.flags] == []
    assert len(BOOK) > 1500


def test_every_slot_is_kept():
    wrong = [en for en, es in pairs() if sorted(set(SLOT.findall(en))) != sorted(set(SLOT.findall(es)))]
    assert wrong == []


@pytest.mark.parametrize("word", ["hasta", "seguro", "solicitud", "solicitar"])
def test_words_that_mislead_are_not_used(word):
    assert [es for _, es in pairs() if re.search(rf"\b{word}\b", es, re.I)] == []
