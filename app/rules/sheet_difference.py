"""The difference between two procedures, or between a draft and what it began from, in words.

Works on plain data in the shape of a procedure file, so that a draft with gaps can be compared too. Steps, fixings,
inspections, units, tools and tests are known by their ids, parts by their numbers, hazards by their place.
"""

from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, Literal

from app.rules.draft_documents import Document, part_of, rows

What = Literal["added", "removed", "moved", "changed"]


@dataclass(frozen=True)
class FieldChange:
    """One thing that changed: what it is called, and what it was and is; empty when it was not there."""

    label: str
    before: str
    after: str


@dataclass(frozen=True)
class StepChange:
    """A step that is new, gone, elsewhere in the order or other than before; numbers count from 1."""

    id: str
    title: str
    what: What
    before: int | None
    after: int | None
    changes: tuple[FieldChange, ...] = ()


@dataclass(frozen=True)
class Difference:
    """All that differs, the head of the procedure first, then the steps in the order of the newer one."""

    heading: tuple[FieldChange, ...]
    steps: tuple[StepChange, ...]

    @property
    def same(self) -> bool:
        """Whether nothing differs."""
        return not self.heading and not self.steps

    def said(self, most: int = 8) -> tuple[str, ...]:
        """Return the difference as short sentences, at most so many."""
        found = [f"{change.label}: {change.before or '—'} → {change.after or '—'}" for change in self.heading]
        for step in self.steps:
            name = f"“{step.title}”"
            if step.what in ("added", "removed"):
                found.append(f"Step {name} {step.what}")
            elif step.what == "moved":
                found.append(f"Step {name} moved from {step.before} to {step.after}")
            found += [f"{name}, {c.label.lower()}: {c.before or '—'} → {c.after or '—'}" for c in step.changes]
        return tuple(found[:most]) + ((f"{len(found) - most} more",) if len(found) > most else ())


LABELS: Final[Mapping[str, str]] = {
    "code": "Code", "title": "Title", "device_model": "Device model", "name": "Name", "kind": "Kind",
    "identifier": "Identifier", "has_cell": "Has a cell", "ingress": "Ingress code", "written_by": "Written by",
    "summary": "Summary", "picture": "Picture", "units": "Unit", "cautions": "Caution", "tools": "Tool",
    "release_tests": "Release test", "do": "Instructions", "after": "Needs first", "hazards": "Hazard",
    "releases": "Fixing", "inspect": "Inspection", "frees": "Frees", "time_s": "Time", "refit": "Refit",
    "count": "Count", "reuse": "Reuse class", "part": "Part", "torque": "Torque", "waste": "Waste stream",
    "places": "Places", "value_ncm": "Value", "source": "Source", "signal": "Signal word", "symbol": "Symbol",
    "hazard": "Hazard", "consequence": "Consequence", "avoidance": "Avoidance", "ask": "Question", "of": "Of",
    "unit": "Measured in", "low": "At least", "high": "At most", "on_reject": "If it fails", "say": "What to do",
    "add": "New part", "hold": "Safety hold", "fits": "New part", "press_s": "Press", "cure_s": "Cure",
    "closes": "Closes a cavity", "second_person": "Second person signs", "due": "Due", "always": "On every job",
    "exchanged": "If exchanged", "steps": "If done", "kinds": "If released", "serial_tracked": "Serial noted",
    "size": "Size", "clip": "Clip", "video": "Recording", "from_s": "From", "to_s": "To",
}  # fmt: skip
_HEAD: Final = (
    "code", "title", "device_model", "written_by", "summary", "picture", "units", "cautions", "tools", "release_tests",
)  # fmt: skip
_USUAL: Final[Mapping[str, object]] = {
    "waste": "residual", "symbol": "general", "kind": "accept", "identifier": "serial", "press_s": 0, "cure_s": 0,
}  # fmt: skip


def difference(old: Document, new: Document) -> Difference:
    """Return what a reader of the old one must know of the new one. The revision number is left out."""
    names = _Names(old, new)
    heading = [change for name in _HEAD for change in _field(names, name, old.get(name), new.get(name), "")]
    return Difference(tuple(heading), tuple(_steps(names, rows(old, "steps"), rows(new, "steps"))))


class _Names:
    """What ids are called: steps by title, tools and units by name; the newer name holds."""

    def __init__(self, old: Document, new: Document) -> None:
        self.steps = _called(old, new, "steps", "title")
        self.tools = _called(old, new, "tools", "name")
        self.units = _called(old, new, "units", "name")

    def of(self, key: str, word: str) -> str:
        """Return what a word in a list or a choice stands for."""
        if key in ("after", "steps"):
            return f"“{self.steps.get(word, word)}”"
        if key == "tools":
            return self.tools.get(word, word)
        return self.units.get(word, word) if key in ("frees", "exchanged") else word


def _called(old: Document, new: Document, listed: str, name: str) -> dict[str, str]:
    return {
        str(row.get("id")): str(row.get(name) or row.get("id")) for found in (old, new) for row in rows(found, listed)
    }


def _steps(names: _Names, old: list[dict[str, Any]], new: list[dict[str, Any]]) -> Iterator[StepChange]:
    before = {str(step.get("id")): n for n, step in enumerate(old, 1)}
    after = {str(step.get("id")): n for n, step in enumerate(new, 1)}
    stayed = _in_order([before[name] for name in after if name in before])
    by_id = {str(step.get("id")): step for step in old}
    for name, number in after.items():
        step = new[number - 1]
        title = names.steps.get(name, name)
        if name not in before:
            yield StepChange(name, title, "added", None, number, tuple(_entry(names, {}, step, "")))
            continue
        changes = tuple(_entry(names, by_id[name], step, ""))
        moved = before[name] not in stayed
        if changes or moved:
            yield StepChange(name, title, "moved" if moved else "changed", before[name], number, changes)
    for name, number in before.items():
        if name not in after:
            yield StepChange(name, names.steps.get(name, name), "removed", number, None)


def _in_order(numbers: Sequence[int]) -> frozenset[int]:
    """Return a longest run of numbers that are in rising order: what did not move.

    Patience sorting with links back (Fredman, On computing the length of longest increasing subsequences, Discrete
    Mathematics 11, 1975).
    """
    ends: list[int] = []
    last: list[int] = []
    back: dict[int, int | None] = {}
    for number in numbers:
        at = bisect_left(ends, number)
        back[number] = last[at - 1] if at else None
        ends[at : at + 1] = [number]
        last[at : at + 1] = [number]
    found = set()
    here = last[-1] if last else None
    while here is not None:
        found.add(here)
        here = back[here]
    return frozenset(found)


def _entry(names: _Names, old: Mapping[str, Any], new: Mapping[str, Any], label: str) -> Iterator[FieldChange]:
    """Yield what differs between two mappings, in the order of the newer one."""
    for name in dict.fromkeys((*new, *old)):
        if name != "id":
            yield from _field(names, name, old.get(name), new.get(name), label)


def _field(names: _Names, name: str, old: Any, new: Any, label: str) -> Iterator[FieldChange]:
    said = f"{label}, {LABELS.get(name, name).lower()}" if label else LABELS.get(name, name)
    if name == "places":
        before, after = _places(old), _places(new)
        if old != new and (old or new):
            yield FieldChange(said, before, f"{after}, elsewhere" if before == after else after)
        return
    if _are_rows(old) or _are_rows(new):
        yield from _lists(names, said, rows({"": old}, ""), rows({"": new}, ""))
        return
    if isinstance(old, dict) or isinstance(new, dict):
        yield from _entry(names, old or {}, new or {}, said)
        return
    before, after = _text(names, name, old), _text(names, name, new)
    if before != after:
        yield FieldChange(said, before, after)


def _are_rows(value: Any) -> bool:
    return isinstance(value, list | tuple) and any(isinstance(row, dict) for row in value)


def _places(value: Any) -> str:
    count = len(value) if isinstance(value, list | tuple) else 0
    return "" if not count else ("1 place" if count == 1 else f"{count} places")


def _text(names: _Names, name: str, value: Any) -> str:
    if isinstance(value, list | tuple):
        return ", ".join(names.of(name, str(word)) for word in value)
    if value is None or value is False or value == "" or value == _USUAL.get(name):
        return "" if value is not False or name != "has_cell" else "no"
    if value is True:
        return "" if name == "has_cell" else "yes"
    if name.endswith("_s") and isinstance(value, int):
        return f"{value} s"
    return names.of(name, str(value))


def _lists(names: _Names, label: str, old: list[dict[str, Any]], new: list[dict[str, Any]]) -> Iterator[FieldChange]:
    before, after = _keyed(old), _keyed(new)
    for key, row in after.items():
        if key not in before:
            yield FieldChange(f"{label} added", "", summary(row))
            continue
        yield from _entry(names, before[key], row, f"{label} “{_named(row) or _named(before[key])}”")
    for key, row in before.items():
        if key not in after:
            yield FieldChange(f"{label} removed", summary(row), "")


def _keyed(listed: list[dict[str, Any]]) -> dict[str, dict[str, Any]]:
    return {str(row.get("id") or row.get("part") or index): row for index, row in enumerate(listed)}


def _named(row: Mapping[str, Any]) -> str:
    found = next((row[name] for name in ("name", "title", "ask", "hazard", "id", "part") if row.get(name)), "")
    return str(found)


def summary(row: Mapping[str, Any]) -> str:
    """Return a fixing, inspection, hazard, tool, unit, part or test in one line."""
    said = f"{row['signal']}: {_named(row)}" if row.get("signal") else _named(row)
    if row.get("count"):
        said = f"{row['count']} × {said}"
    more = [str(row[name]) for name in ("kind", "reuse", "part", "size") if row.get(name) and row[name] != "accept"]
    limits = [f"{word} {row[name]}" for name, word in (("low", "at least"), ("high", "at most")) if row.get(name)]
    torque = part_of(row, "torque").get("value_ncm")
    more += limits + ([f"{torque} N·cm"] if torque else [])
    return f"{said} ({', '.join(more)})" if more else said
