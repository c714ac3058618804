"""DEVELOPERS.md shows the steps of a job as the code has them."""

from __future__ import annotations

import pytest
from django.conf import settings
from django.core.management import CommandError, call_command

from apps.spraying.management.commands import state_diagram


def test_the_diagram_in_developers_md_is_the_codes_own():
    text = (settings.BASE_DIR / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert text.count(state_diagram.section()) == 1
    call_command("state_diagram", "--check")


def test_an_outdated_diagram_is_found_and_renewed(tmp_path, settings):
    settings.BASE_DIR = tmp_path
    page = tmp_path / "DEVELOPERS.md"
    page.write_text("# Before\n")
    with pytest.raises(CommandError, match="run manage.py state_diagram"):
        call_command("state_diagram", "--check")
    call_command("state_diagram")
    assert page.read_text().startswith("# Before\n\n## Steps of a spray job\n")
    page.write_text(page.read_text().replace("draft --> assigned", "draft --> signed") + "\n# After\n")
    call_command("state_diagram")
    call_command("state_diagram", "--check")
    assert page.read_text().endswith("\n# After\n")
    assert page.read_text().count("```mermaid") == 1
