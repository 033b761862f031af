"""The descent of each pass of a job, made again from its entries."""

from collections.abc import Iterable
from dataclasses import replace

from app.review.queries.record import Linked
from app.rules.counting import BenchState, apply, items_of
from app.rules.descent import Rail, pocket_numbers, rail_of
from app.rules.sheet import Sheet
from app.rules.verdict import Refused


def rails(entries: Iterable[Linked], sheet: Sheet) -> tuple[Rail, ...]:
    """Return the descent of each pass that has a plan, in order.

    An entry that does not add up, which only a record that was tampered with has, ends the making: what came
    before it is shown.
    """
    states: dict[int, BenchState] = {}
    state = BenchState()
    for entry in entries:
        try:
            state = apply(state, entry.event)
        except (Refused, KeyError, ValueError):
            break
        if state.teardown:
            states[state.pass_no] = state
    return tuple(_rail(sheet, states[n]) for n in sorted(states))


def _rail(sheet: Sheet, state: BenchState) -> Rail:
    known = {step.id for step in sheet.steps}
    state = replace(state, teardown=tuple(s for s in state.teardown if s in known))
    items = items_of(sheet, state.teardown, state.targets)
    return rail_of(sheet, state, items, pocket_numbers(sheet, state.teardown))
