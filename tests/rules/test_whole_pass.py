"""Every demo procedure, every target: the whole pass at the bench balances when nothing goes wrong."""

from collections.abc import Mapping
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import combinations
from pathlib import Path

import pytest
import yaml

from app.rules import bench, counting
from app.rules.bench import LotInHand
from app.rules.counting import BenchState, Event, Item
from app.rules.planning import make_plan
from app.rules.sheet import Sheet

FOLDER = Path(__file__).parents[2] / "seed_data" / "procedures"
SHEETS = [Sheet.model_validate(yaml.safe_load(p.read_text())) for p in sorted(FOLDER.glob("*.yaml"))]
START = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def _cases() -> list[tuple[Sheet, tuple[str, ...]]]:
    singles: list[tuple[Sheet, tuple[str, ...]]] = [(s, (u.id,)) for s in SHEETS for u in s.units]
    pairs: list[tuple[Sheet, tuple[str, ...]]] = [
        (s, (a.id, b.id)) for s in SHEETS for a, b in list(combinations(s.units, 2))[:4]
    ]
    return singles + pairs


def _planned(
    sheet: Sheet, targets: tuple[str, ...]
) -> tuple[BenchState, Mapping[str, Item], dict[str, list[LotInHand]]]:
    plan = make_plan(sheet, targets)
    items = counting.items_of(sheet, plan.teardown, plan.targets)
    data = {
        "pass_no": 1,
        "targets": list(plan.targets),
        "teardown": list(plan.teardown),
        "refit": list(plan.refit),
        "baseline": {k: i.baseline for k, i in items.items()},
    }
    state = counting.apply(BenchState(), Event("e0", "planned", 1, START, data=data))
    state = replace(state, at_bench=1)
    kit = {line.part: [LotInHand(n, f"L{n}", line.count)] for n, line in enumerate(plan.kit, start=1)}
    return state, items, kit


@pytest.mark.parametrize(("sheet", "targets"), _cases(), ids=lambda v: v.code if isinstance(v, Sheet) else "+".join(v))
def test_a_pass_without_trouble_balances_and_uses_the_kit_up(sheet: Sheet, targets: tuple[str, ...]) -> None:
    state, items, kit = _planned(sheet, targets)
    events: list[Event] = []
    at, used = START, dict.fromkeys(kit, 0)

    def happen(kind: str, step: str | None = None, **data: object) -> None:
        nonlocal state
        event = Event(f"e{len(events) + 1}", kind, 1, at, step, data)
        events.append(event)
        state = counting.apply(state, event)

    numbers = bench.step_numbers(sheet, state.teardown)
    while (now := bench.focus(sheet, state)) is not None:
        out = bench.tick_down(sheet, items, state, now[1])
        happen("tick", now[1], side="down", effect=out.effect)
        at += timedelta(minutes=1)
    bench.turn(state)
    happen("turned")
    while (now := bench.focus(sheet, state)) is not None:
        at += timedelta(hours=2)
        cover = bench.count_before_cover(sheet, items, state, now[1], {})
        out = bench.tick_up(sheet, items, state, now[1], kit, at, cover)
        for fit in out.fitted:
            used[fit.part] += fit.count
            kit[fit.part] = [replace(lot, free=lot.free - fit.count) for lot in kit[fit.part]]
        happen("tick", now[1], side="up", effect=out.effect, covers=out.covers)
    found = counting.closing_count(items, state, numbers, {})
    assert found.problems == ()
    assert used == {line.part: line.count for line in make_plan(sheet, targets).kit}
    assert all(row.count.missing == 0 and row.count.waiting <= 0 for row in found.rows if row.item.kind != "fit")


@pytest.mark.parametrize(("sheet", "targets"), _cases(), ids=lambda v: v.code if isinstance(v, Sheet) else "+".join(v))
def test_every_plan_closes_the_device_once_and_counts_before_it(sheet: Sheet, targets: tuple[str, ...]) -> None:
    plan = make_plan(sheet, targets)
    closing = [s for s in plan.refit if (r := sheet.step(s).refit) and r.closes]
    assert len(closing) == 1
