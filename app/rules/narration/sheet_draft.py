"""A draft as plain data in the shape of a procedure file, and the questions that stand between it and one."""

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any, Final

from app.rules.narration.shapes import Draft, DraftFixing, DraftStep, Verb, Words
from app.rules.narration.sheet_sides import Asked, hazards_of, refit_of, torque_of
from app.rules.narration.wordlist import words
from app.rules.sheet import FixingKind, ReuseClass
from app.rules.verdict import Refused

Path = tuple[str | int, ...]
"""Keys and indices from the top of the document, such as ``("steps", 3, "releases", 0, "count")``."""

_CODE: Final = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")
_NOT_CODE: Final = re.compile(r"[^a-z0-9]+")
_LONGEST_CODE: Final = 48
_LONGEST_TEXT: Final = 2000
_WASTE: Final = {FixingKind.SCREW: "metal", FixingKind.SHIELD: "metal", FixingKind.CABLE: "electronic"}
_CELLS: Final = frozenset({"cell", "battery"})
_IDLE: Final = words("the a an of off out on in with from by and then at to up")


@dataclass(frozen=True, slots=True)
class Open:
    """One thing to fill in: where in the document, the words it comes from if there are any, and what is asked."""

    path: Path
    words: Words | None
    question: str


@dataclass(frozen=True, slots=True)
class SheetDraft:
    """``document`` has the shape of a procedure file as far as known; ``questions`` tells what is missing in it."""

    document: dict[str, Any]
    questions: tuple[Open, ...]


def to_sheet_draft(
    draft: Draft,
    *,
    code: str,
    title: str,
    model: str | None = None,
    kind: str | None = None,
    written_by: str | None = None,
) -> SheetDraft:
    """Return the document and its open questions; Refused for a code or title that no procedure can have.

    Nothing is made up: a count, part number or time that was not said is left out and asked for. The time of the
    recording is not the step's time, for narrating takes longer than doing.
    """
    if not _CODE.fullmatch(code) or len(code) > _LONGEST_CODE:
        raise Refused("A code has small letters, digits and single hyphens, at most 48 characters.", "code")
    if not title.strip() or len(title.strip()) > 120:
        raise Refused("A title has between 1 and 120 characters.", "title")
    if not draft.steps:
        raise Refused("No step was found in these words, so there is nothing to draft from.")
    maker = _Document(draft.source.name)
    device = {"code": code, "name": model or title.strip()[:120], "kind": kind}
    steps = [maker.step(index, step) for index, step in enumerate(draft.steps)]
    document: dict[str, Any] = {
        "countback": 1,
        "code": code,
        "title": title.strip(),
        "revision": 1,
        "device_model": {name: value for name, value in device.items() if value is not None},
        "written_by": written_by,
        "summary": " ".join(draft.preamble.text.split())[:_LONGEST_TEXT] if draft.preamble else None,
        "units": maker.units,
        "tools": maker.tools,
        "steps": steps,
    }
    asked = [
        Open((name,), None, question)
        for name, question in (
            ("written_by", "Who wrote this procedure?"),
            ("summary", "What is the device like, in two sentences?"),
        )
        if document[name] is None
    ]
    if kind is None:
        asked.append(Open(("device_model", "kind"), None, "What kind of device is it?"))
    if not maker.units:
        asked.append(Open(("units",), None, "Which unit does this procedure reach? No step frees one."))
    asked += [
        Open(
            ("steps",),
            words,
            f"“{' '.join(words.text.split())}” was told for the refit. Which step does it belong to?",
        )
        for words in draft.refit_left
    ]
    document = {name: value for name, value in document.items() if value is not None}
    return SheetDraft(document, tuple(asked + maker.questions))


class _Document:
    """Collects units, tools and questions while steps are written."""

    def __init__(self, source: str) -> None:
        self._source = source
        self.units: list[dict[str, Any]] = []
        self.tools: list[dict[str, Any]] = []
        self.questions: list[Open] = []
        self._step_ids: dict[str, int] = {}
        self._unit_ids: dict[str, int] = {}
        self._ids: list[str] = []

    def ask(self, path: Path, words: Words | None, question: str) -> None:
        """Note an open question."""
        self.questions.append(Open(path, words, question))

    def step(self, index: int, step: DraftStep) -> dict[str, Any]:
        """Return one step."""
        path: Path = ("steps", index)
        step_id = _free(_code(step.title, "step"), self._step_ids)
        self._ids.append(step_id)
        done: dict[str, Any] = {"id": step_id, "title": step.title[:120] or step.verb.value.capitalize()}
        if len(step.text) > _LONGEST_TEXT:
            self.ask((*path, "do"), step.words, "The words of this step are too long for a sheet. Which belong to it?")
        done["do"] = step.text[:_LONGEST_TEXT].strip()
        if step.after:
            done["after"] = [self._ids[before] for before in step.after]
        if step.question:
            self.ask(path, step.words, step.question)
        if step.loosen:
            self.ask((*path, "after"), step.words, f"{step.loosen} Keep the order?")
        hazards, asked = hazards_of(step)
        if hazards:
            done["hazards"] = hazards
        self._ask_all(path, asked)
        tools = self._tools(path, step)
        if tools:
            done["tools"] = tools
        if step.fixings:
            taken: dict[str, int] = {}
            done["releases"] = [
                self._fixing((*path, "releases", number), fixing, taken) for number, fixing in enumerate(step.fixings)
            ]
            for number, row in enumerate(done["releases"]):
                torque = torque_of(step, number, self._source)
                if torque:
                    row["torque"] = torque
        if step.inspections:
            done["inspect"] = self._inspections(path, step)
        self._frees(path, step, done)
        self.ask((*path, "time_s"), step.words, "How many seconds does this step take?")
        refit, asked = refit_of(step)
        if refit:
            done["refit"] = refit
        self._ask_all(path, asked)
        return done

    def _ask_all(self, path: Path, asked: Iterable[Asked]) -> None:
        for below, said, question in asked:
            self.ask((*path, *below), said, question)

    def _tools(self, path: Path, step: DraftStep) -> list[str]:
        used: list[str] = []
        for tool in (*step.drivers, *step.tools):
            name = tool.name
            tool_id = _code(f"driver-{tool.size}" if tool.size else tool.name, "tool")
            if all(known["id"] != tool_id for known in self.tools):
                entry: dict[str, Any] = {"id": tool_id, "name": name[:1].upper() + name[1:]}
                self.tools.append({**entry, "size": tool.size} if tool.size else entry)
            if tool_id not in used:
                used.append(tool_id)
            if tool.question:
                self.ask((*path, "tools"), tool.words, tool.question)
        if step.verb is Verb.UNFASTEN and not step.drivers and any(f.kind is FixingKind.SCREW for f in step.fixings):
            self.ask((*path, "tools"), step.words, "Which driver do these screws take?")
        return used

    def _fixing(self, path: Path, fixing: DraftFixing, taken: dict[str, int]) -> dict[str, Any]:
        done: dict[str, Any] = {"id": _free(_code(fixing.name, fixing.kind.value), taken), "kind": fixing.kind.value}
        name = f"{fixing.name}, {fixing.place}" if fixing.place else fixing.name
        done["name"] = (name[:1].upper() + name[1:])[:120].strip() or fixing.kind.value.capitalize()
        if fixing.count is not None:
            done["count"] = fixing.count
        if fixing.question:
            about = "count" if "how many" in fixing.question.lower() else "kind"
            self.ask((*path, about), fixing.words, fixing.question)
        if fixing.reuse is not None:
            done["reuse"] = fixing.reuse.value
            if fixing.reuse is ReuseClass.SINGLE_USE:
                self.ask(
                    (*path, "part"),
                    fixing.scrap_words or fixing.words,
                    f"What is the part number of the new {fixing.name}?",
                )
        elif fixing.kind in {FixingKind.SEAL, FixingKind.ADHESIVE}:
            self.ask((*path, "reuse"), fixing.words, f"Does the {fixing.name} go back, or is it used once only?")
        else:
            done["reuse"] = ReuseClass.REUSABLE.value
        if fixing.kind in _WASTE:
            done["waste"] = _WASTE[fixing.kind]
        return done

    def _inspections(self, path: Path, step: DraftStep) -> list[dict[str, Any]]:
        taken: dict[str, int] = {}
        entries = []
        for number, note in enumerate(step.inspections):
            entries.append({"id": _free(_code(note.text, "inspection"), taken), "ask": note.text[:_LONGEST_TEXT]})
            self.ask((*path, "inspect", number, "on_reject"), note.words, f"“{note.text}” What is done when it fails?")
        return entries

    def _frees(self, path: Path, step: DraftStep, done: dict[str, Any]) -> None:
        for number, unit in enumerate(step.frees):
            unit_id = _code(unit.name, "unit")
            if unit_id in self._unit_ids:
                self.ask(
                    (*path, "frees"), unit.words, f"“{unit.words.text}” is lifted out in two steps. Which one frees it?"
                )
                continue
            if number:
                self.ask(
                    (*path, "frees"),
                    unit.words,
                    f"This step also frees “{unit.words.text}”. Make it a step of its own?",
                )
                continue
            if unit.question:
                self.ask((*path, "frees"), unit.words, unit.question)
            self._unit_ids[unit_id] = 1
            done["frees"] = unit_id
            entry = {"id": unit_id, "name": unit.name[:1].upper() + unit.name[1:]}
            if _CELLS & set(unit_id.split("-")):
                entry["waste"] = "cell"
            self.ask(("units", len(self.units), "part"), unit.words, f"What is the part number of the new {unit.name}?")
            self.units.append(entry)


def _code(text: str, otherwise: str) -> str:
    """Return a code made of the first telling words of a text."""
    words = [word for word in _NOT_CODE.sub(" ", text.casefold()).split() if word not in _IDLE]
    made = ""
    for word in words[:5]:
        longer = f"{made}-{word}" if made else word
        if len(longer) > 40:
            break
        made = longer
    return made or (words[0][:40] if words else otherwise)


def _free(wanted: str, taken: dict[str, int]) -> str:
    """Return the code, with a number behind it when it is taken."""
    taken[wanted] = taken.get(wanted, 0) + 1
    if taken[wanted] == 1:
        return wanted
    numbered = f"{wanted}-{taken[wanted]}"
    while numbered in taken:
        taken[wanted] += 1
        numbered = f"{wanted}-{taken[wanted]}"
    taken[numbered] = 1
    return numbered
