"""How easy a device is to repair, by unit and as an index, with its parts, its sources and its limits."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import Any

from sqlmodel import Session

from app.people import queries as people
from app.platform.forms import Form, blank
from app.procedures import queries
from app.procedures.pages.faults import newest, reachable
from app.procedures.queries import ModelInfo, RevisionInfo
from app.procedures.queries.facts import EnteredFacts, entered_facts
from app.rules.ease_of_repair import (
    LIMITS,
    PART_WEIGHTS,
    Facts,
    FastenerClass,
    Index,
    PriorityPart,
    UnitEase,
    repair_index,
    units_ease,
)
from app.rules.sheet import Sheet
from app.rules.tool_classes import ToolAccess, usual_access
from app.rules.verdict import Refused

SCORES = ("spare_parts", "updates", "information")


@dataclass(frozen=True)
class UnitLine:
    """One unit: how far down, what comes off by class, the tools on the way by class, its own three scores."""

    name: str
    steps: int
    depth: int
    fixings: tuple[int, int, int]
    tools: tuple[tuple[str, str], ...]
    tool_class: str
    scores: tuple[int, int, int]
    part: str


@dataclass(frozen=True)
class PartLine:
    """A priority part in the index: what stands for it, its weight in per cent, its scores; None where nothing does."""

    name: str
    units: str
    weight: int
    scores: tuple[int, int, int] | None


@dataclass(frozen=True)
class ToolLine:
    """A tool and how it can be had: ``guess`` is what its name says, ``chosen`` what was entered, if anything."""

    id: str
    name: str
    guess: str
    chosen: str


@dataclass(frozen=True)
class EasePage:
    """The page. ``index`` is None until the facts are entered; ``problem`` says why it cannot be worked out."""

    info: RevisionInfo
    model: ModelInfo
    units: tuple[UnitLine, ...]
    tools: tuple[ToolLine, ...]
    index: Index | None
    parts: tuple[PartLine, ...]
    form: Form[Any]
    unit_ids: tuple[tuple[str, str], ...]
    parts_offered: tuple[tuple[str, str], ...]
    access_offered: tuple[tuple[str, str], ...]
    version: int
    entered_at: datetime | None
    entered_by: str
    problem: str
    limits: str = LIMITS


def facts_of(entered: Mapping[str, Any]) -> Facts | None:
    """Return the facts as the rules take them; None before the three scores and a part are entered. Raises Refused."""
    scores = [Decimal(str(entered.get(name) or 0)) for name in SCORES]
    if not all(scores) or not entered.get("parts"):
        return None
    return Facts(
        parts={unit: PriorityPart(part) for unit, part in entered["parts"].items()},
        tools={tool: ToolAccess(how) for tool, how in entered.get("tools", {}).items()},
        resupplied=frozenset(entered.get("resupplied", ())),
        spare_parts=scores[0],
        updates=scores[1],
        information=scores[2],
    )


def read_facts(sheet: Sheet, values: Mapping[str, str]) -> dict[str, Any]:
    """Read the posted facts: ``part-<unit>``, ``tool-<tool>``, three scores, part numbers. Raises Refused."""
    parts = {unit: values.get(f"part-{unit}", "") for unit, _name in reachable(sheet)}
    tools = {tool.id: values.get(f"tool-{tool.id}", "") for tool in sheet.tools}
    found: dict[str, Any] = {
        "parts": {unit: PriorityPart(part).value for unit, part in parts.items() if part in list(PriorityPart)},
        "tools": {tool: ToolAccess(how).value for tool, how in tools.items() if how in list(ToolAccess)},
        "resupplied": sorted(set(values.get("resupplied", "").upper().replace(",", " ").split())),
    }
    for name in SCORES:
        typed = values.get(name, "").replace(",", ".")
        try:
            score = Decimal(typed)
        except InvalidOperation as error:
            raise Refused("Enter a score from 1 to 5.", name) from error
        if not score.is_finite() or not 1 <= score <= 5 or score != round(score, 2):
            raise Refused("Enter a score from 1 to 5, with two decimals at most.", name)
        found[name] = str(score)
    if not found["parts"]:
        raise Refused("Say for at least one unit which part of the device it is.", "parts")
    facts_of(found)
    return found


def ease_page(session: Session, code: str, form: Form[Any] | None = None) -> EasePage:
    """Build the page of the newest revision of a procedure."""
    info = newest(session, code)
    sheet = queries.sheet(session, info.id)
    entered = entered_facts(session, info.procedure_id)
    index, problem, facts = _index(sheet, entered)
    names = dict(reachable(sheet))
    ease = units_ease(sheet, facts)
    chosen = entered.facts.get("tools", {})
    return EasePage(
        info=info,
        model=queries.device_model(session, info.device_model_id),
        units=tuple(_unit_line(sheet, one, names, facts) for one in ease),
        tools=tuple(
            ToolLine(t.id, f"{t.name} {t.size or ''}".strip(), usual_access(t).value, chosen.get(t.id, ""))
            for t in sheet.tools
        ),
        index=index,
        parts=_part_lines(index, names),
        form=form or _prefilled(entered.facts),
        unit_ids=tuple(names.items()),
        parts_offered=tuple((part.value, part.value.capitalize()) for part in PriorityPart),
        access_offered=tuple((how.value, f"{how.value.capitalize()} ({how.en_class})") for how in ToolAccess),
        version=entered.version,
        entered_at=entered.entered_at,
        entered_by=people.names(session).get(entered.entered_by or 0, ""),
        problem=problem,
    )


def _index(sheet: Sheet, entered: EnteredFacts) -> tuple[Index | None, str, Facts | None]:
    try:
        facts = facts_of(entered.facts)
        return (repair_index(sheet, facts) if facts else None), "", facts
    except (Refused, ValueError) as fault:
        # A later revision may have lost a unit that the facts name.
        return None, getattr(fault, "reason", "") or "The facts entered do not fit this revision.", None


def _prefilled(entered: Mapping[str, Any]) -> Form[Any]:
    values = {name: entered.get(name, "") for name in SCORES}
    values |= {f"part-{unit}": part for unit, part in entered.get("parts", {}).items()}
    values |= {f"tool-{tool}": how for tool, how in entered.get("tools", {}).items()}
    values["resupplied"] = " ".join(entered.get("resupplied", ()))
    return blank(**values)


def _unit_line(sheet: Sheet, one: UnitEase, names: Mapping[str, str], facts: Facts | None) -> UnitLine:
    tools = {tool.id: f"{tool.name} {tool.size or ''}".strip() for tool in sheet.tools}
    kinds = (FastenerClass.REUSABLE, FastenerClass.REMOVABLE, FastenerClass.NEITHER)
    counts = [one.fixings[kind] for kind in kinds]
    return UnitLine(
        name=names[one.unit],
        steps=one.steps,
        depth=one.depth,
        fixings=(counts[0], counts[1], counts[2]),
        tools=tuple((tools.get(tool, tool), how.en_class) for tool, how in one.tools.items()),
        tool_class=one.tool_class,
        scores=(one.depth_score, one.fastener_score, one.tool_score),
        part=facts.parts[one.unit].value if facts and one.unit in facts.parts else "",
    )


def _part_lines(index: Index | None, names: Mapping[str, str]) -> tuple[PartLine, ...]:
    if index is None:
        return ()
    found = {one.part: one for one in index.parts}
    lines = []
    for part in PriorityPart:
        one = found.get(part)
        units = ", ".join(names.get(unit, unit) for unit in one.units) if one else ""
        scores = (one.depth, one.fasteners, one.tools) if one else None
        lines.append(PartLine(part.value.capitalize(), units, int(PART_WEIGHTS[part] * 100), scores))
    return tuple(lines)
