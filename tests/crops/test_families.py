"""Families with old and everyday names, and crop codes."""

from __future__ import annotations

import pytest

from apps.crops.rules import ALIASES, FAMILY_NAMES, KNOWN_CROPS, Family, family_fits, read_code, read_family
from farmops.errors import BadInput

# Old and new names of the same family. Source: Michigan State University Extension, crop rotation
# family table (names marked "formerly"); Hydrophyllaceae and Labiatae are standard botany, from memory.
OLD_NAMES = {
    "Gramineae": Family.POACEAE,
    "Leguminosae": Family.FABACEAE,
    "Cruciferae": Family.BRASSICACEAE,
    "Chenopodiaceae": Family.AMARANTHACEAE,
    "Alliaceae": Family.AMARYLLIDACEAE,
    "Umbelliferae": Family.APIACEAE,
    "Compositae": Family.ASTERACEAE,
    "Hydrophyllaceae": Family.BORAGINACEAE,
    "Labiatae": Family.LAMIACEAE,
}


@pytest.mark.parametrize(("old", "family"), OLD_NAMES.items())
def test_old_names_are_the_same_family(old: str, family: Family) -> None:
    assert read_family(old) is family


@pytest.mark.parametrize("family", Family)
def test_every_family_is_read_by_its_own_name_and_has_words(family: Family) -> None:
    assert read_family(f" {family.value.upper()} ") is family
    assert FAMILY_NAMES[family] not in {name for other, name in FAMILY_NAMES.items() if other is not family}


def test_no_alias_hides_a_present_name() -> None:
    assert set(ALIASES) & set(Family) == set()


@pytest.mark.parametrize("typed", ["", None, "squash family", "liliaceae"])
def test_an_unknown_family_is_refused_with_the_list(typed: object) -> None:
    with pytest.raises(BadInput) as refused:
        read_family(typed)
    assert refused.value.errors == {"family": [f"Family must be one of: {', '.join(Family)}."]}


# Source: Michigan State University Extension family table, as far as it goes; grasses from memory.
MEMBERS = {
    "pumpkin": Family.CUCURBITACEAE,
    "winter_squash": Family.CUCURBITACEAE,
    "muskmelon": Family.CUCURBITACEAE,
    "sweet_corn": Family.POACEAE,
    "cereal_rye": Family.POACEAE,
    "snap_bean": Family.FABACEAE,
    "hairy_vetch": Family.FABACEAE,
    "crimson_clover": Family.FABACEAE,
    "tomato": Family.SOLANACEAE,
    "cabbage": Family.BRASSICACEAE,
    "spinach": Family.AMARANTHACEAE,
    "onion": Family.AMARYLLIDACEAE,
    "carrot": Family.APIACEAE,
    "lettuce": Family.ASTERACEAE,
    "sweet_potato": Family.CONVOLVULACEAE,
}


@pytest.mark.parametrize(("code", "family"), MEMBERS.items())
def test_known_crops_belong_to_their_family(code: str, family: Family) -> None:
    assert KNOWN_CROPS[code].family is family


NAMES = {"winter_squash": "Winter squash", "sorghum_sudan": "Sorghum-sudangrass", "gourd": "Ornamental gourd"}


@pytest.mark.parametrize(("code", "name"), NAMES.items())
def test_known_crops_have_their_everyday_name(code: str, name: str) -> None:
    assert KNOWN_CROPS[code].name == name


def test_no_two_known_crops_share_a_name() -> None:
    assert len({crop.name for crop in KNOWN_CROPS.values()}) == len(KNOWN_CROPS) > 60


def test_sweet_potato_is_no_potato() -> None:
    assert KNOWN_CROPS["sweet_potato"].family is not KNOWN_CROPS["potato"].family


def test_a_known_crop_cannot_be_given_another_family() -> None:
    family_fits("pumpkin", Family.CUCURBITACEAE)
    family_fits("my_own_crop", Family.POACEAE)
    with pytest.raises(BadInput) as refused:
        family_fits("pumpkin", Family.SOLANACEAE)
    said = "Pumpkin belongs to cucurbitaceae. Use that family, or another code for another crop."
    assert refused.value.errors == {"family": [said]}


@pytest.mark.parametrize("code", sorted(KNOWN_CROPS))
def test_known_codes_are_proper_codes(code: str) -> None:
    assert read_code(code) == KNOWN_CROPS[code].code == code


@pytest.mark.parametrize("typed", ["", None, "winter squash", "1st", "_x", "kürbis", "a" * 41, "x-y", "pumpkin\n2"])
def test_codes_refused(typed: object) -> None:
    with pytest.raises(BadInput) as refused:
        read_code(typed)
    assert refused.value.errors == {
        "code": [
            "Code must be lower-case letters, digits and underscores, starting with a letter, like winter_squash; "
            "at most 40."
        ]
    }


def test_the_code_of_cover_ground_is_kept() -> None:
    with pytest.raises(BadInput) as refused:
        read_code("fallow_cover")
    assert refused.value.errors == {"code": ["fallow_cover is kept for ground under a cover crop. Use another code."]}


def test_codes_are_read_in_any_case() -> None:
    assert read_code(" Winter_Squash ") == "winter_squash"
