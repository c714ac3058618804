"""The mix sheet of a job: what it says, ticks kept once, and the paper that says the same."""

from __future__ import annotations

import io
from datetime import timedelta
from decimal import Decimal as D
from typing import Any

import pypdf
import pytest
from django.utils import translation

from apps.audit.models import AuditEvent
from apps.spraying import queries
from apps.spraying.mix import services
from apps.spraying.mix.models import MixTick
from apps.spraying.mix.pdf import mix_sheet_pdf
from apps.spraying.mix.queries import mix_sheet
from farmops.errors import BadInput, NotYourRole, Refused
from tests.factories.products import label_document
from tests.factories.spraying import ENDED, NOW, STARTED, Bench, line, shield_document

PRESSED = STARTED - timedelta(minutes=20)
WETTABLE = shield_document(
    formulation_code="WG",
    ingredients=[{"name": "mancozeb", "amount": "0.75", "basis": "fraction"}],
    groups=[{"scheme": "frac", "code": "M03"}],
    rei_hours="24",
    ppe={"mixing": ["Chemical-resistant apron"], "applying": ["Chemical-resistant gloves"]},
    uses=[
        {"site_code": "winter_squash", "rate_min": "1", "rate_max": "3", "rate_unit": "lb", "rate_basis": "per_acre",
         "phi_days": 5, "min_interval_days": 7},
    ],
)  # fmt: skip


@pytest.fixture
def job(bench: Bench) -> Any:
    """8 acres at 30 gal/ac from a tank of 100: loads of 100, 100 and 40 gallons; two products."""
    birch = bench.product_of("Demo Granule", WETTABLE, amount="40", unit="lb")
    made = bench.assigned(
        blocks=[{"block_id": bench.blocks[0].pk, "planned_acres": "8"}],
        products=[line(bench.product), line(birch, "2", "lb")],
    )
    return queries.job(bench.farm, made.pk)


def tick(bench: Bench, job: Any, load: int, step: str, **more: Any) -> MixTick:
    values = {"member": bench.applicator, "happened_at": PRESSED, "now": STARTED, "done": True, **more}
    return services.tick(job_id=job.pk, load=load, step=step, **values)


def steps(made: Any) -> list[str]:
    return [row.line.name for row in made.sheet.order]


# ---- what it says --------------------------------------------------------------------------


def test_three_loads_and_the_dry_product_first(job: Any) -> None:
    made = mix_sheet(job)
    assert [load.mark_gal for load in made.sheet.loads] == [100, 100, 40]
    assert steps(made) == ["Demo Granule", "Demo Shield"]
    # By hand: 100/30 ac x 2 lb = 6.666 lb, x 5 fl oz = 16.666 fl oz; 40/30 ac: 2.666 lb, 6.666 fl oz.
    amounts = [[str(p.measure.exact) for p in load.portions] for load in made.sheet.loads]
    assert amounts == [["6.666 lb", "16.666 fl oz"]] * 2 + [["2.666 lb", "6.666 fl oz"]]
    assert [str(t.measured) for t in made.sheet.totals] == ["15.998 lb", "39.998 fl oz"]


def test_the_longest_interval_and_the_gear_of_each_label(job: Any) -> None:
    made = mix_sheet(job)
    assert made.entry.hours == 24
    assert made.entry.telling.code == "tell_or_sign"
    assert [v.facts.ppe.mixing for v in made.versions] == [("Chemical-resistant apron",), ()]


def test_an_interval_nobody_knows_is_unknown_and_asks_for_signs(bench: Bench) -> None:
    unknown = bench.product_of("Demo Riddle", {**shield_document(), "rei_hours": None})
    made = mix_sheet(queries.job(bench.farm, bench.planned(products=[line(unknown)]).pk))
    assert (made.entry.hours, made.entry.telling.code) == (None, "sign_unknown")


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"rei_hours": "49"}, "sign"),
        ({"rei_hours": "48"}, "tell_or_sign"),
        ({"double_notification": True}, "tell_and_sign"),
    ],
    ids=["more than 48 h", "48 h", "the label asks for both"],
)
def test_when_signs_must_stand(bench: Bench, changes: dict[str, Any], code: str) -> None:
    # 40 CFR 170.409(a): posted when the interval is longer than 48 hours; both where the label says both.
    product = bench.product_of("Demo Long", shield_document(**changes))
    assert mix_sheet(queries.job(bench.farm, bench.planned(products=[line(product)]).pk)).entry.telling.code == code


@pytest.mark.parametrize(
    ("ph", "code"), [(None, "ph_unknown"), ("8.1", "ph_high"), ("8.0", None), ("7", None)], ids=str
)
def test_the_water(bench: Bench, ph: str | None, code: str | None) -> None:
    # Montana MT201305AG: trouble above pH 8.0.
    made = mix_sheet(queries.job(bench.farm, bench.planned(water_ph=ph).pk))
    assert [f.code for f in made.cautions if f.code.startswith("ph")] == ([code] if code else [])
    assert "hardness" in {f.code for f in made.cautions}


def test_pump_and_time_from_the_calibration(job: Any) -> None:
    # By hand: 30 x 5 x 6.6 / 495 = 2 gal/min; 5 % of 110 gal = 5.5; (2 + 5.5) x 1.2 = 9; 100 gal / 2 = 50 min.
    found = mix_sheet(job).pump
    assert (found.boom_gpm, found.agitation_gpm, found.needed_gpm) == (2, D("5.5"), 9)
    assert round(found.minutes_per_full_load, 20) == 50


def test_a_constant_number_of_queries(job: Any, django_assert_num_queries: Any) -> None:
    with django_assert_num_queries(2):
        mix_sheet(job)


# ---- ticks ---------------------------------------------------------------------------------


def test_a_tick_is_kept_with_who_and_when(bench: Bench, job: Any) -> None:
    row = tick(bench, job, 1, "water_first", sheet=mix_sheet(job).sheet.digest)
    found = mix_sheet(job)
    assert found.ticks[(1, "water_first")] == row
    assert (row.by_id, row.happened_at, row.at, found.done, found.changed) == (
        bench.applicator.person_id, PRESSED, STARTED, 1, False,
    )  # fmt: skip
    assert AuditEvent.objects.filter(farm=bench.farm, verb="ticked", subject_id=str(row.pk)).count() == 1


def test_the_same_press_twice_is_one_tick(bench: Bench, job: Any) -> None:
    assert tick(bench, job, 1, "rinse") == tick(bench, job, 1, "rinse", now=ENDED)
    assert MixTick.objects.for_farm(bench.farm).count() == 1


def test_the_newest_press_counts_however_late_it_arrives(bench: Bench, job: Any) -> None:
    tick(bench, job, 1, "rinse", done=False, happened_at=PRESSED + timedelta(minutes=5))
    tick(bench, job, 1, "rinse", done=True, happened_at=PRESSED, now=ENDED)
    assert mix_sheet(job).ticks[(1, "rinse")].done is False


def test_a_phone_whose_clock_runs_ahead_is_not_believed(bench: Bench, job: Any) -> None:
    assert tick(bench, job, 1, "rinse", happened_at=STARTED + timedelta(hours=3)).happened_at == STARTED


def test_a_tick_on_another_sheet_is_kept_and_said(bench: Bench, job: Any) -> None:
    tick(bench, job, 1, "rinse", sheet="an-older-sheet")
    assert mix_sheet(job).changed is True


@pytest.mark.parametrize(("load", "step"), [(4, "rinse"), (1, "product-999"), (0, "water_first")], ids=str)
def test_a_step_the_sheet_does_not_have(bench: Bench, job: Any, load: int, step: str) -> None:
    with pytest.raises(BadInput) as caught:
        tick(bench, job, load, step)
    assert set(caught.value.errors) == {"step"}
    assert MixTick.objects.for_farm(bench.farm).count() == 0


def test_who_may_not_tick(bench: Bench, cast: Any, job: Any) -> None:
    for member in (cast.manager, cast.staff, cast.neighbour):
        with pytest.raises(NotYourRole):
            tick(bench, job, 1, "rinse", member=member)
    with pytest.raises(Refused) as caught:
        tick(bench, job, 1, "rinse", person_id=cast.manager.person_id)
    assert caught.value.findings[0].code == "other_person"


def test_a_draft_is_not_to_be_mixed(bench: Bench) -> None:
    with pytest.raises(Refused) as caught:
        tick(bench, bench.planned(), 1, "rinse")
    assert caught.value.findings[0].code == "not_to_be_mixed"


# ---- doors ---------------------------------------------------------------------------------


def test_the_interface_says_what_the_sheet_says(bench: Bench, api: Any, job: Any) -> None:
    body = api(bench.applicator).get(f"/api/v1/farms/alder-bend/jobs/{job.pk}/mix-sheet/").json()
    assert [(x["mark_gal"], [p["measured"] for p in x["portions"]]) for x in body["loads"]][2] == (
        "40", ["2 lb + 10.6 oz (weight)", "197 mL (6.6 fl oz)"],
    )  # fmt: skip
    assert [(o["product"], o["stage"], o["because"]) for o in body["order"]] == [
        ("Demo Granule", "powder", "code"), ("Demo Shield", None, "unknown"),
    ]  # fmt: skip
    assert (body["rei_hours"], body["telling"]["code"], body["ticks"]) == ("24", "tell_or_sign", [])


def test_a_press_sent_twice_with_its_key_is_one(bench: Bench, api: Any, job: Any) -> None:
    client, sent = api(bench.applicator), {"load": 2, "step": "water_last", "happened_at": PRESSED.isoformat()}
    path = f"/api/v1/farms/alder-bend/jobs/{job.pk}/mix-sheet/ticks/"
    first, again = (
        client.post(path, sent, format="json", HTTP_IDEMPOTENCY_KEY="press-one-0000000001") for _ in range(2)
    )
    assert (first.status_code, again.status_code, first.json() == again.json()) == (201, 201, True)
    assert first.json()["said"] == "Saved: Mon, Jul 6, 7:50 AM CDT, Luis Mora"
    assert MixTick.objects.for_farm(bench.farm).count() == 1


def test_the_page_works_without_scripts(bench: Bench, browser_client: Any, job: Any) -> None:
    client, path = browser_client(bench.applicator), f"/f/alder-bend/jobs/{job.pk}/mix/"
    page = client.get(path)
    assert page.headers["Keep-Offline"] == "yes"
    assert "6 lb + 10.6 oz (weight)" in page.content.decode().replace("\u00a0", " ")
    answer = client.post(path, {"load": "1", "step": "water_first", "done": "1", "sheet": "x"}, follow=True)
    said = answer.content.decode()
    assert said.count('aria-pressed="true"') == 1
    assert ">Saved: " in said
    client.post(path, {"load": "1", "step": "water_first", "done": "0", "sheet": "x"})
    assert client.get(path).content.decode().count('aria-pressed="true"') == 0


def test_a_manager_reads_it_and_has_no_buttons(cast: Any, browser_client: Any, job: Any) -> None:
    page = browser_client(cast.manager).get(f"/f/alder-bend/jobs/{job.pk}/mix/").content.decode()
    assert "To read only" in page
    assert 'class="tick"' not in page


# ---- paper ---------------------------------------------------------------------------------


def read(made: bytes) -> Any:
    return pypdf.PdfReader(io.BytesIO(made))


def test_the_paper_is_one_page_and_its_sums_are_the_sheets(bench: Bench, browser_client: Any, job: Any) -> None:
    answer = browser_client(bench.applicator).get(f"/f/alder-bend/jobs/{job.pk}/mix/paper/")
    assert answer.headers["Content-Type"] == "application/pdf"
    paper = read(answer.content)
    assert len(paper.pages) == 1
    assert paper.metadata.title == f"Mix sheet, job {job.number}"
    said = " ".join(paper.pages[0].extract_text().split())
    for load in mix_sheet(job).sheet.loads:
        for portion in load.portions:
            assert str(portion.measure) in said
            assert str(portion.measure.exact) in said
    for total in mix_sheet(job).sheet.totals:
        assert str(total.measured) in said
    assert said.index("Demo Granule") < said.index("Demo Shield")
    assert "Loads 1 to 2, each" in said


def test_the_paper_is_tagged_and_in_the_readers_language(job: Any) -> None:
    with translation.override("es"):
        paper = read(mix_sheet_pdf(mix_sheet(job), now=NOW))
    root = paper.trailer["/Root"]
    assert (root["/Lang"], root["/MarkInfo"]["/Marked"].value) == ("es", True)


@pytest.mark.parametrize("accept", ["application/pdf", "*/*"])
def test_the_interface_hands_out_the_same_paper(bench: Bench, api: Any, job: Any, accept: str) -> None:
    path = f"/api/v1/farms/alder-bend/jobs/{job.pk}/mix-sheet/paper/"
    answer = api(bench.applicator).get(path, HTTP_ACCEPT=accept)
    assert answer.headers["Content-Type"] == "application/pdf"
    assert read(answer.content).metadata.title == f"Mix sheet, job {job.number}"


def test_a_pump_that_is_too_weak_is_said_on_the_sheet(bench: Bench, job: Any) -> None:
    # The job takes 9 gal/min: boom 2, agitation 5.5, a fifth more.
    for gpm, codes in (("8.9", ["pump_short"]), ("9", [])):
        type(bench.sprayer).objects.for_farm(bench.farm).filter(pk=bench.sprayer.pk).update(pump_gpm=gpm)
        made = mix_sheet(queries.job(bench.farm, job.pk))
        assert [f.code for f in made.cautions if f.code == "pump_short"] == codes


def test_three_products_with_full_gear_still_fit_one_page(bench: Bench) -> None:
    gear = {name: ["Long-sleeved shirt and long pants", "Shoes plus socks", "Chemical-resistant gloves", "Eyewear"]
            for name in ("mixing", "applying")}  # fmt: skip
    made = [
        bench.product_of(f"Demo {n}", label_document(formulation_code="SC", ppe=gear)) for n in ("Oak", "Elm", "Fir")
    ]
    job = bench.planned(products=[line(p, "5") for p in made], blocks=[{"block_id": b.pk} for b in bench.blocks])
    assert len(read(mix_sheet_pdf(mix_sheet(queries.job(bench.farm, job.pk)), now=NOW)).pages) == 1
