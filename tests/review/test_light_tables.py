"""The light views the review reads by are those of the models."""

from typing import Any

from sqlalchemy import TypeDecorator

from app.review.queries.tables import LIGHT_TABLES
from app.tables import metadata


def stored_as(kind: Any) -> type:
    """The Python type of what a column type stores."""
    plain: Any = kind.impl if isinstance(kind, TypeDecorator) else kind
    found: type = plain.python_type
    return found


def test_each_column_that_is_read_is_there_with_the_same_type() -> None:
    for light in LIGHT_TABLES:
        model = metadata.tables[light.name]
        for column in light.columns:
            there = model.columns[column.name].type
            assert issubclass(stored_as(there), stored_as(column.type)), f"{light.name}.{column.name}"
            assert getattr(there, "places", None) == getattr(column.type, "places", None), column.name
