"""The walk by the rules alone: as many points as ticks, cures waited out, lots used up and handed back."""

from datetime import timedelta
from itertools import pairwise

from app.rules import bench_walk
from app.rules.bench import LotInHand
from app.rules.counting import BenchState, Event, ItemCount, items_of
from app.rules.descent import pocket_numbers
from app.rules.sheet import Sheet
from tests.jobs.bench_shop import START
from tests.jobs.sheets import PARTS, recorder

TARGETS = ("cell", "speaker")
PLENTY = {part: (LotInHand(n, f"L{n}", 50),) for n, part in enumerate(PARTS)}


def planned(sheet: Sheet) -> BenchState:
    """Return the bench of a job for both units, open for person 1."""
    steps = tuple(step.id for step in sheet.steps)
    refit = tuple(step.id for step in reversed(sheet.steps) if step.refit)
    items = items_of(sheet, steps, TARGETS)
    counts = {key: ItemCount(baseline=item.baseline) for key, item in items.items()}
    return BenchState(targets=TARGETS, teardown=steps, refit=refit, items=counts, at_bench=1)


def walked(state: BenchState, in_hand: bench_walk.InHand) -> list[bench_walk.Expected]:
    """Walk a state of the field recorder to its end."""
    sheet = recorder()
    items = items_of(sheet, state.teardown, TARGETS)
    return list(bench_walk.walk(sheet, items, pocket_numbers(sheet, state.teardown), state, in_hand, START))


def test_it_goes_down_turns_and_comes_up_to_the_count() -> None:
    sheet = recorder()
    state = planned(sheet)
    points = walked(state, PLENTY)
    kinds = [(p.kind, p.side, p.step) for p in points]
    assert kinds == [
        *(("tick", "down", s) for s in state.teardown), ("turn", "", ""), *(("tick", "up", s) for s in state.refit),
        ("", "", ""),
    ]  # fmt: skip
    assert points[-1].state.refitted
    assert points[-1].blocked == ""
    times = [p.at for p in points]
    assert times == sorted(times)


def test_a_cure_is_told_at_the_point_behind_the_step_that_began_it() -> None:
    sheet = recorder()
    points = walked(planned(sheet), PLENTY)
    for before, after in pairwise(points):
        refit = sheet.step(before.step).refit if before.side == "up" else None
        cure_s = refit.cure_s if refit else 0
        assert after.wait_s == cure_s
        assert after.at - before.at >= timedelta(seconds=cure_s)


def test_it_ends_where_a_new_part_is_not_there() -> None:
    points = walked(planned(recorder()), {})
    assert points[-1].kind == ""
    assert points[-1].blocked.startswith("Not handed out yet")
    assert points[-1].side == "up"


def test_lots_are_used_up_along_the_way_and_handed_back() -> None:
    points = walked(planned(recorder()), PLENTY)
    free = [sum(lot.free for lots in p.in_hand.values() for lot in lots) for p in points]
    assert free[0] > free[-1]
    assert free == sorted(free, reverse=True)
    fitted = [["i", PARTS[0], 0, "L0", 3, ""], ["i", "other", 99, "L99", 1, "S1"]]
    back = bench_walk.handed_back(PLENTY, Event("e", "tick", 1, START, "x", {"fitted": fitted}))
    assert back[PARTS[0]][0].free == 53
    assert back["other"] == [LotInHand(99, "L99", 1, ("S1",))]
