"""How easy a device is to repair: depth, fixings and tools by class, and the index of EU 2023/1669, Annex IV, point 5.

The index is R = 0.25·depth + 0.15·(fasteners + tools + spare parts + updates + information). Each of the six is a
score from 1 to 5; depth, fasteners and tools are means over the priority parts, weighted by the parts' weights. R has
two decimals. Classes: A from 4.00, B from 3.35, C from 2.55, D from 1.75, E from 1.00.

Sources: the formula and the classes are those of the regulation. Depth (up to 2 steps 5, 3-5 4, 6-10 3, 11-15 2, more
1), the weights of the parts and the fastener scores are known from secondary texts; the tool scores and the classes
of EN 45554:2020 are from memory. Nothing here stands in for a declaration under the regulation: see ``LIMITS``.

How the procedure is read, all of it deliberate:

* Depth counts the work steps on the way to the unit: a step that takes something off or frees a unit, and one more
  for each tool after the first within it. Switching off or looking counts as no step.
* Fasteners and tools are those of the whole way to the unit, and the poorest of them gives the score.
* A unit stands for a priority part only when it is said to (``Facts.parts``). Priority parts that no unit stands for
  are left out and their weight falls to the others; then the index is provisional, with its bounds.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import ROUND_HALF_UP, Decimal
from enum import StrEnum
from fractions import Fraction
from typing import Final

from app.rules.planning import make_plan
from app.rules.sheet import Fixing, ReuseClass, Sheet, Step, Tool
from app.rules.tool_classes import ToolAccess, usual_access
from app.rules.verdict import Refused

LIMITS: Final = (
    "After EU 2023/1669, Annex IV, point 5, worked out from this procedure. It is a guide for the workshop, no "
    "declaration under the regulation: steps, fasteners and tools are read from our own step sheet, not counted on "
    "the maker's device by its test method; what the sheet cannot know is entered by hand. The regulation is for "
    "smartphones and slate tablets; other devices are measured by it for comparison only."
)


class FastenerClass(StrEnum):
    """After EN 45554:2020. ``inspect`` counts as removable: it goes back only if it passes."""

    REUSABLE = "reusable"
    REMOVABLE = "removable"
    NEITHER = "neither"


class PriorityPart(StrEnum):
    """The parts that the index looks at."""

    BATTERY = "battery"
    DISPLAY = "display"
    BACK_COVER = "back cover"
    FRONT_CAMERA = "front camera"
    REAR_CAMERA = "rear camera"
    CHARGING_PORT = "charging port"
    BUTTONS = "buttons"
    MICROPHONES = "microphones"
    SPEAKERS = "speakers"


PART_WEIGHTS: Final[Mapping[PriorityPart, Fraction]] = {
    part: Fraction(weight, 100)
    for part, weight in zip(PriorityPart, (30, 30, 10, 5, 5, 5, 5, 5, 5), strict=True)
}  # fmt: skip
_DEPTH: Final = ((2, 5), (5, 4), (10, 3), (15, 2))
_FASTENER: Final = {FastenerClass.REUSABLE: 5, FastenerClass.REMOVABLE: 1, FastenerClass.NEITHER: 1}
RESUPPLIED: Final = 3
"""Score of a fastener that cannot be used again and comes with the spare part."""
_TOOL: Final = {
    ToolAccess.BASIC: 4,
    ToolAccess.WITH_DEVICE: 3,
    ToolAccess.WITH_SPARE: 2,
    ToolAccess.GROUP: 1,
    ToolAccess.MARKET: 1,
    ToolAccess.MAKER: 1,
    ToolAccess.NONE_EXISTS: 1,
}
_CLASSES: Final = (("A", "4.00"), ("B", "3.35"), ("C", "2.55"), ("D", "1.75"), ("E", "1.00"))
_DEPTH_SHARE: Final = Fraction(25, 100)
_OTHER_SHARE: Final = Fraction(15, 100)


@dataclass(frozen=True, slots=True)
class Facts:
    """What the procedure cannot know. ``parts`` says which priority part a unit stands for, by unit id.

    ``spare_parts``, ``updates`` and ``information`` are scores from 1 to 5 as the regulation's tables give them.
    ``tools`` overrides how a tool can be had, by tool id. ``resupplied`` are part numbers of fixings that come with
    the spare part; ``neither`` are fixings, as step id and fixing id, that cannot come off without harm. Raises
    Refused for a score outside 1 to 5.
    """

    parts: Mapping[str, PriorityPart]
    spare_parts: Decimal
    updates: Decimal
    information: Decimal
    tools: Mapping[str, ToolAccess] = field(default_factory=dict)
    resupplied: frozenset[str] = frozenset()
    neither: frozenset[tuple[str, str]] = frozenset()

    def __post_init__(self) -> None:
        for name in ("spare_parts", "updates", "information"):
            if not 1 <= getattr(self, name) <= 5:
                raise Refused("A score of the index is from 1 to 5.", name)


@dataclass(frozen=True, slots=True)
class UnitEase:
    """How far down a unit is. ``steps`` are the plan's steps, ``depth`` the work steps as the index counts them.

    ``fixings`` are pieces released on the way by class, ``tools`` the tools on the way with how they can be had.
    The three scores are the unit's own, 1 to 5.
    """

    unit: str
    steps: int
    depth: int
    fixings: Mapping[FastenerClass, int]
    tools: Mapping[str, ToolAccess]
    depth_score: int
    fastener_score: int
    tool_score: int

    @property
    def tool_class(self) -> str:
        """The poorest tool class of EN 45554 on the way, A when no tool is needed."""
        return max((access.en_class for access in self.tools.values()), default="A")


@dataclass(frozen=True, slots=True)
class PartScore:
    """A priority part in the index, of ``weight`` 0 to 1. The poorest of the ``units`` for it gives its scores."""

    part: PriorityPart
    units: tuple[str, ...]
    weight: Fraction
    depth: int
    fasteners: int
    tools: int


@dataclass(frozen=True, slots=True)
class Index:
    """The index and its parts, each score with two decimals. ``grade`` is A to E.

    ``missing`` are the priority parts that nothing stands for. With any of them the index is provisional: it lies
    between ``low`` and ``high``, which give the missing parts the lowest and the highest scores.
    """

    parts: tuple[PartScore, ...]
    missing: tuple[PriorityPart, ...]
    depth: Decimal
    fasteners: Decimal
    tools: Decimal
    spare_parts: Decimal
    updates: Decimal
    information: Decimal
    index: Decimal
    low: Decimal
    high: Decimal
    grade: str
    limits: str = LIMITS

    @property
    def provisional(self) -> bool:
        """Whether priority parts are missing."""
        return bool(self.missing)


def unit_ease(sheet: Sheet, unit: str, facts: Facts | None = None) -> UnitEase:
    """Return how easy it is to reach one unit. Raises Refused like ``make_plan``."""
    planned = set(make_plan(sheet, (unit,)).teardown)
    steps = [step for step in sheet.steps if step.id in planned]
    known = {tool.id: tool for tool in sheet.tools}
    tools = {name: _access(known.get(name), name, facts) for step in steps for name in step.tools}
    fixings = dict.fromkeys(FastenerClass, 0)
    scores = [5]
    for step in steps:
        for fixing in step.releases:
            found = fastener_class(step, fixing, facts)
            fixings[found] += fixing.count
            with_spare = facts is not None and fixing.part in facts.resupplied and found is FastenerClass.REMOVABLE
            scores.append(RESUPPLIED if with_spare else _FASTENER[found])
    depth = sum(_work_steps(step) for step in steps)
    return UnitEase(
        unit=unit,
        steps=len(steps),
        depth=depth,
        fixings=fixings,
        tools=tools,
        depth_score=depth_score(depth),
        fastener_score=min(scores),
        tool_score=min((_TOOL[access] for access in tools.values()), default=5),
    )


def units_ease(sheet: Sheet, facts: Facts | None = None) -> tuple[UnitEase, ...]:
    """Return how easy each unit that some step frees is to reach, in the sheet's order."""
    freed = {step.frees for step in sheet.steps}
    return tuple(unit_ease(sheet, unit.id, facts) for unit in sheet.units if unit.id in freed)


def fastener_class(step: Step, fixing: Fixing, facts: Facts | None = None) -> FastenerClass:
    """Return a fixing's class after EN 45554 by its reuse class in the sheet."""
    if facts is not None and (step.id, fixing.id) in facts.neither:
        return FastenerClass.NEITHER
    return FastenerClass.REUSABLE if fixing.reuse is ReuseClass.REUSABLE else FastenerClass.REMOVABLE


def depth_score(depth: int) -> int:
    """Return the score of a disassembly depth in steps: up to 2 gives 5, 3-5 4, 6-10 3, 11-15 2, more 1."""
    return next((score for most, score in _DEPTH if depth <= most), 1)


def _work_steps(step: Step) -> int:
    return max(1, len(set(step.tools))) if step.releases or step.frees else 0


def _access(tool: Tool | None, name: str, facts: Facts | None) -> ToolAccess:
    if facts is not None and name in facts.tools:
        return facts.tools[name]
    return usual_access(tool) if tool else ToolAccess.MARKET


def repair_index(sheet: Sheet, facts: Facts) -> Index:
    """Return the index of a device model from its procedure and the facts that it cannot know.

    Raises Refused when no unit stands for a priority part, or one that does is not in the procedure or not freed.
    """
    if not facts.parts:
        raise Refused("Say for at least one unit which part of the device it is.", "parts")
    ease = {unit: unit_ease(sheet, unit, facts) for unit in facts.parts}
    parts = tuple(_part_score(part, [ease[u] for u, p in facts.parts.items() if p is part]) for part in PriorityPart
                  if part in facts.parts.values())  # fmt: skip
    missing = tuple(part for part in PriorityPart if part not in facts.parts.values())
    covered = sum((part.weight for part in parts), Fraction(0))
    sums = (
        sum((p.weight * p.depth for p in parts), Fraction(0)),
        sum((p.weight * p.fasteners for p in parts), Fraction(0)),
        sum((p.weight * p.tools for p in parts), Fraction(0)),
    )
    rest = tuple(Fraction(score) for score in (facts.spare_parts, facts.updates, facts.information))
    means = tuple(total / covered for total in sums)
    index = _two_places(_index(means, rest))
    return Index(
        parts=parts,
        missing=missing,
        depth=_two_places(means[0]),
        fasteners=_two_places(means[1]),
        tools=_two_places(means[2]),
        spare_parts=_two_places(rest[0]),
        updates=_two_places(rest[1]),
        information=_two_places(rest[2]),
        index=index,
        low=_two_places(_index([total + (1 - covered) for total in sums], rest)),
        high=_two_places(_index([total + 5 * (1 - covered) for total in sums], rest)),
        grade=grade(index),
    )


def grade(index: Decimal) -> str:
    """Return the class A to E of an index. Raises ValueError outside 1 to 5."""
    if not 1 <= index <= 5:
        raise ValueError("the index is from 1 to 5")
    return next(name for name, least in _CLASSES if index >= Decimal(least))


def _part_score(part: PriorityPart, found: Sequence[UnitEase]) -> PartScore:
    return PartScore(
        part=part,
        units=tuple(one.unit for one in found),
        weight=PART_WEIGHTS[part],
        depth=min(one.depth_score for one in found),
        fasteners=min(one.fastener_score for one in found),
        tools=min(one.tool_score for one in found),
    )


def _index(means: Sequence[Fraction], rest: Iterable[Fraction]) -> Fraction:
    return _DEPTH_SHARE * means[0] + _OTHER_SHARE * (means[1] + means[2] + sum(rest, Fraction(0)))


def _two_places(score: Fraction) -> Decimal:
    """Return a score with two decimals, half up."""
    hundredths = (score * 200 + 1) // 2
    return Decimal(int(hundredths)).scaleb(-2).quantize(Decimal("0.01"), rounding=ROUND_HALF_UP)
