"""What a draft may lack or have wrong, and what has not the shape of a procedure at all."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

from pydantic import BaseModel, ValidationError

from app.platform.errors import Refused

# What a draft may lack or have wrong; anything else is not the shape of a procedure.
_GAPS = ("missing", "string_", "int_", "decimal_", "float_", "greater_", "less_", "enum", "literal_", "bool_", "too_")
_DEEPEST = 30


def is_gap(detail: Any) -> bool:
    """Whether an error of validation is a gap or a wrong value, which a draft may have."""
    kind = str(detail["type"])
    if kind == "string_type" or kind.startswith(("int_", "decimal_", "float_", "bool_", "enum", "literal_")):
        # A value of the wrong kind may be kept as text; a list or a mapping in its place may not.
        return not isinstance(detail.get("input"), list | dict)
    return kind.startswith(_GAPS)


def shape_faults(model: type[BaseModel], data: Any) -> list[Any]:
    """Return the errors by which data has not the shape of the model; gaps are none."""
    try:
        model.model_validate(data)
    except ValidationError as error:
        return [detail for detail in error.errors(include_url=False) if not is_gap(detail)]
    return []


def exact(value: Any, depth: int = 0) -> Any:
    """Return plain JSON data with fractions as decimals; Refused for what no database keeps or what is too deep."""
    if depth > _DEEPEST:
        raise Refused("The data is nested too deep for a procedure.")
    if isinstance(value, Mapping):
        return {exact(key, depth + 1): exact(inner, depth + 1) for key, inner in value.items()}
    if isinstance(value, list):
        return [exact(inner, depth + 1) for inner in value]
    if isinstance(value, float):
        found = Decimal(repr(value))
        if not found.is_finite():
            raise Refused("A number is not finite.")
        return found
    if isinstance(value, str) and any(sign == "\x00" or "\ud800" <= sign <= "\udfff" for sign in value):
        raise Refused("A text has signs in it that are no characters. Send plain Unicode.")
    return value
