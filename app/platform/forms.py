"""Forms: raw input kept as typed, checked by a pydantic model, errors in words beside the field."""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from decimal import Decimal
from typing import Any, Generic, TypeVar, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from app.rules.verdict import Refused

M = TypeVar("M", bound=BaseModel)
NOT_FILLED = "Fill this in."
NOT_CHOSEN = "Choose one."


@dataclass(frozen=True)
class Upload:
    """One uploaded file: the name the browser gave, its claimed media type and its bytes."""

    filename: str
    media_type: str
    body: bytes


@dataclass(frozen=True)
class RawForm:
    """A posted form as it came: every field with all its values, in order, and the uploaded files."""

    fields: Mapping[str, tuple[str, ...]]
    files: Mapping[str, tuple[Upload, ...]] = field(default_factory=dict)

    def get(self, name: str, default: str = "") -> str:
        """Return the last value of a field, stripped, or ``default``."""
        values = self.fields.get(name)
        return values[-1].strip() if values else default

    def all(self, name: str) -> tuple[str, ...]:
        """Return all values of a field."""
        return self.fields.get(name, ())

    def starting(self, prefix: str) -> dict[str, str]:
        """Return the last values of all fields whose name starts with ``prefix``, the prefix cut off."""
        return {k[len(prefix) :]: v[-1].strip() for k, v in self.fields.items() if k.startswith(prefix)}

    def content(self) -> dict[str, Any]:
        """Return what identifies this form's content: all fields but the form's own ids, files by hash."""
        skip = ("csrf_token", "submission_id")
        found: dict[str, Any] = {k: list(v) for k, v in self.fields.items() if k not in skip}
        found |= {f"file:{k}": [u.body for u in v] for k, v in self.files.items()}
        return found


@dataclass(frozen=True)
class Form(Generic[M]):
    """A form on a page: values as typed, errors by field, a refusal on top, the checked data when all is well."""

    values: Mapping[str, str] = field(default_factory=dict)
    errors: Mapping[str, str] = field(default_factory=dict)
    refusal: str | None = None
    data: M | None = None
    lists: Mapping[str, tuple[str, ...]] = field(default_factory=dict)

    def value(self, name: str, default: str = "") -> str:
        """Return what stands in a field."""
        return self.values.get(name, default)

    def chosen(self, name: str, option: str) -> bool:
        """Return whether an option of a many-choice field is chosen."""
        return option in self.lists.get(name, ())

    def error(self, name: str, chosen: bool = False) -> str | None:
        """Return the message beside a field, or None; ``chosen`` says that its answers are offered, not written."""
        message = self.errors.get(name)
        return NOT_CHOSEN if chosen and message == NOT_FILLED else message

    def refused(self, refusal: Refused) -> "Form[M]":
        """Return this form with a refusal: beside its field where it names one, otherwise on top."""
        if refusal.field:
            return replace(self, errors={**self.errors, refusal.field: refusal.reason}, data=None)
        return replace(self, refusal=refusal.reason, data=None)

    def wrong(self, name: str, message: str) -> "Form[M]":
        """Return this form with one more message beside a field."""
        return replace(self, errors={**self.errors, name: message}, data=None)


def blank(**values: object) -> Form[Any]:
    """Return a form to show first, with what is prefilled."""
    return Form(values={k: "" if v is None else str(v) for k, v in values.items()})


def check(model: type[M], raw: RawForm) -> Form[M]:
    """Check posted input against a form model; an empty field counts as not filled in."""
    values = {k: v[-1] for k, v in raw.fields.items() if v}
    lists = dict(raw.fields)
    given: dict[str, Any] = {}
    for name, info in model.model_fields.items():
        if get_origin(info.annotation) in (list, tuple):
            given[name] = tuple(v for v in raw.all(name) if v.strip())
        elif raw.get(name) != "":
            given[name] = _number(raw.get(name)) if _is_decimal(info.annotation) else raw.get(name)
    try:
        data = model.model_validate(given)
    except ValidationError as error:
        found: dict[str, str] = {}
        refusal = None
        for detail in error.errors():
            if detail["loc"]:
                found.setdefault(str(detail["loc"][0]), _words(detail))
            else:
                refusal = _words(detail)
        return Form(values=values, errors=found, lists=lists, refusal=refusal)
    return Form(values=values, lists=lists, data=data)


def _is_decimal(annotation: Any) -> bool:
    return annotation is Decimal or Decimal in get_args(annotation)


def _number(text: str) -> str:
    """Read a decimal comma as a point, as half of Europe writes it; anything else stays as typed."""
    return text.replace(",", ".") if re.fullmatch(r"[+-]?\d+,\d+", text) else text


_WORDS = {
    "missing": NOT_FILLED,
    "string_too_short": NOT_FILLED,
    "int_parsing": "Enter a whole number, such as 3.",
    "int_from_float": "Enter a whole number, such as 3.",
    "decimal_parsing": "Enter a number, such as 12.50.",
    "date_from_datetime_parsing": "Enter a date, such as 2026-03-31.",
    "date_parsing": "Enter a date, such as 2026-03-31.",
    "literal_error": "Choose one of the offered answers.",
    "bool_parsing": "Answer yes or no.",
}


def _words(detail: ErrorDetails) -> str:
    kind = detail["type"]
    context = detail.get("ctx", {})
    if kind == "enum":
        return f"Choose one of these: {str(context.get('expected')).replace(chr(39), '')}."
    if kind in _WORDS:
        return _WORDS[kind]
    if kind == "string_too_long":
        return f"At most {context.get('max_length')} characters; shorten this."
    if kind in ("greater_than_equal", "greater_than"):
        word = "at least" if kind == "greater_than_equal" else "more than"
        return f"Enter {word} {context.get('ge', context.get('gt'))}."
    if kind in ("less_than_equal", "less_than"):
        word = "at most" if kind == "less_than_equal" else "less than"
        return f"Enter {word} {context.get('le', context.get('lt'))}."
    if kind == "decimal_max_places":
        return f"At most {context.get('decimal_places')} decimals."
    if kind == "string_pattern_mismatch":
        return "This is not in the expected form; see the help under the field."
    return detail["msg"].removeprefix("Value error, ").rstrip(".") + "."
