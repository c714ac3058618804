"""Pages of sprayers and the guided calibration."""

from __future__ import annotations

from datetime import date
from decimal import Decimal as D

import pytest

from apps.equipment.models import Calibration, Sprayer
from tests.factories.equipment import CalibrationFactory, SprayerFactory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("june")]
HOME = "/f/alder-bend/"
MACHINE = {
    "name": "Yellow boom",
    "method": "boom",
    "tank_gal": "110",
    "usable_gal": "100",
    "swath_ft": "6.6",
    "nozzles": "4",
    "life_days": "365",
    "once_key": "key-for-the-machine",
}
CUPS = {
    "measured_on": "2026-06-01",
    "pressure_psi": "40",
    "course_ft": "88",
    "run_1": "12",
    "seconds": "60",
    "catch_unit": "floz",
    **{f"cup_{n}": "64" for n in (1, 2, 3, 4)},
}


def text(answer):
    return answer.content.decode()


def test_list_shows_what_counts_and_why_not(cast, browser_client):
    CalibrationFactory(sprayer=SprayerFactory(farm=cast.farm, name="Good boom"))
    SprayerFactory(farm=cast.farm, name="New boom")
    SprayerFactory(farm=cast.other_farm, name="Their boom")
    page = text(browser_client(cast.applicator).get(HOME + "sprayers/"))
    assert "Good boom" in page and "Sat, May 1, 2027" in page
    assert "This sprayer has no calibration on Mon, Jun 1, 2026." in page
    assert "Their boom" not in page


def test_adding_goes_on_to_the_new_sprayer(cast, browser_client):
    client = browser_client(cast.manager)
    answer = client.post(HOME + "sprayers/new/", MACHINE, follow=True)
    row = Sprayer.rows.get()
    assert answer.redirect_chain == [(f"{HOME}sprayers/{row.pk}/", 302)]
    assert "The sprayer is added. Calibrate it next." in text(answer)
    assert "Medium or coarser" not in text(answer)
    assert "The droplet class is not known: 100 ft all round." in text(answer)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ({"tank_gal": "1,5"}, "Use a point for decimals, like 1.5, and no thousands mark."),
        ({"usable_gal": "120"}, "Usable gallons cannot be more than the tank holds."),
        ({"nozzles": "0"}, "greater than or equal to 1"),
        ({"swath_ft": "0"}, "Must be more than 0."),
        ({"swath_ft": "6.666"}, "At most 2 decimals."),
    ],
)
def test_wrong_input_is_said_twice_and_kept(cast, browser_client, typed, said):
    answer = browser_client(cast.manager).post(HOME + "sprayers/new/", {**MACHINE, **typed})
    page = text(answer)
    assert answer.status_code == 400
    assert page.count(said) == 2
    assert "<title>Error:" in page
    assert f'value="{next(iter(typed.values()))}"' in page
    assert Sprayer.rows.count() == 0


def test_one_cup_for_each_nozzle(cast, browser_client):
    sprayer = SprayerFactory(farm=cast.farm, nozzles=7)
    page = text(browser_client(cast.applicator).get(f"{HOME}sprayers/{sprayer.pk}/calibrate/"))
    assert [n for n in range(1, 12) if f'name="cup_{n}"' in page] == list(range(1, 8))
    assert 'class="yard"' in page
    assert 'type="number"' not in page


def test_working_it_out_shows_mean_deviations_and_verdict_and_records_nothing(cast, browser_client):
    sprayer = SprayerFactory(farm=cast.farm)
    asked = {**CUPS, "cup_4": "40", "work_out": "1"}
    answer = browser_client(cast.applicator).post(f"{HOME}sprayers/{sprayer.pk}/calibrate/", asked)
    page = text(answer)
    assert answer.status_code == 200
    assert "58.00 fl oz" in page  # mean of 64, 64, 64 and 40
    assert "-31.0" in page
    assert "The boom does not spread evenly." in page
    assert "Nozzle 4 gives 31 % less than the average. Clean it and catch again." in page
    assert 'value="40"' in page
    assert Calibration.rows.count() == 0


def test_recording_goes_on_to_the_result_and_counts(cast, browser_client):
    sprayer = SprayerFactory(farm=cast.farm)
    asked = {**CUPS, "run_2": "11", "run_3": "13", "once_key": "key-for-the-cups"}
    client = browser_client(cast.applicator)
    for _ in range(2):
        answer = client.post(f"{HOME}sprayers/{sprayer.pk}/calibrate/", asked, follow=True)
    row = Calibration.rows.get()
    assert (row.gpa, row.run_seconds, row.recorded_by_id) == (D(30), ["12", "11", "13"], cast.applicator.person_id)
    assert answer.redirect_chain[-1][0] == f"{HOME}calibrations/{row.pk}/"
    assert "This is the calibration that counts today, through Tue, Jun 1, 2027." in text(answer)


def test_a_look_needs_a_reason_on_the_page_too(cast, browser_client):
    sprayer = SprayerFactory(farm=cast.farm)
    asked = {**CUPS, "wanted_gpa": "38"}
    client = browser_client(cast.applicator)
    answer = client.post(f"{HOME}sprayers/{sprayer.pk}/calibrate/", asked)
    assert (answer.status_code, Calibration.rows.count()) == (400, 0)
    assert text(answer).count("Enter why this calibration may be used all the same.") == 2
    client.post(f"{HOME}sprayers/{sprayer.pk}/calibrate/", {**asked, "reason": "Planned at 30."})
    assert Calibration.rows.get().reason == "Planned at 30."


def test_nozzles_changed_on_the_page(cast, browser_client):
    row = CalibrationFactory(sprayer=SprayerFactory(farm=cast.farm))
    client = browser_client(cast.manager)
    answer = client.post(
        f"{HOME}sprayers/{row.sprayer_id}/nozzles/",
        {"changed_on": "2026-06-01", "note": "two tips", "version": "1"},
        follow=True,
    )
    assert "No calibration counts today." in text(answer)
    row.refresh_from_db()
    assert (row.void_on, row.void_because) == (date(2026, 6, 1), "two tips")


def test_striking_and_retiring_on_the_page(cast, browser_client):
    row = CalibrationFactory(sprayer=SprayerFactory(farm=cast.farm))
    client = browser_client(cast.manager)
    client.post(f"{HOME}calibrations/{row.pk}/void/", {"because": "misread"})
    row.refresh_from_db()
    assert row.void_because == "misread"
    page = text(client.get(f"{HOME}calibrations/{row.pk}/"))
    assert "Void from" in page and "misread" in page
    client.post(f"{HOME}sprayers/{row.sprayer_id}/retire/", {"retired": "on", "version": "1"})
    assert "Out of use" in text(client.get(HOME + "sprayers/"))
    client.post(f"{HOME}sprayers/{row.sprayer_id}/edit/", {**MACHINE, "version": "2", "once_key": "another-key"})
    assert Sprayer.rows.get().name == "Yellow boom"


def test_another_farms_pages_are_not_found(cast, browser_client):
    theirs = CalibrationFactory(sprayer=SprayerFactory(farm=cast.other_farm, name="Secret"))
    client = browser_client(cast.manager)
    for address in (
        f"sprayers/{theirs.sprayer_id}/",
        f"sprayers/{theirs.sprayer_id}/edit/",
        f"sprayers/{theirs.sprayer_id}/nozzles/",
        f"sprayers/{theirs.sprayer_id}/retire/",
        f"sprayers/{theirs.sprayer_id}/calibrate/",
        f"calibrations/{theirs.pk}/",
        f"calibrations/{theirs.pk}/void/",
    ):
        answer = client.get(HOME + address)
        assert (answer.status_code, "Secret" in text(answer)) == (404, False), address


def test_staff_are_told_who_may(cast, browser_client):
    answer = browser_client(cast.staff).get(HOME + "sprayers/")
    assert (answer.status_code, "This needs one of: manager / applicator." in text(answer)) == (403, True)
