"""Steps of a draft: added, moved, split, merged, taken out, and what waits for what kept in order.

Every function takes a document and returns a new one; Refused says what stands in the way.
"""

from collections.abc import Collection, Mapping
from copy import deepcopy
from dataclasses import dataclass, field
from typing import Any

from app.rules.draft_documents import Document, free_id, part_of, provisional_id, rows, slug, step_index, words
from app.rules.precedence import ancestors_in
from app.rules.verdict import Refused


@dataclass(frozen=True)
class Split:
    """How a step becomes two: the words of both, and the ids of what goes to the second."""

    title: str
    do: str
    second_title: str
    second_do: str
    fixings: Collection[str] = ()
    inspections: Collection[str] = field(default=())


def add_step(document: Document, after: str | None) -> tuple[Document, str]:
    """Add an empty step behind another, which it waits for; at the end when none is named. Returns its id too."""
    new = deepcopy(document)
    steps = rows(new, "steps")
    index = step_index(new, after) + 1 if after else len(steps)
    step: dict[str, Any] = {"id": provisional_id(steps)}
    if index:
        step["after"] = [steps[index - 1]["id"]]
    steps.insert(index, step)
    new["steps"] = steps
    return new, step["id"]


def move_step(document: Document, step_id: str, by: int) -> Document:
    """Move a step up (−1) or down (+1) in the author's order; what it waits for stays."""
    new = deepcopy(document)
    steps = rows(new, "steps")
    index = step_index(new, step_id)
    target = index + by
    if not 0 <= target < len(steps):
        raise Refused("This step is at the end of the list already.")
    steps[index], steps[target] = steps[target], steps[index]
    new["steps"] = steps
    return new


def remove_step(document: Document, step_id: str) -> Document:
    """Take a step out; what waited for it waits for what it waited for."""
    new = deepcopy(document)
    steps = rows(new, "steps")
    gone = steps.pop(step_index(new, step_id))
    new["steps"] = steps
    for step in steps:
        if step_id in words(step, "after"):
            _wait_for(step, [n for w in words(step, "after") for n in (words(gone, "after") if w == step_id else [w])])
    for test in rows(new, "release_tests"):
        due = part_of(test, "due")
        if step_id in words(due, "steps"):
            due["steps"] = [name for name in words(due, "steps") if name != step_id]
    return new


def chain_steps(document: Document) -> Document:
    """Let every step wait for the one before it in the list, and for nothing else."""
    new = deepcopy(document)
    steps = rows(new, "steps")
    for index, step in enumerate(steps):
        _wait_for(step, [steps[index - 1]["id"]] if index else [])
    new["steps"] = steps
    return new


def loosen(document: Document, step_id: str, before: str) -> Document:
    """Let a step no longer wait for another, but for what that one waits for."""
    new = deepcopy(document)
    steps = rows(new, "steps")
    step = steps[step_index(new, step_id)]
    other = steps[step_index(new, before)]
    if before not in words(step, "after"):
        raise Refused("This step does not wait for that one any more.")
    _wait_for(step, [n for w in words(step, "after") for n in (words(other, "after") if w == before else [w])])
    new["steps"] = steps
    return new


def split_step(document: Document, step_id: str, split: Split) -> tuple[Document, str]:
    """Make two steps of one; returns the second's id too.

    The second waits for the first, and what waited for the step waits for the second. Hazards, tools and the picture
    belong to both; an inspection follows its fixing; the unit is free after the second; a cavity that the refit
    closes is closed by the first step's refit, which is the later one on the way back. Times are halved, the first
    step keeping the odd second.
    """
    if not split.title.strip():
        raise Refused("Give the first step a title.", "title")
    if not split.second_title.strip():
        raise Refused("Give the second step a title.", "second_title")
    new = deepcopy(document)
    steps = rows(new, "steps")
    index = step_index(new, step_id)
    first, second = steps[index], deepcopy(steps[index])
    second["id"] = free_id(slug(split.second_title, "step"), {str(step.get("id")) for step in steps})
    first["title"], first["do"] = split.title.strip(), split.do.strip()
    second["title"], second["do"] = split.second_title.strip(), split.second_do.strip()
    second["after"] = [step_id]
    first.pop("frees", None)
    _share(first, second, split)
    for other in steps:
        if step_id in words(other, "after"):
            _wait_for(other, [second["id"] if name == step_id else name for name in words(other, "after")])
    steps.insert(index + 1, second)
    new["steps"] = steps
    return new, second["id"]


def _share(first: dict[str, Any], second: dict[str, Any], split: Split) -> None:
    moved = set(split.fixings)
    refits = part_of(first, "refit"), part_of(second, "refit")
    _divide(first, second, "releases", moved)
    for one, other in ((first, second), refits):
        _divide(one, other, "inspect", set(split.inspections) | _asked_of(one, moved))
        for name in ("time_s", "press_s"):
            if isinstance(one.get(name), int):
                one[name], other[name] = one[name] - one[name] // 2, one[name] // 2
    for name in ("closes", "fits", "cure_s"):
        refits[1].pop(name, None)
    if refits[1]:
        refits[1]["title"] = f"{split.second_title.strip()}: back"[:120]


def _asked_of(step: Mapping[str, Any], fixings: Collection[str]) -> set[str]:
    return {str(row.get("id")) for row in rows(step, "inspect") if row.get("of") in fixings}


def _divide(one: dict[str, Any], other: dict[str, Any], name: str, moved: Collection[str]) -> None:
    """Leave in the first step what did not move, in the second what did."""
    for step, wanted in ((one, False), (other, True)):
        if name in step:
            step[name] = [row for row in rows(step, name) if (row.get("id") in moved) is wanted]
            if not step[name]:
                del step[name]


def merge_steps(document: Document, first_id: str, second_id: str) -> Document:
    """Make one step of two, under the first's id and place, with all fixings, inspections, hazards and tools of both.

    Refused when both free a unit, when a third step comes between them, or when both have places on pictures of
    their own, which one picture cannot show.
    """
    new = deepcopy(document)
    steps = rows(new, "steps")
    first, second = steps[step_index(new, first_id)], steps[step_index(new, second_id)]
    if first is second:
        raise Refused("A step cannot be merged with itself.")
    _check_merge(new, first, second)
    for name, joint in (("title", " and "), ("do", "\n\n")):
        first[name] = _joined(first.get(name), second.get(name), joint, 120 if name == "title" else 2000)
    fixings = _append(first, second, "releases", {})
    _append(first, second, "inspect", fixings)
    _union(first, second)
    _wait_for(first, [n for n in (*words(first, "after"), *words(second, "after")) if n not in (first_id, second_id)])
    for name in ("frees", "picture", "clip"):
        if not first.get(name) and second.get(name):
            first[name] = second[name]
    _add_times(first, second, ("time_s",))
    _merge_refit(first, second, fixings)
    steps.remove(second)
    for step in steps:
        _wait_for(step, [first_id if name == second_id else name for name in words(step, "after")])
    for test in rows(new, "release_tests"):
        due = part_of(test, "due")
        if "steps" in due:
            due["steps"] = list(dict.fromkeys(first_id if n == second_id else n for n in words(due, "steps")))
    new["steps"] = steps
    return new


def _check_merge(document: Document, first: Mapping[str, Any], second: Mapping[str, Any]) -> None:
    if first.get("frees") and second.get("frees"):
        raise Refused("Both steps free a unit, and a step frees one only. Keep them apart.")
    pictures = {step.get("picture") for step in (first, second) if any(f.get("places") for f in rows(step, "releases"))}
    if len(pictures) > 1 or (pictures and first.get("picture") and first.get("picture") not in pictures):
        raise Refused("The places of these steps lie on different pictures. Take the places of one of them out first.")
    before = {str(step.get("id")): words(step, "after") for step in rows(document, "steps")}
    before = {name: [b for b in names if b in before] for name, names in before.items()}
    one, other = str(first["id"]), str(second["id"])
    for early, late in ((one, other), (other, one)):
        # A third step that waits for one of the two while the other waits for it would wait for itself.
        needed = ancestors_in(before, [late]) - {early, late}
        between = [name for name in before if name in needed and early in ancestors_in(before, [name])]
        if between:
            title = next(s.get("title") or s["id"] for s in rows(document, "steps") if s["id"] == between[0])
            raise Refused(f"“{title}” comes between these two steps, so they cannot be one.")


def _joined(one: object, other: object, joint: str, most: int) -> str:
    said = [str(words) for words in (one, other) if words]
    made = joint.join(dict.fromkeys(said))
    return made if len(made) <= most else said[0]


def _append(first: dict[str, Any], second: Mapping[str, Any], name: str, fixings: Mapping[str, str]) -> dict[str, str]:
    """Append the second's rows under ids that are free; returns old → new ids."""
    listed = rows(first, name)
    renamed: dict[str, str] = {}
    for row in rows(second, name):
        taken = {str(known.get("id")) for known in listed}
        renamed[str(row.get("id"))] = free_id(str(row.get("id")), taken)
        added = {**row, "id": renamed[str(row.get("id"))]}
        if row.get("of") in fixings:
            added["of"] = fixings[str(row["of"])]
        listed.append(added)
    if listed:
        first[name] = listed
    return renamed


def _union(first: dict[str, Any], second: Mapping[str, Any]) -> None:
    """Join hazards and tools, each once."""
    hazards = rows(first, "hazards")
    hazards += [hazard for hazard in rows(second, "hazards") if hazard not in hazards]
    tools = list(dict.fromkeys((*words(first, "tools"), *words(second, "tools"))))
    for name, joined in (("hazards", hazards), ("tools", tools)):
        if joined:
            first[name] = joined


def _add_times(first: dict[str, Any], second: Mapping[str, Any], names: Collection[str]) -> None:
    for name in names:
        given = [step[name] for step in (first, second) if isinstance(step.get(name), int)]
        if given:
            first[name] = sum(given)


def _merge_refit(first: dict[str, Any], second: Mapping[str, Any], fixings: Mapping[str, str]) -> None:
    """The second step's refit comes first on the way back."""
    back, earlier = part_of(first, "refit"), part_of(second, "refit")
    if not earlier:
        return
    if not back:
        first["refit"] = deepcopy(earlier)
        for row in rows(first["refit"], "inspect"):
            row["of"] = fixings.get(str(row.get("of")), row.get("of"))
            if row["of"] is None:
                del row["of"]
        return
    for name, joint in (("title", " and "), ("do", "\n\n")):
        back[name] = _joined(earlier.get(name), back.get(name), joint, 120 if name == "title" else 2000)
    _append(back, earlier, "inspect", fixings)
    taken = {str(row.get("id")) for row in rows(first, "inspect")}
    for row in rows(back, "inspect"):
        row["id"] = free_id(str(row.get("id")), taken)
        taken.add(row["id"])
    _union(back, earlier)
    fits = rows(back, "fits") + rows(earlier, "fits")
    if fits:
        back["fits"] = fits
    _add_times(back, earlier, ("time_s", "press_s"))
    cures = [step["cure_s"] for step in (back, earlier) if isinstance(step.get("cure_s"), int)]
    if cures:
        back["cure_s"] = max(cures)
    if back.get("closes") or earlier.get("closes"):
        back["closes"] = True


def _wait_for(step: dict[str, Any], names: Collection[str]) -> None:
    found = [name for name in dict.fromkeys(names) if name != step.get("id")]
    if found:
        step["after"] = found
    else:
        step.pop("after", None)
