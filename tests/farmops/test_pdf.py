"""Printed sheets: tagged, titled, in the reader's language, and nothing typed becomes markup."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pypdf
import pytest
import typst

from farmops.pdf import compile_pdf

NOW = datetime(2026, 6, 1, 12, 0, tzinfo=UTC)
SHEET = """
#set page(paper: "us-letter")
= #data.heading
#table(columns: 2, table.header[Name][Amount], ..data.rows.flatten().map(cell => [#cell]))
"""
ROWS = {"heading": "Load 1", "rows": [["Water", Decimal("150.25")], ["Ñandú ½ × 2 ≤ 3", "12 fl oz"]]}


def read(made: bytes) -> Any:
    return pypdf.PdfReader(io.BytesIO(made))


def kinds(node: Any) -> list[str]:
    """Every structure element below ``node``, depth first."""
    node = node.get_object() if hasattr(node, "get_object") else node
    if isinstance(node, list):
        return [kind for child in node for kind in kinds(child)]
    if not isinstance(node, dict):
        return []
    own = [str(node["/S"])] if "/S" in node else []
    return own + (kinds(node["/K"]) if "/K" in node else [])


def test_a_sheet_is_tagged_titled_archival_and_in_its_language() -> None:
    made = read(compile_pdf(SHEET, ROWS, "Mix sheet", "es", made_at=NOW))
    root = made.trailer["/Root"]
    assert (made.metadata.title, root["/Lang"]) == ("Mix sheet", "es")
    assert root["/MarkInfo"]["/Marked"].value is True
    assert root["/ViewerPreferences"]["/DisplayDocTitle"].value is True
    tree = kinds(root["/StructTreeRoot"]["/K"])
    assert {"/H1", "/Table", "/TR", "/TH", "/TD"} <= set(tree)
    assert (tree.count("/H1"), tree.count("/TH"), tree.count("/TD")) == (1, 2, 4)
    packet = root["/Metadata"].get_data().decode()
    assert "<pdfaid:part>2</pdfaid:part>" in packet
    assert "<pdfaid:conformance>A</pdfaid:conformance>" in packet
    assert "<pdfuaid:part>1</pdfuaid:part>" in packet


def test_the_words_on_the_sheet_are_the_data() -> None:
    said = read(compile_pdf(SHEET, ROWS, "Mix sheet", "en", made_at=NOW)).pages[0].extract_text()
    assert said.split("\n") == ["Load 1", "Name Amount", "Water 150.25", "Ñandú ½ × 2 ≤ 3 12 fl oz"]


def test_the_same_data_gives_the_same_bytes() -> None:
    assert compile_pdf(SHEET, ROWS, "A", "en", made_at=NOW) == compile_pdf(SHEET, ROWS, "A", "en", made_at=NOW)


def test_typed_text_never_becomes_markup() -> None:
    typed = '#panic("no") *bold* $x$ [ \\ "'
    said = read(compile_pdf("#data.typed", {"typed": typed}, "A", "en", made_at=NOW)).pages[0].extract_text()
    assert said.replace("“", '"').replace("”", '"') == typed


@pytest.mark.parametrize("typed", ["Tractor 🚜 農", "bell \x07"], ids=["no-glyph", "control"])
def test_what_no_font_can_draw_is_a_question_mark(typed: str) -> None:
    said = read(compile_pdf("#data.typed", {"typed": typed}, typed, "en", made_at=NOW))
    expected = "".join(c if c.isascii() and c.isprintable() else "?" for c in typed)
    assert (said.pages[0].extract_text(), said.metadata.title) == (expected, expected)


def test_a_template_may_be_a_file(tmp_path: Path) -> None:
    template = tmp_path / "sheet.typ"
    template.write_text("#let n = 3\n= Sheet #n of #data.of\n")
    assert read(compile_pdf(template, {"of": 4}, "A", "en", made_at=NOW)).pages[0].extract_text() == "Sheet 3 of 4"


def test_a_wrong_template_is_a_fault() -> None:
    with pytest.raises(typst.TypstError, match="unknown variable"):
        compile_pdf("#nowhere", {}, "A", "en", made_at=NOW)
