"""Plan against actual: the standard time of what was planned, and what of the kit went beyond the plan."""

from collections.abc import Iterable, Mapping, Sequence

from app.review.queries.record import KitPart, Linked
from app.rules.costing import PartsCost, PartUse, job_parts_cost
from app.rules.sheet import Sheet


def standard_time_s(entries: Iterable[Linked], sheet: Sheet) -> int | None:
    """Return the hands-on seconds of the job's plans, teardown and refit; None when nothing was planned.

    A plan made anew before its teardown replaces the one before; the plan of a further pass adds to it.
    """
    plans = {int(e.event.data.get("pass_no", 1)): e.event.data for e in entries if e.event.kind == "planned"}
    if not plans:
        return None
    steps = {step.id: step for step in sheet.steps}
    total = 0
    for data in plans.values():
        total += sum(steps[s].time_s for s in data.get("teardown", ()) if s in steps)
        refits = [steps[s].refit for s in data.get("refit", ()) if s in steps]
        total += sum(refit.time_s + refit.press_s for refit in refits if refit)
    return total


def parts_account(kit: Sequence[KitPart], planned: Mapping[str, int], currency: str) -> PartsCost:
    """Return the parts of a job at lot cost, what went beyond the plan apart: lots handed out first count first."""
    left = dict(planned)
    uses = []
    for row in kit:
        used = row.fitted + row.spoiled
        as_planned = min(used, left.get(row.part_number, 0))
        left[row.part_number] = left.get(row.part_number, 0) - as_planned
        uses.append(PartUse(row.part_number, as_planned, row.unit_cost, True))
        uses.append(PartUse(row.part_number, used - as_planned, row.unit_cost, False))
    return job_parts_cost([use for use in uses if use.quantity], currency)
