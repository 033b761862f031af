"""Open questions about a draft: tied to their step and row, so that they stay right when steps move.

A question is a mapping with ``path`` (keys and indices from the top of the document), ``question`` and the ``words``
it came from. ``bound`` adds ``step`` and ``row`` (ids) and ``given``, whether there was an answer to begin with.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from app.rules.draft_documents import Document, rows

Question = dict[str, Any]


def bound(document: Document, question: Mapping[str, Any]) -> Question:
    """Return a question tied to its step and row by their ids."""
    path = list(question.get("path") or ())
    found: Question = {"done": False, **question, "path": path, "step": None, "row": None}
    if len(path) > 1 and path[0] == "steps" and isinstance(path[1], int):
        steps = rows(document, "steps")
        step = steps[path[1]] if path[1] < len(steps) else {}
        found["step"] = step.get("id")
        if len(path) > 3 and isinstance(path[3], int):
            listed = rows(step, str(path[2]))
            found["row"] = listed[path[3]].get("id") if path[3] < len(listed) else None
    found["given"] = _value(document, found) not in (None, "", [], {})
    return found


def followed(asked: Sequence[Mapping[str, Any]], document: Document, renamed: Mapping[str, str]) -> list[Question]:
    """Return the questions after a change: renamed steps are followed, those of steps that are gone are dropped.

    A question whose step comes back with an undo is gone all the same; the words it came from are kept elsewhere.
    """
    places = {str(step.get("id")): index for index, step in enumerate(rows(document, "steps"))}
    found = []
    for question in asked:
        moved = dict(question)
        step = moved.get("step")
        if step is not None:
            step = renamed.get(step, step)
            if step not in places:
                continue
            moved["step"] = step
            moved["path"] = ["steps", places[step], *list(moved.get("path") or ())[2:]]
        found.append(moved)
    return found


def still_open(document: Document, asked: Sequence[Mapping[str, Any]]) -> tuple[int, ...]:
    """Return the places of questions that nobody settled and whose gap is still a gap."""
    return tuple(
        number
        for number, question in enumerate(asked)
        if not question.get("done")
        and (question.get("given", True) or _value(document, question) in (None, "", [], {}))
        and not _is_gone(document, question)
    )


def loosened(document: Document, asked: Sequence[Mapping[str, Any]], step: str) -> str:
    """Return why a step may not need the one before it, as far as the words it came from say; empty when not."""
    for number in still_open(document, asked):
        question = asked[number]
        if question.get("step") == step and list(question.get("path") or ())[2:] == ["after"]:
            return str(question.get("question") or "")
    return ""


def _is_gone(document: Document, question: Mapping[str, Any]) -> bool:
    """Whether the row a question is about was taken out."""
    path = list(question.get("path") or ())
    if question.get("step") is not None and not question.get("row") and len(path) > 4 and path[2] == "hazards":
        # Hazards have no id; they are told apart by their place.
        step = next((s for s in rows(document, "steps") if s.get("id") == question.get("step")), {})
        return isinstance(path[3], int) and path[3] >= len(rows(step, "hazards"))
    if not question.get("row"):
        return False
    step = next((s for s in rows(document, "steps") if s.get("id") == question.get("step")), {})
    listed = str(list(question.get("path") or ())[2])
    return question["row"] not in {row.get("id") for row in rows(step, listed)}


def _value(document: Document, question: Mapping[str, Any]) -> Any:
    path = list(question.get("path") or ())
    here: Any = document
    if question.get("step") is not None:
        here = next((s for s in rows(document, "steps") if s.get("id") == question["step"]), {})
        path = path[2:]
        if question.get("row") is not None:
            here = next((r for r in rows(here, str(path[0])) if r.get("id") == question["row"]), {})
            path = path[2:]
    for part in path:
        try:
            here = here[part]
        except (KeyError, IndexError, TypeError):
            return None
    return None if not path else here
