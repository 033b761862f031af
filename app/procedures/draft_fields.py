"""A draft's rows as form fields and back: a field is named by its path, such as ``releases-0-part``.

Which fields there are follows from the models of the step sheet. Whatever is typed is kept: a number that is none
stays as text in the draft, and the check says so beside its field.
"""

import re
from collections.abc import Collection, Iterator, Mapping
from decimal import Decimal
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel

from app.platform.forms import RawForm
from app.rules.draft_documents import part_of, provisional_id, rows, words
from app.rules.sheet import Place

Kind = Literal["text", "whole", "number", "flag", "words", "model", "rows", "places"]
_WHOLE = re.compile(r"-?[0-9]{1,9}")
_MOST_ROWS = 200


def kind_of(annotation: Any) -> tuple[Kind, type[BaseModel] | None]:
    """Return what kind of field a model's annotation makes, with the model inside it if there is one."""
    origin = get_origin(annotation)
    if origin is Annotated:
        return kind_of(get_args(annotation)[0])
    if origin in (Union, UnionType):
        return kind_of(next(a for a in get_args(annotation) if a is not type(None)))
    if origin is tuple:
        inner = get_args(annotation)[0]
        if inner is Place:
            return "places", None
        if isinstance(inner, type) and issubclass(inner, BaseModel):
            return "rows", inner
        return "words", None
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return "model", annotation
    plain: dict[Any, Kind] = {bool: "flag", int: "whole", Decimal: "number"}
    return plain.get(annotation, "text"), None


def fill(
    model: type[BaseModel], data: Mapping[str, Any], prefix: str = ""
) -> tuple[dict[str, str], dict[str, tuple[str, ...]]]:
    """Return the values of all fields and the chosen words of the many-choice ones."""
    values: dict[str, str] = {}
    lists: dict[str, tuple[str, ...]] = {}
    for name, info in model.model_fields.items():
        kind, inner = kind_of(info.annotation)
        at, given = f"{prefix}{name}", data.get(name)
        if kind == "flag":
            values[at] = "yes" if (info.default if given is None else given) is True else ""
        elif kind == "words":
            lists[at] = tuple(words(data, name))
        elif kind == "places":
            values[at] = "\n".join(f"{row.get('x', '')} {row.get('y', '')}" for row in rows(data, name))
        elif inner is not None:
            parts = [(f"{at}-", part_of(data, name))]
            if kind == "rows":
                parts = [(f"{at}-{index}-", row) for index, row in enumerate(rows(data, name))]
            for before, row in parts:
                more, chosen = fill(inner, row, before)
                values |= more
                lists |= chosen
        elif given is not None:
            values[at] = str(given)
    return values, lists


def read(
    model: type[BaseModel], raw: RawForm, old: Mapping[str, Any], prefix: str = "", only: Collection[str] | None = None
) -> dict[str, Any]:
    """Return a row as the form has it; keys that are not among ``only`` stay as they were."""
    found = {name: value for name, value in old.items() if only is not None and name not in only}
    for name, info in model.model_fields.items():
        if only is not None and name not in only:
            continue
        value = _value(info.annotation, raw, old, f"{prefix}{name}", name)
        # What has its usual value is not written down, as in a procedure file.
        if value not in (None, "", [], {}) and value != info.default:
            found[name] = value
    # The order of the model is the order in a file, whatever was there before.
    return {name: found[name] for name in (*model.model_fields, *found) if name in found}


def _value(annotation: Any, raw: RawForm, old: Mapping[str, Any], at: str, name: str) -> Any:
    kind, inner = kind_of(annotation)
    if kind == "flag":
        return raw.get(at) == "yes"
    if kind == "words":
        return list(dict.fromkeys(word.strip() for word in raw.all(at) if word.strip() and "\0" not in word))
    if kind == "places":
        return _places(raw.get(at))
    if kind == "model" and inner is not None:
        return {} if raw.get(f"{at}-remove") else read(inner, raw, part_of(old, name), f"{at}-")
    if kind == "rows" and inner is not None:
        return list(_rows(inner, raw, rows(old, name), at))
    # PostgreSQL stores no zero byte, and no author means one.
    text = raw.get(at).replace("\r\n", "\n").replace("\0", "")
    if kind == "whole":
        return int(text) if _WHOLE.fullmatch(text) else text
    return text.replace(",", ".") if kind == "number" else text


def _rows(model: type[BaseModel], raw: RawForm, old: list[dict[str, Any]], at: str) -> Iterator[dict[str, Any]]:
    pattern = re.compile(re.escape(at) + r"-([0-9]{1,4})-")
    numbers = sorted({int(found.group(1)) for name in raw.fields if (found := pattern.match(name))})
    known = {row.get("id"): row for row in old if row.get("id")}
    kept: list[dict[str, Any]] = []
    for number in numbers[:_MOST_ROWS]:
        if raw.get(f"{at}-{number}-remove"):
            continue
        before = known.get(raw.get(f"{at}-{number}-id"), {})
        row = read(model, raw, before, f"{at}-{number}-")
        if not _is_filled(model, row):
            continue
        if "id" in model.model_fields and not row.get("id"):
            row = {"id": provisional_id([*old, *kept]), **row}
        kept.append(row)
        yield row


def _is_filled(model: type[BaseModel], row: Mapping[str, Any]) -> bool:
    """Whether anybody wrote anything into a row: ids and usual choices do not count."""
    return any(
        value is not True and value != model.model_fields[name].default
        for name, value in row.items()
        if name != "id" and name in model.model_fields
    )


def _places(text: str) -> list[dict[str, str]]:
    """Read one place a line, its two fractions apart by spaces; what is no pair is kept for the check to tell."""
    found = []
    for line in text.replace("\0", "").splitlines()[:_MOST_ROWS]:
        numbers = line.replace(";", " ").split()
        if len(numbers) == 1:
            numbers = numbers[0].split(",") if numbers[0].count(",") == 1 else numbers
        if numbers:
            x, y = numbers[0].strip(","), " ".join(numbers[1:])
            found.append({"x": x.replace(",", "."), "y": y.replace(",", ".")})
    return found


def field_name(where: Collection[str | int]) -> str:
    """Return the name of the field at a path within its row."""
    parts = [str(part) for part in where]
    # Places are one field: a wrong one is told beside all of them.
    if "places" in parts:
        parts = parts[: parts.index("places") + 1]
    return "-".join(parts)
