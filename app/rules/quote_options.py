"""Option lists: the display, or display and cell while it is open, each beside the first.

Each option is one plan for the union of its targets, so that shared steps, seals and time are counted once. What the
further exchanges would cost on another visit is worked out beside it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal

from app.rules.expected_time import ExpectedTime
from app.rules.planning import KitLine, Plan, make_plan
from app.rules.quoting import PartPrice, Quote, Rates, planned_scrap, quote
from app.rules.sheet import Sheet
from app.rules.verdict import Refused


@dataclass(frozen=True, slots=True)
class KitChange:
    """A part that an option takes more of than the first one, or fewer (negative)."""

    part: str
    count: int


@dataclass(frozen=True, slots=True)
class Option:
    """One option: its plan, time, quote, and what it is beside the first one.

    ``more_steps`` are steps the first option leaves closed, ``fewer_steps`` those only the first one opens. Times are
    median seconds; ``more_cost`` is the difference of the totals, tax in it. ``shared_steps`` are steps that two or
    more of its targets need: done once here, once for each target on visits of their own. ``apart_cost`` is the sum
    of the totals when each target had a visit of its own, and ``saved`` what doing them together saves.
    """

    targets: tuple[str, ...]
    plan: Plan
    time: ExpectedTime
    quote: Quote
    more_steps: tuple[str, ...]
    fewer_steps: tuple[str, ...]
    more_kit: tuple[KitChange, ...]
    more_s: int
    more_cost: Decimal
    shared_steps: tuple[str, ...]
    apart_cost: Decimal
    saved: Decimal


def options(
    sheet: Sheet,
    choices: Sequence[Sequence[str]],
    time_of: Callable[[Plan], ExpectedTime],
    prices: Mapping[str, PartPrice],
    rates: Rates,
) -> tuple[Option, ...]:
    """Return the options in the order given; the first is what the others are compared with.

    ``choices`` are the targets of each, ``time_of`` gives a plan's expected bench time (its median is quoted). Raises
    Refused for no choice, for the same targets twice, and like ``make_plan`` for targets that cannot be reached.
    """
    if not choices:
        raise Refused("Give at least one option to compare.", "targets")
    if len({frozenset(targets) for targets in choices}) < len(choices):
        raise Refused("Two options exchange the same units. Leave one of them out.", "targets")

    def priced(plan: Plan, time: ExpectedTime) -> Quote:
        return quote(plan.kit, time.median_s, planned_scrap(sheet, plan), prices, rates)

    alone: dict[str, Decimal] = {}
    found: list[Option] = []
    for targets in choices:
        plan = make_plan(sheet, targets)
        time = time_of(plan)
        cost = priced(plan, time)
        for unit in plan.targets:
            if unit not in alone:
                single = make_plan(sheet, (unit,))
                alone[unit] = priced(single, time_of(single)).total
        first = found[0] if found else None
        apart = sum((alone[unit] for unit in plan.targets), Decimal(0))
        base = first.plan if first else plan
        found.append(
            Option(
                targets=plan.targets,
                plan=plan,
                time=time,
                quote=cost,
                more_steps=_without(plan.teardown, base.teardown),
                fewer_steps=_without(base.teardown, plan.teardown),
                more_kit=kit_change(base.kit, plan.kit),
                more_s=time.median_s - (first.time.median_s if first else time.median_s),
                more_cost=cost.total - (first.quote.total if first else cost.total),
                shared_steps=tuple(step for step in plan.teardown if len(plan.needed_by[step]) > 1),
                apart_cost=apart,
                saved=apart - cost.total,
            )
        )
    return tuple(found)


def kit_change(before: Sequence[KitLine], after: Sequence[KitLine]) -> tuple[KitChange, ...]:
    """Return by how much each part's count differs between two kits; equal ones are left out."""
    counts = {line.part: line.count for line in before}
    change = {line.part: line.count - counts.pop(line.part, 0) for line in after}
    change |= {part: -count for part, count in counts.items()}
    return tuple(KitChange(part, count) for part, count in change.items() if count)


def _without(steps: Sequence[str], others: Sequence[str]) -> tuple[str, ...]:
    gone = set(others)
    return tuple(step for step in steps if step not in gone)
