"""The procedure file: read with line numbers, checked, written again; and the schema of its shape.

A file is YAML with a plain subset: no tags, no anchors and aliases, no repeated keys. ``yes`` and ``no`` are words;
only ``true`` and ``false`` are answers, and a number keeps all its digits.
"""

import re
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from decimal import Decimal
from enum import Enum
from typing import Any, NoReturn

import yaml
from pydantic import ValidationError

from app.platform.errors import Refused
from app.procedures.words import remedy_for, words_for
from app.rules.sheet import Sheet
from app.rules.sheet_check import Where, check_sheet

MAX_BYTES = 2 * 1024 * 1024
MAX_DEPTH = 30
_LOADER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_INTEGER = re.compile(r"[-+]?[0-9]{1,18}")
_DECIMAL = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]{1,3})?")
_PLAIN = {"": None, "~": None, "null": None, "true": True, "false": False}


@dataclass(frozen=True)
class Problem:
    """One thing that keeps a file from being imported: where it is, what is wrong, what to do."""

    file: str
    line: int | None
    step: str | None
    message: str
    remedy: str

    def __str__(self) -> str:
        place = self.file
        if self.line is not None:
            place += f", line {self.line}"
        if self.step is not None:
            place += f", step “{self.step}”"
        return f"{place}: {self.message} {self.remedy}"


class ImportRefused(Refused):
    """Nothing was imported; ``problems`` says why."""

    def __init__(self, problems: Collection[Problem]) -> None:
        self.problems = tuple(problems)
        more = len(self.problems) - 1
        tail = f" And {more} more." if more > 0 else ""
        super().__init__(f"Nothing was imported. {self.problems[0]}{tail}")


class Located:
    """Plain data of a YAML file, and the line each value stands on."""

    def __init__(self, data: Any, lines: Mapping[Where, int]) -> None:
        self.data = data
        self._lines = lines

    def line(self, where: Where) -> int | None:
        """Return the line of a value, or of the nearest thing around it that is in the file."""
        for end in range(len(where), -1, -1):
            found = self._lines.get(where[:end])
            if found is not None:
                return found
        return None

    def step(self, where: Where) -> str | None:
        """Return the id of the step that a path is in."""
        if len(where) < 2 or where[0] != "steps" or not isinstance(where[1], int):
            return None
        try:
            name = self.data["steps"][where[1]]["id"]
        except (KeyError, IndexError, TypeError):
            return None
        return name if isinstance(name, str) else None


def decode(file: str, body: bytes) -> str:
    """Return the text of an uploaded file; ImportRefused when it is too large or not UTF-8 text."""
    if len(body) > MAX_BYTES:
        _refuse(file, None, "The file is larger than 2 MB.", "A procedure is text; check that this is the right file.")
    if body.startswith((b"\xff\xfe", b"\xfe\xff")):
        _refuse(file, None, "The file is written in UTF-16.", "Save it again as UTF-8.")
    if b"\0" in body:
        _refuse(file, None, "The file is not text.", "Choose the procedure's YAML file or its SVG drawings.")
    try:
        return body.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = body[: error.start].count(b"\n") + 1
        _refuse(file, line, "The file is not UTF-8 text.", "Save it again as UTF-8.")


def _refuse(file: str, line: int | None, message: str, remedy: str, step: str | None = None) -> NoReturn:
    raise ImportRefused([Problem(file, line, step, message, remedy)])


def read_yaml(file: str, text: str) -> Located:
    """Read YAML into plain data with line numbers; ImportRefused with the line for all that is not plain.

    Works on the parser's events without recursion, so neither aliases nor deep nesting can make it swell.
    """
    if len(text.encode()) > MAX_BYTES:
        decode(file, text.encode())
    builder = _Builder(file)
    try:
        for event in yaml.parse(text, Loader=_LOADER):
            builder.take(event)
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None) or getattr(error, "context_mark", None)
        said = getattr(error, "problem", None) or getattr(error, "reason", None) or "not readable"
        line = mark.line + 1 if mark is not None else None
        _refuse(file, line, f"This is not readable as YAML: {said}.", "Mind indents, colons and quotes here.")
    if builder.problems:
        raise ImportRefused(builder.problems)
    return Located(builder.root, builder.lines)


@dataclass
class _Open:
    """A mapping or sequence that is being read; ``key`` is the key that waits for its value."""

    value: dict[str, Any] | list[Any]
    where: Where
    key: str | None = None


class _Builder:
    """Builds plain data from YAML events, with the line of every path."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.root: Any = None
        self.lines: dict[Where, int] = {}
        self.problems: list[Problem] = []
        self._open: list[_Open] = []
        self._documents = 0

    def take(self, event: Any) -> None:
        """Take one event of the parser."""
        line = event.start_mark.line + 1
        if isinstance(event, yaml.DocumentStartEvent):
            self._documents += 1
            if self._documents > 1:
                _refuse(self.file, line, "A second document begins here.", "Put each procedure in a file of its own.")
        elif isinstance(event, yaml.NodeEvent):
            if event.anchor is not None:
                _refuse(
                    self.file, line, f"The anchor or alias “{event.anchor}” is not taken.", "Write the value out here."
                )
            tag = getattr(event, "tag", None)
            if tag is not None and tag != "!":
                _refuse(self.file, line, f"The tag “{tag}” is not taken.", "Write the plain value.")
            self._node(event, line)
        elif isinstance(event, yaml.MappingEndEvent | yaml.SequenceEndEvent):
            self._open.pop()

    def _node(self, event: Any, line: int) -> None:
        top = self._open[-1] if self._open else None
        if top is not None and isinstance(top.value, dict) and top.key is None:
            self._key(top, event, line)
            return
        where = self._place(top)
        self.lines.setdefault(where, line)
        if isinstance(event, yaml.ScalarEvent):
            self._put(top, _scalar(event))
            return
        if len(self._open) >= MAX_DEPTH:
            _refuse(self.file, line, "The file is nested too deeply.", "Follow the shape of the schema.")
        value: dict[str, Any] | list[Any] = {} if isinstance(event, yaml.MappingStartEvent) else []
        self._put(top, value)
        self._open.append(_Open(value, where))

    def _key(self, top: _Open, event: Any, line: int) -> None:
        if not isinstance(event, yaml.ScalarEvent):
            _refuse(self.file, line, "A key must be a word.", "Follow the shape of the schema.")
        assert isinstance(top.value, dict)
        top.key = str(event.value)
        if top.key in top.value:
            self.problems.append(
                Problem(
                    self.file, line, None, f"The key “{top.key}” stands here a second time.", "Keep one of the two."
                )
            )
        self.lines.setdefault((*top.where, top.key), line)

    def _place(self, top: _Open | None) -> Where:
        if top is None:
            return ()
        if isinstance(top.value, list):
            return (*top.where, len(top.value))
        return (*top.where, top.key or "")

    def _put(self, top: _Open | None, value: Any) -> None:
        if top is None:
            self.root = value
        elif isinstance(top.value, list):
            top.value.append(value)
        else:
            top.value[top.key or ""] = value
            top.key = None


def _scalar(event: Any) -> Any:
    """Return a plain scalar as null, answer, whole number, decimal or word; a quoted one is always a word."""
    text: str = event.value
    if event.style in ("'", '"', "|", ">"):
        return text
    if text in _PLAIN:
        return _PLAIN[text]
    if _INTEGER.fullmatch(text):
        return int(text)
    if _DECIMAL.fullmatch(text):
        return Decimal(text)
    return text


def read_sheet(file: str, text: str, known_parts: Collection[str] | None) -> Sheet:
    """Read, validate and check one procedure file; ImportRefused with every problem found."""
    located = read_yaml(file, text)
    if not isinstance(located.data, dict):
        _refuse(file, 1, "This is not a procedure.", "Begin with “countback: 1” and follow the schema.")
    try:
        sheet = Sheet.model_validate(located.data)
    except ValidationError as error:
        raise ImportRefused(
            [_shape_problem(file, located, detail) for detail in error.errors(include_url=False)]
        ) from error
    findings = check_sheet(sheet, known_parts)
    if findings:
        raise ImportRefused([Problem(file, located.line(f.where), f.step, f.message, f.remedy) for f in findings])
    return sheet


def picture_lines(file: str, text: str, sheet: Sheet) -> dict[str, tuple[int | None, str | None]]:
    """Return where each picture is first named: line and step."""
    located = read_yaml(file, text)
    found: dict[str, tuple[int | None, str | None]] = {}
    if sheet.picture:
        found[sheet.picture] = (located.line(("picture",)), None)
    for index, step in enumerate(sheet.steps):
        if step.picture:
            found.setdefault(step.picture, (located.line(("steps", index, "picture")), step.id))
    return found


def _shape_problem(file: str, located: Located, detail: Any) -> Problem:
    where = tuple(detail["loc"])
    name = str(where[-1]) if where else "the file"
    return Problem(
        file,
        located.line(where),
        located.step(where),
        words_for(detail, name),
        remedy_for(detail, name),
    )


def plain(sheet: Sheet) -> dict[str, Any]:
    """Return a sheet as JSON-ready data, everything written out: what a revision stores."""
    return sheet.model_dump(mode="json")


def essence(sheet: Sheet) -> dict[str, Any]:
    """Return a sheet as JSON-ready data without what has its usual value: what its hash is taken of."""
    return sheet.model_dump(mode="json", exclude_defaults=True)


class _Dumper(yaml.SafeDumper):
    """Writes decimals as plain numbers and long texts folded."""

    def ignore_aliases(self, data: Any) -> bool:
        """Never write an anchor: the reader takes none."""
        return True


def _decimal(dumper: yaml.SafeDumper, value: Decimal) -> yaml.ScalarNode:
    text = format(value, "f")
    return dumper.represent_scalar(f"tag:yaml.org,2002:{'float' if '.' in text else 'int'}", text)


def _word(dumper: yaml.SafeDumper, value: str) -> yaml.ScalarNode:
    # What our reader would take for a number or an answer is quoted; YAML's own resolver does the rest.
    odd = value in _PLAIN or _INTEGER.fullmatch(value) or _DECIMAL.fullmatch(value)
    return dumper.represent_scalar("tag:yaml.org,2002:str", value, style="'" if odd else None)


_Dumper.add_representer(Decimal, _decimal)
_Dumper.add_representer(str, _word)


def write_yaml(sheet: Sheet) -> str:
    """Return a sheet as a procedure file; read again, it is the same sheet."""
    data = _writable(sheet.model_dump(mode="python", exclude_defaults=True))
    return yaml.dump(data, Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=100)


def _writable(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _writable(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [_writable(inner) for inner in value]
    return value.value if isinstance(value, Enum) else value


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a procedure file."""
    schema = Sheet.model_json_schema(mode="validation")
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "Countback procedure",
    }


def as_json(value: Any) -> Any:
    """Return plain data of a file as JSON has it: decimals as text with all their digits."""
    if isinstance(value, dict):
        return {str(key): as_json(inner) for key, inner in value.items()}
    if isinstance(value, list | tuple):
        return [as_json(inner) for inner in value]
    return format(value, "f") if isinstance(value, Decimal) else value


def write_document(document: Mapping[str, Any], number: int) -> str:
    """Return a draft as a procedure file of this revision number; one that is sound reads back as the same sheet."""
    data = {"countback": 1, **{k: v for k, v in document.items() if k not in ("countback", "revision")}}
    data["revision"] = number
    order = [name for name in Sheet.model_fields if name in data]
    ordered = {name: data[name] for name in (*order, *(name for name in data if name not in order))}
    try:
        return write_yaml(Sheet.model_validate(ordered))
    except ValidationError:
        return yaml.dump(_writable(ordered), Dumper=_Dumper, sort_keys=False, allow_unicode=True, width=100)
