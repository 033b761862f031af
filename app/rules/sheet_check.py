"""What is wrong with a procedure, told to its author before it can be published.

The models of ``sheet`` see to shapes; this sees to sense: everything named exists, an order exists,
what opens also closes, what is scrapped can be replaced, what is measured can be judged.
"""

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from decimal import Decimal

from app.rules.precedence import cycles, predecessors
from app.rules.sheet import Inspection, NewPart, ReleaseTest, ReuseClass, Sheet, Step

Where = tuple[str | int, ...]
"""Where a finding is in the procedure's file: keys and indices from its top."""

_STEPS_NAMED = 12


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing to mend. ``where`` is the path in the YAML, such as ``("steps", 3, "after", 0)``.

    ``step`` is the id of the step it belongs to, if it belongs to one.
    """

    where: Where
    step: str | None
    message: str
    remedy: str


def check_sheet(sheet: Sheet, known_parts: Collection[str] | None) -> tuple[Finding, ...]:
    """Return everything that keeps a sheet from being used, in the order of the file; empty when sound.

    ``known_parts`` are the part numbers of the catalogue; None leaves parts unchecked.
    """
    parts = None if known_parts is None else frozenset(known_parts)
    found = [
        *_repeated(("units",), None, "unit", [unit.id for unit in sheet.units]),
        *_repeated(("tools",), None, "tool", [tool.id for tool in sheet.tools]),
        *_repeated(("steps",), None, "step", [step.id for step in sheet.steps]),
        *_repeated(("release_tests",), None, "release test", [test.id for test in sheet.release_tests]),
        *_units(sheet, parts),
        *_circles(sheet),
    ]
    for index, step in enumerate(sheet.steps):
        found += _references(sheet, index, step)
        found += _way_back(index, step)
        found += _fixings(index, step, parts)
        found += _places(index, step)
        found += _clip(index, step)
        found += _refit(sheet, index, step, parts)
        found += _inspections(index, step, parts)
    for index, test in enumerate(sheet.release_tests):
        found += _limits(("release_tests", index), None, test)
        found += _due(sheet, index, test)
    return tuple(found)


def _repeated(where: Where, step: str | None, noun: str, ids: Iterable[str]) -> Iterator[Finding]:
    seen: set[str] = set()
    for index, name in enumerate(ids):
        if name in seen:
            yield Finding(
                (*where, index, "id"),
                step,
                f"The {noun} id “{name}” is used twice.",
                f"Give each {noun} an id of its own.",
            )
        seen.add(name)


def _unknown_part(where: Where, step: str | None, part: str, parts: frozenset[str] | None) -> Iterator[Finding]:
    if parts is not None and part not in parts:
        yield Finding(
            where,
            step,
            f"Part {part} is not in the catalogue.",
            "Add the part to the catalogue first, or correct its number.",
        )


def _new_parts(where: Where, step: str, new: Iterable[NewPart], parts: frozenset[str] | None) -> Iterator[Finding]:
    for index, line in enumerate(new):
        yield from _unknown_part((*where, index, "part"), step, line.part, parts)


def _units(sheet: Sheet, parts: frozenset[str] | None) -> Iterator[Finding]:
    freed = {step.frees for step in sheet.steps}
    for index, unit in enumerate(sheet.units):
        yield from _unknown_part(("units", index, "part"), None, unit.part, parts)
        if unit.id not in freed:
            yield Finding(
                ("units", index),
                None,
                f"No step frees the unit “{unit.id}”, so no job could reach it.",
                f"Write “frees: {unit.id}” in the step that frees it, or take the unit out.",
            )
    first: dict[str, str] = {}
    for index, step in enumerate(sheet.steps):
        if step.frees is None:
            continue
        if step.frees in first:
            yield Finding(
                ("steps", index, "frees"),
                step.id,
                f"The unit “{step.frees}” is freed by the steps “{first[step.frees]}” and “{step.id}”.",
                "Leave “frees” only in the step after which the unit is free.",
            )
        first.setdefault(step.frees, step.id)


def _circles(sheet: Sheet) -> Iterator[Finding]:
    place = {step.id: index for index, step in reversed(list(enumerate(sheet.steps)))}
    for circle in cycles(predecessors(sheet.steps)):
        index = place[circle[0]]
        step = sheet.steps[index]
        waits_for = step.after.index(circle[-1]) if circle[-1] in step.after else 0
        where = ("steps", index, "after", waits_for)
        if len(circle) == 1:
            message = f"The step “{step.id}” waits for itself."
        else:
            named = " → ".join(circle[:_STEPS_NAMED])
            more = len(circle) - _STEPS_NAMED
            tail = f" → {more} more" if more > 0 else ""
            message = f"These steps wait for each other: {named}{tail} → {circle[0]}."
        yield Finding(where, step.id, message, "Take out the “after” that is not a real need.")


def _references(sheet: Sheet, index: int, step: Step) -> Iterator[Finding]:
    steps = {other.id for other in sheet.steps}
    for n, name in enumerate(step.after):
        if name not in steps:
            yield Finding(
                ("steps", index, "after", n),
                step.id,
                f"“{step.id}” waits for the step “{name}”, and there is no such step.",
                "Correct the id, or take it out of “after”.",
            )
    yield from _unknown_tools(sheet, ("steps", index, "tools"), step, step.tools)
    if step.frees is not None and step.frees not in {unit.id for unit in sheet.units}:
        yield Finding(
            ("steps", index, "frees"),
            step.id,
            f"“{step.id}” frees “{step.frees}”, which is not among the units.",
            "Add the unit to “units”, or correct the id.",
        )


def _unknown_tools(sheet: Sheet, where: Where, step: Step, tools: Iterable[str]) -> Iterator[Finding]:
    known = {tool.id for tool in sheet.tools}
    for n, tool in enumerate(tools):
        if tool not in known:
            yield Finding(
                (*where, n),
                step.id,
                f"“{step.id}” uses the tool “{tool}”, which is not among the tools.",
                "Add the tool to “tools”, or correct the id.",
            )


def _way_back(index: int, step: Step) -> Iterator[Finding]:
    if step.refit is None and (step.releases or step.frees):
        what = "releases fixings" if step.releases else f"frees “{step.frees}”"
        yield Finding(
            ("steps", index),
            step.id,
            f"“{step.id}” {what} and has no refit, so what comes out would never be counted back.",
            "Write the step's “refit”.",
        )


def _fixings(index: int, step: Step, parts: frozenset[str] | None) -> Iterator[Finding]:
    yield from _repeated(("steps", index, "releases"), step.id, "fixing", [fixing.id for fixing in step.releases])
    inspections = step.inspect + (step.refit.inspect if step.refit else ())
    covered = {inspection.of for inspection in inspections}
    for n, fixing in enumerate(step.releases):
        where = ("steps", index, "releases", n)
        if fixing.part is not None:
            yield from _unknown_part((*where, "part"), step.id, fixing.part, parts)
        elif fixing.reuse is ReuseClass.SINGLE_USE:
            yield Finding(
                (*where, "part"),
                step.id,
                f"“{fixing.name}” is single-use and has no part number, so no new one can be kitted.",
                "Give the catalogue number of the new one.",
            )
        if fixing.reuse is ReuseClass.INSPECT and fixing.id not in covered:
            yield Finding(
                (*where, "reuse"),
                step.id,
                f"“{fixing.name}” goes back only if it passes an inspection, and no inspection covers it.",
                f"Add an inspection with “of: {fixing.id}”, or choose another reuse class.",
            )


def _places(index: int, step: Step) -> Iterator[Finding]:
    """Places are given for every piece of a fixing or for none, in a picture, and apart from each other."""
    taken: dict[tuple[Decimal, Decimal], str] = {}
    for n, fixing in enumerate(step.releases):
        where = ("steps", index, "releases", n, "places")
        if not fixing.places:
            continue
        if len(fixing.places) != fixing.count:
            places = f"{len(fixing.places)} place" + ("s" if len(fixing.places) > 1 else "")
            yield Finding(
                where,
                step.id,
                f"“{fixing.name}” has {places} for a count of {fixing.count}.",
                "Give one place for each piece, or leave “places” out.",
            )
        if step.picture is None:
            yield Finding(
                where,
                step.id,
                f"“{fixing.name}” has places, and the step has no picture to show them on.",
                "Name the step's “picture”, or leave “places” out.",
            )
        for m, place in enumerate(fixing.places):
            spot = (round(place.x, 2), round(place.y, 2))
            name = f"place {m + 1} of “{fixing.name}”"
            if spot in taken:
                yield Finding(
                    (*where, m),
                    step.id,
                    f"{name[0].upper()}{name[1:]} lies on {taken[spot]}.",
                    "Give each piece its own place in the picture.",
                )
            taken.setdefault(spot, name)


def _clip(index: int, step: Step) -> Iterator[Finding]:
    if step.clip is not None and step.clip.to_s <= step.clip.from_s:
        yield Finding(
            ("steps", index, "clip", "to_s"),
            step.id,
            f"The clip of “{step.id}” ends at {step.clip.to_s} s, where it has not begun yet.",
            f"Give an end after {step.clip.from_s} s, or take the clip out.",
        )


def _refit(sheet: Sheet, index: int, step: Step, parts: frozenset[str] | None) -> Iterator[Finding]:
    if step.refit is None:
        return
    where = ("steps", index, "refit")
    yield from _unknown_tools(sheet, (*where, "tools"), step, step.refit.tools)
    yield from _new_parts((*where, "fits"), step.id, step.refit.fits, parts)


def _inspections(index: int, step: Step, parts: frozenset[str] | None) -> Iterator[Finding]:
    fixings = {fixing.id for fixing in step.releases}
    places: list[tuple[Where, Inspection]] = [
        (("steps", index, "inspect", n), inspection) for n, inspection in enumerate(step.inspect)
    ]
    if step.refit:
        places += [
            (("steps", index, "refit", "inspect", n), inspection) for n, inspection in enumerate(step.refit.inspect)
        ]
    seen: set[str] = set()
    for where, inspection in places:
        if inspection.id in seen:
            yield Finding(
                (*where, "id"),
                step.id,
                f"The inspection id “{inspection.id}” is used twice in this step and its refit.",
                "Give each inspection of a step an id of its own.",
            )
        seen.add(inspection.id)
        if inspection.of is not None and inspection.of not in fixings:
            yield Finding(
                (*where, "of"),
                step.id,
                f"The inspection “{inspection.id}” is of “{inspection.of}”, not a fixing of this step.",
                "Name a fixing of the same step, or leave “of” out.",
            )
        yield from _limits(where, step.id, inspection)
        yield from _new_parts((*where, "on_reject", "add"), step.id, inspection.on_reject.add, parts)


def _limits(where: Where, step: str | None, asked: Inspection | ReleaseTest) -> Iterator[Finding]:
    """A reading needs a unit and a limit to be judged by; a plain accept or reject has neither."""
    limits: tuple[Decimal | None, ...] = (asked.low, asked.high)
    if asked.kind == "accept":
        if limits != (None, None):
            yield Finding(
                (*where, "kind"),
                step,
                f"“{asked.id}” has limits but is not a reading, so they would never be looked at.",
                "Write “kind: reading”, or take the limits out.",
            )
        return
    if asked.unit is None:
        yield Finding((*where, "unit"), step, f"The reading “{asked.id}” has no unit.", "Give its unit, such as V.")
    if limits == (None, None):
        yield Finding((*where, "low"), step, f"The reading “{asked.id}” has no limits.", "Give “low”, “high” or both.")
    elif asked.low is not None and asked.high is not None and asked.low > asked.high:
        yield Finding(
            (*where, "low"),
            step,
            f"The reading “{asked.id}” cannot pass: low {asked.low} is above high {asked.high}.",
            "Correct the limits.",
        )


def _due(sheet: Sheet, index: int, test: ReleaseTest) -> Iterator[Finding]:
    where = ("release_tests", index, "due")
    steps = {step.id for step in sheet.steps}
    freed = {step.frees for step in sheet.steps}
    units = {unit.id for unit in sheet.units}
    kinds = {fixing.kind for step in sheet.steps for fixing in step.releases}
    sound = True
    for n, unit in enumerate(test.due.exchanged):
        if unit not in units:
            sound = False
            yield Finding(
                (*where, "exchanged", n),
                None,
                f"The release test “{test.id}” is due for the unit “{unit}”, which is not among the units.",
                "Correct the id, or take it out.",
            )
    for n, name in enumerate(test.due.steps):
        if name not in steps:
            sound = False
            yield Finding(
                (*where, "steps", n),
                None,
                f"The release test “{test.id}” is due for the step “{name}”, and there is no such step.",
                "Correct the id, or take it out.",
            )
    possible = (
        test.due.always
        or bool(steps.intersection(test.due.steps))
        or bool(freed.intersection(test.due.exchanged))
        or bool(kinds.intersection(test.due.kinds))
    )
    if sound and not possible:
        yield Finding(
            where,
            None,
            f"The release test “{test.id}” can never be due.",
            "Write “always: true”, or name units, steps or kinds of fixing that this procedure has.",
        )
