"""The description of the API says how to come in, who may, and how errors really look."""

from typing import Any

import pytest
from fastapi import FastAPI

from tests.visitor import Visitor


@pytest.fixture
def found(app: FastAPI) -> dict[str, Any]:
    """The document as a program gets it."""
    document: dict[str, Any] = Visitor(app).client.get("/openapi.json").json()
    return document


def test_every_operation_asks_for_a_token_and_says_for_whom_it_is(found: dict[str, Any]) -> None:
    assert found["components"]["securitySchemes"]["token"]["scheme"] == "bearer"
    for path, operations in found["paths"].items():
        for method, operation in operations.items():
            where = f"{method} {path}"
            assert operation["security"] == [{"token": []}], where
            assert operation["description"].rsplit("\n\n", 1)[1].startswith("For "), where
            assert not operation["description"].endswith("For ."), where


def test_errors_are_described_as_the_problem_details_they_are(found: dict[str, Any]) -> None:
    """Not as the framework's own shape, which nothing here answers with."""
    assert not {"HTTPValidationError", "ValidationError"} & set(found["components"]["schemas"])
    for operations in found["paths"].values():
        for method, operation in operations.items():
            assert {"401", "403", "422"} <= set(operation["responses"])
            assert ("409" in operation["responses"]) == (method != "get")
            for code, answer in operation["responses"].items():
                if code >= "400":
                    assert list(answer["content"]) == ["application/problem+json"]


def test_a_real_problem_has_the_described_members(app: FastAPI, found: dict[str, Any]) -> None:
    answer = Visitor(app).client.get("/api/v1/parts").json()
    described = found["components"]["schemas"]["Problem"]
    assert set(described["required"]) <= set(answer) <= set(described["properties"])
