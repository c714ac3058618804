"""Pages of season programs: set up, passes, the whole season's check, put away; without scripts."""

from __future__ import annotations

import pytest

from apps.crops import services as crops
from apps.spraying.models import Program
from apps.spraying.programs import queries
from tests.factories.spraying import NOW, line
from tests.spraying.programs.conftest import MONDAY, cover_document

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def monday(monkeypatch):
    monkeypatch.setattr("farmops.clock.now", lambda: NOW)


def words(answer) -> str:
    return " ".join(answer.content.decode().split())


def filled(form) -> dict:
    """What a browser would send back of a form that nobody touched."""
    found = {}
    for name, field in form.fields.items():
        value = form[name].value()
        if value not in (None, "", False, []):
            found[name] = "on" if value is True and field.widget.input_type == "checkbox" else value
    return found


def test_from_an_empty_list_to_a_program_with_two_passes(bench, browser_client):
    client, where = browser_client(bench.manager), f"/f/{bench.farm.slug}/programs/"
    assert "No program is set up." in words(client.get(where))
    typed = {
        "name": "Squash", "crop_id": bench.crop.pk, "blocks": [b.pk for b in bench.blocks], "targets": "powdery mildew",
        "start_kind": "date", "start_on": "2026-07-06", "from_days": "7", "to_days": "10", "last_on": "2026-09-01",
        "rain_inches": "1.5", "stop_days": "",
    }  # fmt: skip
    sent = client.post(f"{where}new/", typed)
    row = queries.program(bench.farm, Program.rows.get().pk)
    own = f"{where}{row.pk}/"
    assert (sent.status_code, sent["Location"], row.stop_days, str(row.rain_inches)) == (302, own, None, "1.50")
    assert "No pass yet." in words(client.get(own))

    for amount in ("5", "6"):
        form = client.get(f"{own}passes/new/").context["form"]
        mix = {"product_1": bench.product.pk, "amount_1": amount, "unit_1": "floz", "basis_1": "per_acre"}
        assert client.post(f"{own}passes/new/", {**filled(form), **mix}).status_code == 302
    shown = words(client.get(own))
    assert "Demo Shield 5 fl oz per acre" in shown
    assert "<svg" in shown
    assert "Mon, Jul 6, 2026" in words(client.get(where))


def test_a_fault_in_a_mix_comes_back_at_its_field(season, browser_client):
    play = season()
    client = browser_client(play.bench.manager)
    page = f"/f/{play.bench.farm.slug}/programs/{play.program.pk}/passes/2/"
    typed = filled(client.get(page).context["form"])
    assert (typed["amount_1"], typed["unit_1"]) == ("5", "floz")
    answer = client.post(page, {**typed, "amount_1": "0"})
    assert (answer.status_code, answer.context["form"].errors) == (400, {"amount_1": ["Must be more than 0."]})
    assert client.get(page.replace("/2/", "/9/")).status_code == 404


def test_a_pass_is_changed_and_taken_out(season, browser_client):
    play = season()
    client = browser_client(play.bench.manager)
    page = f"/f/{play.bench.farm.slug}/programs/{play.program.pk}/passes/2/"
    client.post(page, {**filled(client.get(page).context["form"]), "amount_1": "4"})
    client.post(page.replace("/2/", "/1/"), {**filled(client.get(page).context["form"]), "remove": "on"})
    row = queries.program(play.bench.farm, play.program.pk)
    assert [[str(p.rate_amount) for p in m.products.all()] for m in row.passes.all()] == [["4.0000"], ["5.0000"]]


def test_the_head_is_changed(season, browser_client):
    play = season()
    client, page = browser_client(play.bench.manager), f"/f/{play.bench.farm.slug}/programs/{play.program.pk}/edit/"
    typed = filled(client.get(page).context["form"])
    assert typed["targets"] == "powdery mildew"
    assert client.post(page, {**typed, "to_days": "14"}).status_code == 302
    row = queries.program(play.bench.farm, play.program.pk)
    assert (row.to_days, len(row.passes.all()), len(row.program_blocks.all())) == (14, 3, 2)


def test_the_whole_season_is_said_worst_first_and_by_pass(season, browser_client):
    document = cover_document()
    document["uses"][0] |= {"max_uses": 2, "season_basis": "calendar"}
    play = season(document=document)
    shown = words(
        browser_client(play.bench.applicator).get(f"/f/{play.bench.farm.slug}/programs/{play.program.pk}/check/")
    )
    assert "2 things stand against it as it is planned." in shown
    assert "Demo Cover: this would be use 3 of at most 2 on N1 North 1" in shown
    assert "Wind, bees, people and the hour are checked with each job. The label in hand is the law." in shown


def test_an_applicator_reads_and_changes_nothing(season, browser_client):
    play = season()
    client, own = browser_client(play.bench.applicator), f"/f/{play.bench.farm.slug}/programs/{play.program.pk}/"
    shown = words(client.get(own))
    assert "Plan the job" not in shown
    assert (client.get(f"{own}decide/").status_code, client.post(f"{own}put-away/").status_code) == (403, 403)


def test_a_threshold_is_shown_until_it_is_answered(season, browser_client):
    play = season()
    client, own = browser_client(play.bench.manager), f"/f/{play.bench.farm.slug}/programs/{play.program.pk}/"
    crops.record_count(
        member=play.bench.applicator, block_id=play.bench.blocks[0].pk, threshold_code="powdery_mildew_leaves",
        looked_on=MONDAY, places=[{"examined": 50, "found": 1}], now=NOW,
    )  # fmt: skip
    assert "The next pass of the program is proposed." in words(client.get(own))
    play.bench.assigned(products=[line(play.cover)], targets=["powdery_mildew"])
    assert "The next pass of the program is proposed." not in words(client.get(own))


def test_blocks_that_wait_for_the_same_pass_are_planned_along(season, browser_client):
    play = season()
    client = browser_client(play.bench.manager)
    where = f"/f/{play.bench.farm.slug}/programs/{play.program.pk}/blocks/"
    ids = [b.pk for b in play.bench.blocks]
    assert client.get(f"{where}{ids[0]}/plan/").context["form"]["blocks"].value() == ids
    play.sprayed(0)
    assert client.get(f"{where}{ids[1]}/plan/").context["form"]["blocks"].value() == ids[1:]
    assert client.get(f"{where}987654/plan/").status_code == 404


def test_put_away_it_stays_to_be_read(season, browser_client):
    play = season()
    client, where = browser_client(play.bench.manager), f"/f/{play.bench.farm.slug}/programs/"
    shown = words(client.post(f"{where}{play.program.pk}/put-away/", follow=True))
    assert "is put away. It is followed no longer." in shown
    assert "It is followed no longer." in words(client.get(f"{where}{play.program.pk}/"))
    assert client.post(f"{where}{play.program.pk}/decide/", {"blocks": [play.bench.blocks[0].pk]}).status_code == 400
