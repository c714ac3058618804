"""Pages of the label library: the sheet without scripts, the read-back, the check."""

from __future__ import annotations

import html
import re
from html.parser import HTMLParser

import pytest
from django.urls import reverse

from apps.products.models import LabelVersion, Product
from apps.products.rules import read_label
from tests.factories.products import (
    DEMO,
    DraftFactory,
    LabelFactory,
    ProductFactory,
    canonical,
    label_document,
)

pytestmark = pytest.mark.django_db


def at(name: str, *args) -> str:
    return reverse(f"products:{name}", args=["alder-bend", *args])


def text_of(answer) -> str:
    """The page's words, one space between them."""
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", answer.content.decode())))


class Boxes(HTMLParser):
    """What a browser would send for the main form if its button were pressed: {name: [values]}."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.sent: dict[str, list[str]] = {}
        self._select = self._area = ""
        self._text = ""
        self.feed(page[page.index('<form method="post" novalidate>') :].split("</form>")[0])

    def _put(self, name: str, value: str) -> None:
        self.sent.setdefault(name, []).append(value)

    def handle_starttag(self, tag, attrs):
        a = dict(attrs)
        ticked = a.get("type") in ("checkbox", "radio")
        if tag == "input" and (not ticked or "checked" in a):
            self._put(a["name"], a.get("value", "on" if ticked else ""))
        elif tag == "select":
            self._select = a["name"]
        elif tag == "option" and "selected" in a:
            self._put(self._select, a["value"])
        elif tag == "textarea":
            self._area, self._text = a["name"], ""

    def handle_data(self, data):
        self._text += data

    def handle_endtag(self, tag):
        if tag == "textarea":
            self._put(self._area, self._text.lstrip("\n").removeprefix("\r\n"))


@pytest.fixture
def manager(cast, browser_client):
    return browser_client(cast.manager)


EVERYTHING = label_document(
    kind="insecticide",
    restricted_use=True,
    formulation_code="SC",
    signal_word="WARNING",
    density_lb_per_gal="9.125",
    contains_oil=False,
    mixing_stage="suspension",
    ingredients=[
        {"name": "chlorantraniliprole", "amount": "0.835", "basis": "lb_per_gal"},
        {"name": "lambda-cyhalothrin", "amount": "0.0417", "basis": "fraction"},
    ],
    groups=[{"scheme": "irac", "code": "28"}, {"scheme": "irac", "code": "3A"}],
    rei_hours="24.5",
    activity_rei=[{"activity": "hand_labor", "hours": "73"}],
    condition_release="Until sprays have dried on the leaf",
    double_notification=True,
    ppe={
        "mixing": ["Apron, chemical-resistant", "Goggles"],
        "applying": ["Coveralls over shorts"],
        "early_entry": ["Boots of barrier laminate"],
    },
    bee_class="residual",
    bee_statement="Keep off while bees are visiting.",
    methods=["ground", "chemigation"],
    min_spray_gpa="21",
    recommended_gpa="31",
    wind_min_mph="3",
    wind_max_mph="14",
    buffer_ft="26",
    temperature_max_f="91",
    temperature_caution_f="86",
    solution_ph_min="6.25",
    surfactant_caution=True,
    rain_free_hours="6",
    mix_cautions=["chlorothalonil", "captan"],
    caps=[
        {"ingredient": "chlorantraniliprole", "pounds": "0.205", "per": "year", "year_basis": "twelve_months"},
        {"ingredient": "lambda-cyhalothrin", "pounds": "0.485", "per": "crop", "site_code": "sweet_corn"},
    ],
    group_run_limits=[{"scheme": "irac", "code": "3A", "max_in_a_row": 2}],
    separations=[{"ingredient": "mineral oil", "days": 15}],
    plantback=[{"site_code": "red_beet", "months": 17}, {"site_code": "*", "months": 13}],
    cover_crop_any_time=True,
    preplant_days={"muskmelon": 4},
    supervised_use_allowed=False,
    training_topic="closed_systems",
    training_months=36,
    sections={"rei_hours": "page 2, box"},
    uses=[
        {
            "site_code": "sweet_corn",
            "targets": ["corn_earworm", "fall_armyworm"],
            "rate_min": "5.25",
            "rate_max": "10.5",
            "rate_unit": "floz",
            "rate_basis": "per_acre",
            "phi_tiers": [{"up_to_rate": "7.75", "days": 2}, {"up_to_rate": "10.5", "days": 8}],
            "rei_hours": "25",
            "activity_rei": [{"activity": "irrigation", "hours": "49"}],
            "min_interval_days": 11,
            "interval_scope": "ingredient",
            "max_uses": 5,
            "season_max_product": "41",
            "season_max_unit": "pt",
            "season_basis": "calendar",
            "stage_from": "tassel",
            "stage_before": "brown_silk",
            "crop_height_max_in": "71",
            "methods": ["air"],
            "min_spray_gpa": "22",
            "conditions": "Not under plastic tunnels.",
        },
        {
            "site_code": "snap_bean",
            "rate_max": "8.5",
            "rate_unit": "floz",
            "rate_basis": "per_acre",
            "phi_days": 12,
            "max_uses": 1,
        },
    ],
)


def test_the_check_page_reads_back_everything_on_the_label(cast, manager):
    row = DraftFactory(product__farm=cast.farm, product__kind="insecticide", document=EVERYTHING)
    said = text_of(manager.get(at("check_label", row.pk)))
    wanted = """insecticide|Restricted use yes|Formulation code SC|Label signal word WARNING|Density 9.125 lb per gallon
        Contains oil no|chlorantraniliprole, 0.835 lb per gallon; lambda-cyhalothrin, 4.17 %|IRAC 28, IRAC 3A
        sweet corn|corn earworm, fall armyworm|Rate 5.25 to 10.5 fl oz per acre
        up to 7.75 fl oz: 2 days; up to 10.5 fl oz: 8 days|25 hours; hand labor: 73 hours; irrigation: 49 hours
        11 days, counted from any product with the same ingredient|Most uses 5|41 pt per acre
        The label's season is calendar year|Not before crop stage tassel|Only before crop stage brown silk
        Crop at most 71 in|by air|22 gallons per acre|Not under plastic tunnels.|snap bean|Rate 8.5 fl oz per acre
        Days before harvest 12 days|Restricted entry for all uses 24.5 hours|Until sprays have dried on the leaf
        Tell workers and post a sign, both yes|Apron, chemical-resistant; Goggles|Coveralls over shorts
        Boots of barrier laminate|residue harms bees|Keep off while bees are visiting.
        from the ground, through irrigation|Least spray volume 21 gallons per acre
        Recommended spray volume 31 gallons per acre|Lowest wind 3 mph|Highest wind 14 mph|Distance to water 26 ft
        Highest temperature 91 °F|Injury likely above 86 °F|Lowest pH of the spray solution 6.25 pH
        Hours without rain needed 6 hours|Warns of adding a surfactant yes|Not to mix with chlorothalonil, captan
        At most 0.205 lb of chlorantraniliprole per acre in a year (any twelve months)
        At most 0.485 lb of lambda-cyhalothrin per acre in a crop|only in sweet corn
        At most 2 sprays of IRAC 3A in a row.|Keep 15 days from mineral oil, before and after; never in one tank.
        red beet: 17 months after spraying|every crop not listed: 13 months after spraying
        muskmelon: planted at least 4 days after spraying|A cover crop may follow at any time.
        Under supervision no|closed systems, good for 36 months|rei hours page 2, box"""
    phrases = [p.strip() for line in wanted.splitlines() for p in line.split("|")]
    assert [p for p in phrases if p not in said] == []
    assert "I checked this against the paper label" in said


def test_what_the_label_does_not_say_is_said_so_and_never_zero(cast, manager):
    row = DraftFactory(product__farm=cast.farm, document=label_document(rei_hours=None))
    said = text_of(manager.get(at("label", row.pk)))
    assert "Restricted entry not known" in said
    assert "Restricted entry for all uses not stated" in said
    assert "Highest wind not stated" in said
    assert "Draft Not checked against the paper: it cannot be used in a job." in said


@pytest.mark.parametrize("name", [*DEMO, "everything"])
def test_a_draft_sent_back_unchanged_stays_the_same_document(cast, manager, name):
    """The sheet holds every field of the document: what it shows is what it saves."""
    document = EVERYTHING if name == "everything" else DEMO[name]["label"]
    row = DraftFactory(product__farm=cast.farm, product__kind=document["kind"], document=document)
    sheet = Boxes(manager.get(at("edit_draft", row.pk)).content.decode())
    answer = manager.post(at("edit_draft", row.pk), sheet.sent)
    assert (answer.status_code, answer.headers.get("Location")) == (302, at("label", row.pk))
    saved = LabelVersion.rows.get(pk=row.pk)
    assert (saved.body, saved.version) == (canonical(document), 1)


def test_a_label_typed_into_an_empty_sheet(cast, manager):
    product = ProductFactory(farm=cast.farm, name="Demo Cedar 2SC")
    sheet = Boxes(manager.get(at("draft_label", product.pk)).content.decode()).sent
    typed = {
        "effective_on": "2026-01-01",
        "restricted_use": "no",
        "rei_hours": "12",
        "caps": "quinoxyfen; 0.39; year; calendar",
        "ingredients-0-name": "Quinoxyfen",
        "ingredients-0-amount": "2.08",
        "ingredients-0-basis": "lb_per_gal",
        "groups-0-scheme": "frac",
        "groups-0-code": "13",
        "uses-0-site_code": "winter_squash",
        "uses-0-rate_min": "4",
        "uses-0-rate_max": "6",
        "uses-0-rate_unit": "floz",
        "uses-0-rate_basis": "per_acre",
        "uses-0-phi_days": "3",
    }
    answer = manager.post(at("draft_label", product.pk), {**sheet, **typed})
    row = LabelVersion.rows.get()
    assert (answer.status_code, answer.headers.get("Location")) == (302, at("label", row.pk))
    label = read_label(row.body)
    assert (label.ingredient_names, str(label.groups[0]), label.uses[0].phi_days) == ({"quinoxyfen"}, "FRAC 13", 3)
    assert (str(label.caps[0].pounds), label.caps[0].year_basis.value) == ("0.39", "calendar")
    assert row.transcribed_by_id == cast.manager.person_id


def test_a_row_more_keeps_what_was_typed_and_saves_nothing(cast, manager):
    product = ProductFactory(farm=cast.farm)
    sheet = Boxes(manager.get(at("draft_label", product.pk)).content.decode()).sent
    typed = {**sheet, "more": "uses", "uses-0-site_code": "winter_squash", "bee_statement": "typed already"}
    answer = manager.post(at("draft_label", product.pk), typed)
    again = Boxes(answer.content.decode()).sent
    assert (answer.status_code, again["uses-TOTAL_FORMS"]) == (200, ["2"])
    assert (again["uses-0-site_code"], again["bee_statement"]) == (["winter_squash"], ["typed already"])
    assert "uses-1-site_code" in again
    assert LabelVersion.rows.count() == 0


def test_a_row_crossed_out_is_gone(cast, manager):
    row = DraftFactory(product__farm=cast.farm, product__kind="insecticide", document=EVERYTHING)
    sheet = Boxes(manager.get(at("edit_draft", row.pk)).content.decode()).sent
    manager.post(at("edit_draft", row.pk), {**sheet, "uses-0-DELETE": "on"})
    assert [use["site_code"] for use in LabelVersion.rows.get(pk=row.pk).body["uses"]] == ["snap_bean"]


FAULTS = [
    ({"uses-1-rate_max": "1,5"}, "id_uses-1-rate_max", "Use a point for decimals, like 1.5, and no thousands mark."),
    ({"uses-0-rate_unit": "oz"}, "id_uses-1-rate_unit", "State the rate as the other use on sweet_corn does."),
    ({"caps": "chlorantraniliprole; 0.2; year\nchlorantraniliprole; lots; year"}, "id_caps", "Line 2, pounds: "),
    ({"caps": "a; b; c; d; e; f"}, "id_caps", "Line 1: give at most 5 parts"),
    ({"preplant_days": "muskmelon; soon"}, "id_preplant_days", "“muskmelon”: "),
    ({"preplant_days": "muskmelon; 1\nmuskmelon; 2"}, "id_preplant_days", "Line 2: give two parts"),
    ({"ingredients-0-amount": ""}, "id_ingredients-0-amount", "Give a number from 0 to 30."),
    ({"effective_on": "soon"}, "id_effective_on", "Enter a valid date."),
    ({"formulation_code": "WDG"}, "id_formulation_code", "Give the two-letter code"),
    ({"training_months": ""}, "id_training_months", "Give training_topic and training_months together."),
]


@pytest.mark.parametrize(("typed", "anchor", "said"), FAULTS, ids=[f"{a}: {s[:20]}" for _, a, s in FAULTS])
def test_a_fault_is_shown_at_the_box_it_was_typed_in(cast, manager, typed, anchor, said):
    document = {**EVERYTHING, "uses": [EVERYTHING["uses"][0], {**EVERYTHING["uses"][1], "site_code": "sweet_corn"}]}
    row = DraftFactory(product__farm=cast.farm, product__kind="insecticide", document=document)
    sheet = Boxes(manager.get(at("edit_draft", row.pk)).content.decode()).sent
    answer = manager.post(at("edit_draft", row.pk), {**sheet, **typed})
    page = answer.content.decode()
    assert answer.status_code == 400
    assert "<title>Error: " in page
    summary = page[page.index('class="trouble"') : page.index("</section>")]
    assert f'href="#{anchor}"' in summary
    assert said in html.unescape(summary)
    assert f'id="{anchor}_error"' in page
    again = Boxes(page).sent
    assert {name: again[name] for name in typed} == {name: [value] for name, value in typed.items()}
    assert LabelVersion.rows.get(pk=row.pk).version == 1


def test_somebody_quicker_is_said_and_nothing_typed_is_lost(cast, manager):
    row = DraftFactory(product__farm=cast.farm)
    sheet = Boxes(manager.get(at("edit_draft", row.pk)).content.decode()).sent
    LabelVersion.rows.filter(pk=row.pk).update(version=2, note="quicker")
    answer = manager.post(at("edit_draft", row.pk), {**sheet, "bee_statement": "my long text"})
    assert answer.status_code == 412
    assert "Somebody changed this since you opened it." in text_of(answer)
    assert Boxes(answer.content.decode()).sent["bee_statement"] == ["my long text"]
    assert LabelVersion.rows.get(pk=row.pk).note == "quicker"


def test_a_new_version_starts_from_the_newest(cast, manager):
    product = ProductFactory(farm=cast.farm)
    LabelFactory(product=product, number=1)
    LabelFactory(product=product, number=2, document=label_document(rei_hours="36"))
    sheet = Boxes(manager.get(at("draft_label", product.pk)).content.decode()).sent
    assert (sheet["rei_hours"], sheet["uses-0-site_code"]) == (["36"], ["winter_squash"])
    manager.post(at("draft_label", product.pk), sheet)
    assert LabelVersion.rows.filter(product=product).latest("id").number == 3


def test_the_applicator_checks_a_draft_in_the_browser(cast, browser_client):
    row = DraftFactory(product__farm=cast.farm)
    applicator = browser_client(cast.applicator)
    sheet = Boxes(applicator.get(at("check_label", row.pk)).content.decode()).sent
    empty = applicator.post(at("check_label", row.pk), sheet)
    assert (empty.status_code, LabelVersion.rows.get(pk=row.pk).checked_at) == (400, None)
    applicator.post(at("check_label", row.pk), {**sheet, "checked_against": "paper label dated 3 Mar 2026"})
    saved = LabelVersion.rows.get(pk=row.pk)
    assert (saved.checked_by_id, saved.checked_against) == (cast.applicator.person_id, "paper label dated 3 Mar 2026")
    page = text_of(applicator.get(at("product", row.product_id)))
    assert "Luis Mora, against paper label dated 3 Mar 2026." in page
    assert "The same person typed it and checked it." not in page


def test_the_page_shows_that_one_person_typed_and_checked(cast, manager):
    row = DraftFactory(product__farm=cast.farm, transcribed_by_id=cast.manager.person_id, transcribed_by=None)
    assert "You typed this draft yourself." in text_of(manager.get(at("check_label", row.pk)))
    sheet = Boxes(manager.get(at("check_label", row.pk)).content.decode()).sent
    manager.post(at("check_label", row.pk), {**sheet, "checked_against": "paper label"})
    assert "The same person typed it and checked it." in text_of(manager.get(at("label", row.pk)))


def test_the_product_page_shows_the_label_in_force(cast, browser_client):
    product = ProductFactory(farm=cast.farm, name="Demo Kestrel 1CS", kind="insecticide")
    LabelFactory(product=product, number=1, document=EVERYTHING)
    page = text_of(browser_client(cast.staff).get(at("product", product.pk)))
    assert "Demo label, not advice." in page
    assert "IRAC 28, IRAC 3A" in page
    assert "up to 7.75 fl oz: 2 days; up to 10.5 fl oz: 8 days" in page
    assert "Mixing and loading Apron, chemical-resistant; Goggles" in page
    assert "Enter a new label version" not in page


SEES = [
    ("manager", "product", {"Enter a new label version", "Change the product"}),
    ("applicator", "product", set()),
    ("manager", "label", {"Check it against the paper", "Change the draft", "Withdraw this version"}),
    ("applicator", "label", {"Check it against the paper", "Withdraw this version"}),
    ("staff", "label", set()),
    ("manager", "library", {"Add a product"}),
    ("applicator", "library", set()),
]


@pytest.mark.parametrize(("role", "name", "buttons"), SEES, ids=[f"{r} {n}" for r, n, _ in SEES])
def test_each_role_sees_the_buttons_it_may_press(cast, browser_client, role, name, buttons):
    row = DraftFactory(product__farm=cast.farm)
    place = {"product": [row.product_id], "label": [row.pk], "library": []}[name]
    page = text_of(browser_client(cast.by_role(role)).get(at(name, *place)))
    assert {b for _, _, some in SEES for b in some if b in page} == buttons


def test_a_product_without_a_checked_label_says_that_it_cannot_be_used(cast, manager):
    row = DraftFactory(product__farm=cast.farm)
    said = "No checked label is in force: this product cannot be used in a job."
    assert said in text_of(manager.get(at("product", row.product_id)))
    listed = text_of(manager.get(at("library")))
    assert "No checked label: cannot be used in a job" in listed
    assert "1 draft waits to be checked" in listed


def test_the_library_hides_retired_products_until_asked(cast, manager):
    ProductFactory(farm=cast.farm, name="Demo Alder")
    ProductFactory(farm=cast.farm, name="Demo Yew", retired_at="2026-01-01T00:00:00Z")
    now, gone = text_of(manager.get(at("library"))), text_of(manager.get(at("library") + "?retired=1"))
    assert ("Demo Alder" in now, "Demo Yew" in now) == (True, False)
    assert ("Demo Alder" in gone, "Demo Yew" in gone) == (False, True)
    assert "Demo Alder" not in text_of(manager.get(at("library") + "?name=zzz"))


def test_adding_editing_and_retiring_a_product(cast, manager):
    manager.post(at("add_product"), {"name": "Demo Alder", "kind": "fungicide", "is_demo": "on"})
    row = Product.rows.get()
    assert (row.name, row.is_demo, row.retired_at) == ("Demo Alder", True, None)
    sheet = Boxes(manager.get(at("edit_product", row.pk)).content.decode()).sent
    manager.post(at("edit_product", row.pk), {**sheet, "registration_number": "DEMO-1", "retired": "on"})
    row.refresh_from_db()
    assert (row.registration_number, row.retired_at is not None, row.is_demo) == ("DEMO-1", True, True)


def test_withdrawing_asks_for_the_reason(cast, manager):
    row = LabelFactory(product__farm=cast.farm)
    assert manager.post(at("withdraw_label", row.pk), {"reason": " "}).status_code == 400
    answer = manager.post(at("withdraw_label", row.pk), {"reason": "superseded"})
    assert answer.headers.get("Location") == at("product", row.product_id)
    assert LabelVersion.rows.get(pk=row.pk).withdrawn_reason == "superseded"


@pytest.mark.parametrize("count", [2, 12])
def test_the_library_page_costs_the_same_for_any_number_of_products(
    cast, manager, count, django_assert_max_num_queries
):
    for _ in range(count):
        LabelFactory(product__farm=cast.farm)
    with django_assert_max_num_queries(8) as seen:
        manager.get(at("library"))
    about_products = [q for q in seen.captured_queries if "products_" in q["sql"]]
    assert len(about_products) == 2
