"""A sentence about bad input keeps its numbers apart, so that a Spanish reader gets it in Spanish (project rule)."""

from __future__ import annotations

import copy
from decimal import Decimal

import pytest
from django import forms
from django.utils import translation

from apps.land.rules import read_place
from apps.people.models import Person
from apps.spraying.rules.house import read_limits
from farmops.errors import BadInput, NotYourRole, Said, Stale, Unknown, one_of
from farmops.problems import describe, in_words
from farmops.units import number
from farmops.web import put_errors


def test_it_reads_as_english_and_is_said_in_the_readers_language():
    said = Said("Must be {most} or less.", most=Decimal("4.5"))
    assert said == "Must be 4.5 or less."
    with translation.override("es"):
        assert in_words(said) == "Debe ser 4.5 o menos."
        assert in_words(copy.deepcopy(said)) == "Debe ser 4.5 o menos."
        assert in_words(one_of(["a", "b"])) == "Use uno de estos: a, b."
    with translation.override("en"):
        assert in_words(said) == "Must be 4.5 or less."


def test_what_was_typed_is_never_read_as_a_slot():
    with pytest.raises(BadInput) as caught, translation.override("es"):
        number("{maximum}", field="acres")
    with translation.override("es"):
        assert in_words(caught.value.errors["acres"][0]) == "«{maximum}» debe ser un número, como 1.5."


@pytest.mark.parametrize(
    ("corner", "right"),
    [
        (
            [40.0, 95.0],
            "la latitud 95 debe estar entre -90 y 90. Parece que la latitud y la longitud están cambiadas: en "
            "GeoJSON va primero la longitud.",
        ),
        ([-120.0, 95.0], "la latitud 95 debe estar entre -90 y 90."),
    ],
)
def test_a_hint_inside_a_sentence_is_translated_or_left_out(corner, right):
    with pytest.raises(BadInput) as caught:
        read_place({"type": "Point", "coordinates": corner})
    with translation.override("es"):
        (said,) = (in_words(s) for s in caught.value.errors["geometry"])
    assert said.endswith(right)


class Wind(forms.Form):
    calm_wind_mph = forms.CharField(required=False)


def test_api_and_page_say_a_limit_in_spanish():
    with pytest.raises(BadInput) as caught:
        read_limits({"calm_wind_mph": "1"})
    right = (
        "Use de 3 a 8 mph, con 1 decimales como máximo, o déjelo vacío: la finca solo puede preguntar antes de lo que "
        "pregunta el número de fábrica."
    )
    form = Wind({"calm_wind_mph": "1"})
    with translation.override("es"):
        assert describe(caught.value)["errors"] == {"calm_wind_mph": [right]}
        put_errors(form, caught.value)
    assert form.errors == {"calm_wind_mph": [right]}


@pytest.mark.django_db
def test_a_wrong_role_is_told_in_spanish_who_may(cast, api, browser_client):
    Person.objects.filter(pk=cast.staff.person_id).update(language="es")
    shown = browser_client(cast.staff).get("/f/alder-bend/people/")
    assert shown.status_code == 403
    assert "<h1>No es su función</h1>" in shown.content.decode()
    assert "Para esto hace falta ser: administrador." in shown.content.decode()
    address = "/api/v1/farms/alder-bend/members/"
    body = api(cast.staff).get(address, headers={"Accept-Language": "es"}).json()
    assert (body["title"], body["detail"]) == ("No es su función", "Para esto hace falta ser: administrador.")


@pytest.mark.parametrize(
    ("error", "title", "detail"),
    [
        (Unknown(), "No encontrado", "No existe esa entrada en el libro de esta finca."),
        (Stale(), "Cambió mientras tanto", "Alguien cambió esto después de que usted lo abrió. Léalo otra vez y "
         "repita su cambio."),
        (NotYourRole(Said("This needs one of: {roles}.", roles=("manager", "applicator"))), "No es su función",
         "Para esto hace falta ser: administrador / aplicador."),
    ],
)  # fmt: skip
def test_every_no_is_said_in_spanish(error, title, detail):
    with translation.override("es"):
        body = describe(error)
    assert (body["title"], body["detail"]) == (title, detail)
