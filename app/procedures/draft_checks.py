"""What is still wrong with a draft: the checks of the import, told with the step and the field they belong to.

The sense of a draft is checked even while it has gaps: they are filled with stand-ins, and what is found only
because of a stand-in is left out.
"""

from collections.abc import Collection, Mapping
from copy import deepcopy
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from pydantic import ValidationError

from app.procedures.draft_fields import field_name
from app.procedures.words import remedy_for, words_for
from app.rules.draft_documents import Document, rows
from app.rules.precedence import cycles, predecessors
from app.rules.sheet import Sheet
from app.rules.sheet_check import Where, check_sheet
from app.rules.sheet_difference import LABELS

_ROUNDS = 8
_GAP = "GAP"


@dataclass(frozen=True)
class DraftProblem:
    """One thing to mend. ``part`` is 'head', 'tests' or 'steps'; ``step`` the id of the step it belongs to.

    ``field`` is the form field on that part's or step's page.
    """

    part: str
    step: str | None
    place: str
    field: str
    message: str
    remedy: str


@dataclass(frozen=True)
class Looked:
    """A draft as it was looked at: the sheet when it is sound, one with stand-ins to draw, what is wrong."""

    sheet: Sheet | None
    drawable: Sheet | None
    problems: tuple[DraftProblem, ...]

    def beside(self, part: str, step: str | None = None) -> dict[str, str]:
        """Return messages by field for one page of the draft."""
        found: dict[str, str] = {}
        for problem in self.problems:
            if problem.part == part and problem.step == step:
                found.setdefault(problem.field, f"{problem.message} {problem.remedy}")
        return found


def whole(document: Document, number: int) -> dict[str, Any]:
    """Return a draft's document as a procedure file of this revision number would have it."""
    return {"countback": 1, **{k: v for k, v in document.items() if k != "countback"}, "revision": number}


def look(document: Document, number: int, known_parts: Collection[str] | None) -> Looked:
    """Check a draft as it would be published under this number; never raises."""
    data = whole(document, number)
    try:
        sheet = Sheet.model_validate(data)
    except ValidationError as error:
        details = _told_errors(error)
        gaps = [tuple(detail["loc"]) for detail in details]
        drawable = _with_stand_ins(data)
        problems = [_told(document, gap, *_shape_words(data, d, gap)) for d, gap in zip(details, gaps, strict=True)]
        if drawable is not None:
            problems += [
                _told(document, finding.where, finding.message, finding.remedy)
                for finding in check_sheet(drawable, known_parts)
                if not _of_a_gap(finding.where, finding.message, gaps)
            ]
        return Looked(None, drawable, tuple(sorted(problems, key=lambda p: _order(document, p))))
    findings = check_sheet(sheet, known_parts)
    problems = [_told(document, f.where, f.message, f.remedy) for f in findings]
    return Looked(None if findings else sheet, sheet, tuple(sorted(problems, key=lambda p: _order(document, p))))


def _told_errors(error: ValidationError) -> list[Any]:
    """Return the errors without the echo that a list whose every row has a gap gives: it counts as empty then."""
    return [
        detail
        for detail in error.errors(include_url=False)
        if not (detail["type"] == "too_short" and isinstance(detail.get("input"), list | tuple) and detail["input"])
    ]


# What a row of each list is called where one of its fields is missing.
_ROWS: Mapping[str, str] = {
    "units": "unit", "tools": "tool", "cautions": "caution", "releases": "fixing", "hazards": "hazard",
    "inspect": "inspection", "fits": "new part", "release_tests": "release test",
}  # fmt: skip


def _row_words(data: Mapping[str, Any], where: Where) -> str:
    """Name the row that a field belongs to, such as ' of the unit Main board'; empty for a field of a step itself."""
    if where[0] == "device_model" and len(where) > 1:
        return " of the device"
    holder: Any = data
    words = ""
    for part, after in zip(where, (*where[1:], None), strict=True):
        holder = holder.get(part) if isinstance(holder, Mapping) else holder[part]
        if (
            isinstance(after, int)
            and isinstance(part, str)
            and part in _ROWS
            and isinstance(holder, list | tuple)
            and after < len(holder)
        ):
            row = holder[after]
            name = row.get("name") or row.get("title") if isinstance(row, Mapping) else None
            words = f" of the {_ROWS[part]} {name}" if name else f" of {_ROWS[part]} {after + 1}"
        if holder is None:
            break
    return words


def _shape_words(data: Mapping[str, Any], detail: Any, where: Where) -> tuple[str, str]:
    names = [part for part in where if isinstance(part, str)]
    name = LABELS.get(names[-1], names[-1]) if names else "The draft"
    if names and names[-1] == "on_reject":
        name = "What is done on a reject"
    if "refit" in names[:-1]:
        name = f"{name} of the refit"
    if detail["type"] == "missing" or detail["type"] == "too_short":
        return f"{name}{_row_words(data, where)} is missing.", "Fill it in." if where[-1] not in (
            "steps",
            "units",
        ) else "Add one."
    return words_for(detail, name), remedy_for(detail, name)


def _of_a_gap(where: Where, message: str, gaps: Collection[Where]) -> bool:
    if _GAP in message or "“gap" in message:
        return True
    for gap in gaps:
        if where[: len(gap)] == gap or gap[: len(where)] == where:
            return True
        if where and where[-1] == "places" and gap == (*where[:-1], "count"):
            return True
    return False


def _told(document: Document, where: Where, message: str, remedy: str) -> DraftProblem:
    if where and where[0] == "steps" and len(where) > 1 and isinstance(where[1], int):
        steps = rows(document, "steps")
        if where[1] < len(steps):
            step = steps[where[1]]
            place = f"Step {where[1] + 1}, {step.get('title') or 'no title yet'}"
            return DraftProblem("steps", str(step.get("id")), place, field_name(where[2:]), message, remedy)
    if where and where[0] == "release_tests":
        return DraftProblem("tests", None, "Release tests", field_name(where), message, remedy)
    if where and where[0] == "steps":
        return DraftProblem("steps", None, "Steps", "steps", message, remedy)
    return DraftProblem("head", None, "Heading", field_name(where), message, remedy)


def _order(document: Document, problem: DraftProblem) -> tuple[int, int]:
    if problem.part == "head":
        return (0, 0)
    if problem.part == "tests":
        return (2, 0)
    ids = [str(step.get("id")) for step in rows(document, "steps")]
    return (1, ids.index(problem.step) if problem.step in ids else -1)


def _with_stand_ins(data: Mapping[str, Any]) -> Sheet | None:
    """Return the draft with its gaps filled, None when even that gives no sheet."""
    filled = deepcopy(dict(data))
    for _ in range(_ROUNDS):
        try:
            return Sheet.model_validate(filled)
        except ValidationError as error:
            for number, detail in enumerate(_told_errors(error)):
                _mend(filled, tuple(detail["loc"]), detail["type"], number)
    return None


def _mend(filled: Any, where: Where, kind: str, number: int) -> None:
    holder = filled
    for part in where[:-1]:
        try:
            holder = holder[part]
        except (KeyError, IndexError, TypeError):
            return
    name = where[-1]
    if isinstance(holder, list) and isinstance(name, int) and name < len(holder):
        row = isinstance(where[-2], str) and where[-2] not in ("after", "tools", "exchanged", "steps", "kinds")
        holder[name] = {} if row or len(where) == 2 else f"gap-{number}"
        return
    if not isinstance(holder, dict) or not isinstance(name, str):
        return
    if kind == "extra_forbidden":
        holder.pop(name, None)
        return
    stand_in = _stand_in(where, name, number)
    if stand_in is None:
        holder.pop(name, None)
    else:
        holder[name] = stand_in


_STAND_INS: Mapping[str, Any] = {
    "count": 1, "reuse": "reusable", "waste": "residual", "signal": "NOTICE", "symbol": "general",
    "identifier": "serial", "time_s": 0, "press_s": 0, "cure_s": 0, "code": "gap", "value_ncm": Decimal(1),
    "x": Decimal(0), "y": Decimal(0), "from_s": Decimal(0), "to_s": Decimal(1), "video": "gap",
    "on_reject": {"say": "-"}, "due": {"always": True},
    "device_model": {"code": "gap", "name": "-", "kind": "-"},
    "units": [{"id": "gap", "name": "-", "part": _GAP}],
    "steps": [{"id": "gap", "title": "-", "do": "-", "time_s": 0}],
}  # fmt: skip
_WORDS = frozenset(
    ("title", "do", "name", "ask", "say", "hazard", "consequence", "avoidance", "source", "written_by", "summary")
)


def _stand_in(where: Where, name: str, number: int) -> Any:
    """Return what stands in for a value; None when the key can go."""
    if name == "id":
        return f"gap-{number}"
    if name in _WORDS:
        return "-"
    if name == "kind":
        return {"releases": "screw", "device_model": "-"}.get(str(where[-3] if len(where) > 2 else where[0]), "accept")
    if name == "part":
        return None if len(where) > 2 and where[-3] == "releases" else _GAP
    if name == "steps" and "due" in where:
        return None
    return deepcopy(_STAND_INS.get(name))


def without_circles(sheet: Sheet) -> tuple[Sheet, bool]:
    """Return a sheet whose steps can be ordered, so that it can be drawn; True when a need was left out for it."""
    cut = False
    for _ in range(len(sheet.steps)):
        found = cycles(predecessors(sheet.steps))
        if not found:
            return sheet, cut
        cut = True
        dropped = {(circle[0], circle[-1]) for circle in found}
        steps = tuple(
            step.model_copy(update={"after": tuple(b for b in step.after if (step.id, b) not in dropped)})
            for step in sheet.steps
        )
        sheet = sheet.model_copy(update={"steps": steps})
    return sheet, cut
