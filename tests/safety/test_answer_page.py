"""What the staff's answer page leads on to: the rest of a block, and early entry for those who decide on it."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
import time_machine

from tests.factories.land import BlockFactory, square
from tests.factories.safety import ClosureFactory

pytestmark = pytest.mark.django_db
NOW = datetime(2026, 6, 1, 14, 30, tzinfo=UTC)
REST, WHOLE = "Ask about the rest of this block", "Ask about the whole block"
NAMED = (
    '<strong><span lang="en-US">the rest of the block</span> / <span lang="es-US">el resto del bloque</span></strong>'
)


@pytest.fixture
def block(cast):
    return BlockFactory(farm=cast.farm, name="North Seven", code="N7")


@pytest.fixture
def page(cast, browser_client, block):
    def read(query="", who=cast.staff):
        with time_machine.travel(NOW, tick=False):
            return browser_client(who).get(f"/f/alder-bend/blocks/{block.pk}/may-i-enter/{query}").content.decode()

    return read


def test_a_block_of_which_a_part_was_treated_leads_to_its_rest_and_back(block, page):
    part = square(-86.25, 40.25, 0.0005)
    ClosureFactory(block=block, starts_at=NOW - timedelta(hours=1), part=part, numbers={"acres": "2 acres"})
    whole = page("?activity=irrigation")
    assert "KEEP OUT" in whole and NAMED not in whole and WHOLE not in whole
    assert (
        f'<a class="button" href="?activity=irrigation&amp;part=rest"><span><span lang="en-US">{REST}</span>' in whole
    )
    rest = page("?activity=irrigation&part=rest")
    assert "Entry allowed" in rest and NAMED in rest and REST not in rest
    assert "A part of this block is closed, 2 acres, as mapped. Stay well outside its edge." in rest
    assert f'<a class="button" href="?activity=irrigation"><span><span lang="en-US">{WHOLE}</span>' in rest
    assert 'href="?activity=hand_labor&amp;part=rest"' in rest


def test_a_block_closed_as_a_whole_offers_no_rest(block, page):
    ClosureFactory(block=block, starts_at=NOW - timedelta(hours=1))
    assert REST not in page() and NAMED not in page()


@pytest.mark.parametrize(("role", "offered"), [("manager", True), ("applicator", True), ("staff", False)])
def test_early_entry_is_offered_only_for_closed_ground_and_to_who_decides(cast, block, page, role, offered):
    link = f'href="/f/alder-bend/blocks/{block.pk}/early-entry/"'
    assert link not in page(who=cast.by_role(role))
    ClosureFactory(block=block, starts_at=NOW - timedelta(hours=1))
    assert (link in page(who=cast.by_role(role))) is offered
