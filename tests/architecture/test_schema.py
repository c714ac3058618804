"""The served interface description is valid OpenAPI 3.1 and tells of every operation."""

from __future__ import annotations

import io
from contextlib import redirect_stderr
from functools import cache

import pytest
from drf_spectacular.drainage import GENERATOR_STATS
from drf_spectacular.generators import SchemaGenerator
from openapi_spec_validator import OpenAPIV31SpecValidator

from tests.architecture.doors import all_doors, methods_of


@cache
def schema() -> tuple[dict, str]:
    """The schema and whatever the generator grumbled about."""
    GENERATOR_STATS.reset()
    said = io.StringIO()
    with redirect_stderr(said):
        made = SchemaGenerator().get_schema(request=None, public=True)
        GENERATOR_STATS.emit_summary()
    return made, said.getvalue()


def operations() -> dict[tuple[str, str], dict]:
    made, _ = schema()
    return {(path, m): op for path, ops in made["paths"].items() for m, op in ops.items()}


def test_it_is_valid_openapi_3_1():
    made, _ = schema()
    assert made["openapi"] == "3.1.0"
    assert [str(e) for e in OpenAPIV31SpecValidator(made).iter_errors()] == []


def test_the_generator_has_nothing_to_warn_about():
    assert schema()[1] == ""


def test_every_api_door_is_described():
    described = {(path.count("/"), m) for path, m in operations()}
    paths = {path for path, _ in operations()}
    wanted = {d.route for d in all_doors() if d.is_api and d.route != "api/v1/schema/"}
    assert len(paths) == len(wanted)
    assert len(operations()) == sum(len(methods_of(d)) for d in all_doors() if d.route in wanted)
    assert described


def test_operation_names_are_unique_verb_phrases():
    names = [op["operationId"] for op in operations().values()]
    assert sorted(names) == sorted(set(names))
    assert [n for n in names if n.startswith("farms_")] == []


@pytest.mark.parametrize("code", ["400", "401", "403", "404"])
def test_every_operation_documents_its_problem_answers(code):
    assert [k for k, op in operations().items() if code not in op["responses"]] == []


@pytest.mark.django_db
def test_it_is_served_to_anybody(client):
    answer = client.get("/api/v1/schema/")
    assert answer.status_code == 200
    assert b"openapi: 3.1.0" in answer.content
