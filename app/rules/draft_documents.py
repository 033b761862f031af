"""A procedure in writing: plain data in the shape of a procedure file, with gaps, and the ids inside it.

Functions take a document and return a new one; the one given is never changed. A row that somebody has just added
has a provisional id (``new-1``) until its words are there; ``settle_ids`` then gives it one made of its words and
follows every reference to it.
"""

import re
from collections.abc import Callable, Collection, Mapping
from copy import deepcopy
from typing import Any, Final

from app.rules.verdict import Refused

Document = dict[str, Any]
_PROVISIONAL: Final = re.compile(r"new-\d+")
_NOT_CODE: Final = re.compile(r"[^a-z0-9]+")
_LONGEST: Final = 40


def rows(holder: Mapping[str, Any], name: str) -> list[dict[str, Any]]:
    """Return a list of mappings under ``name``, empty when there is none."""
    found = holder.get(name)
    return [row for row in found if isinstance(row, dict)] if isinstance(found, list | tuple) else []


def words(holder: Mapping[str, Any], name: str) -> list[str]:
    """Return a list of plain words under ``name``, empty when there is none."""
    found = holder.get(name)
    return [str(word) for word in found] if isinstance(found, list | tuple) else []


def part_of(holder: Mapping[str, Any], name: str) -> dict[str, Any]:
    """Return the mapping under ``name``, empty when there is none."""
    found = holder.get(name)
    return found if isinstance(found, dict) else {}


def step_index(document: Document, step_id: str) -> int:
    """Return the place of a step; Refused when the draft has none of this id."""
    for index, step in enumerate(rows(document, "steps")):
        if step.get("id") == step_id:
            return index
    raise Refused("This step is not in the draft any more. Go back to the list of steps.")


def slug(text: str, otherwise: str = "item") -> str:
    """Return an id made of the words of a text: small letters and digits, joined by single hyphens."""
    made = ""
    for word in _NOT_CODE.sub(" ", text.casefold()).split():
        longer = f"{made}-{word}" if made else word
        if len(longer) > _LONGEST:
            break
        made = longer
    return made or otherwise


def free_id(wanted: str, taken: Collection[str]) -> str:
    """Return the id, with a number behind it where it is taken."""
    if wanted not in taken:
        return wanted
    number = 2
    while f"{wanted}-{number}" in taken:
        number += 1
    return f"{wanted}-{number}"


def provisional_id(listed: list[dict[str, Any]]) -> str:
    """Return the id of a row that is about to be added to a list."""
    taken = {row.get("id") for row in listed}
    number = len(listed) + 1
    while f"new-{number}" in taken:
        number += 1
    return f"new-{number}"


def is_provisional(name: object) -> bool:
    """Whether an id waits for the words of its row."""
    return not isinstance(name, str) or not name or _PROVISIONAL.fullmatch(name) is not None


def settle_ids(document: Document) -> tuple[Document, dict[str, str]]:
    """Give every row with a provisional id one of its own; returns the document and old → new ids of steps."""
    new = deepcopy(document)
    steps = rows(new, "steps")
    _settle(rows(new, "units"), _by("name"), lambda old, name: _rename_unit(new, old, name))
    _settle(rows(new, "tools"), _tool_words, lambda old, name: _rename_tool(new, old, name))
    _settle(rows(new, "release_tests"), _by("title"), lambda old, name: None)
    renamed: dict[str, str] = {}

    def rename_step(old: str, name: str) -> None:
        renamed[old] = name
        _rename_step(new, old, name)

    _settle(steps, _by("title"), rename_step)
    for step in steps:
        asked = [*rows(step, "inspect"), *rows(part_of(step, "refit"), "inspect")]

        def rename_fixing(old: str, name: str, asked: list[dict[str, Any]] = asked) -> None:
            for inspection in asked:
                if inspection.get("of") == old:
                    inspection["of"] = name

        _settle(rows(step, "releases"), _by("name"), rename_fixing)
        _settle(asked, _by("ask"), lambda old, name: None)
    return new, renamed


def _by(name: str) -> Callable[[Mapping[str, Any]], str]:
    return lambda row: str(row.get(name) or "")


def _tool_words(row: Mapping[str, Any]) -> str:
    return f"{row.get('name') or ''} {row.get('size') or ''}"


def _settle(
    listed: list[dict[str, Any]], said: Callable[[Mapping[str, Any]], str], follow: Callable[[str, str], None]
) -> None:
    taken = {str(row["id"]) for row in listed if not is_provisional(row.get("id"))}
    for row in listed:
        if not is_provisional(row.get("id")) or not said(row).strip():
            continue
        old = str(row.get("id") or "")
        row["id"] = free_id(slug(said(row)), taken)
        taken.add(row["id"])
        if old:
            follow(old, row["id"])


def _swap(holder: dict[str, Any], name: str, old: str, new: str) -> None:
    if old in words(holder, name):
        holder[name] = [new if word == old else word for word in words(holder, name)]


def _rename_step(document: Document, old: str, new: str) -> None:
    for step in rows(document, "steps"):
        _swap(step, "after", old, new)
    for test in rows(document, "release_tests"):
        _swap(part_of(test, "due"), "steps", old, new)


def _rename_unit(document: Document, old: str, new: str) -> None:
    for step in rows(document, "steps"):
        if step.get("frees") == old:
            step["frees"] = new
    for test in rows(document, "release_tests"):
        _swap(part_of(test, "due"), "exchanged", old, new)


def _rename_tool(document: Document, old: str, new: str) -> None:
    for step in rows(document, "steps"):
        _swap(step, "tools", old, new)
        _swap(part_of(step, "refit"), "tools", old, new)
