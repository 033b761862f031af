"""Random procedures of any size, quick to make: their steps skip validation that is tested elsewhere."""

import random
from typing import Any

from app.rules.sheet import Fixing, FixingKind, Refit, ReuseClass, Sheet, Step, Tool, Unit
from tests.rules.sheets import sheet, step, unit

TOOLS = ("driver-a", "driver-b", "pick", "tweezers")


def random_sheet(chance: random.Random, steps: int, wide: int = 4) -> Sheet:
    """Return an acyclic sheet of so many steps; each waits for up to ``wide`` near or far steps before it.

    The author's order is shuffled within windows, so that it is mostly, and not always, an order that works.
    """
    template = sheet([step("s", frees="u")], [unit("u")])
    refit = Refit(title="Close", do="Put it back.", time_s=20)
    made: list[Step] = []
    units: list[Unit] = []
    for n in range(steps):
        near = [chance.randrange(max(0, n - 12), n) for _ in range(chance.randint(0, wide))] if n else []
        far = [chance.randrange(n)] if n and chance.random() < 0.2 else []
        frees = f"u{n}" if n == steps - 1 or chance.random() < 0.03 else None
        if frees:
            units.append(Unit(id=frees, name=f"Unit {n}", part=f"U-{n}"))
        made.append(
            Step.model_construct(
                **_plain(n, [f"s{b}" for b in dict.fromkeys((*near, *far))], frees),
                tools=tuple(chance.sample(TOOLS, chance.randint(0, 2))),
                releases=_fixings(chance, n),
                refit=refit if chance.random() < 0.9 else None,
                time_s=chance.randint(5, 300),
            )
        )
    order = sorted(range(steps), key=lambda n: n + chance.uniform(0, 6))
    tools = tuple(Tool(id=name, name=name) for name in TOOLS)
    return template.model_copy(update={"steps": tuple(made[n] for n in order), "units": tuple(units), "tools": tools})


def _plain(n: int, after: list[str], frees: str | None) -> dict[str, Any]:
    return {"id": f"s{n}", "title": f"Open {n}", "do": "Lift it.", "after": tuple(after), "frees": frees}


def _fixings(chance: random.Random, n: int) -> tuple[Fixing, ...]:
    found = []
    for k in range(chance.randint(0, 2)):
        reuse = chance.choice(list(ReuseClass))
        found.append(
            Fixing(
                id=f"f{k}",
                kind=chance.choice(list(FixingKind)),
                name=f"Fixing {n}",
                count=chance.randint(1, 8),
                reuse=reuse,
                part=f"P-{chance.randrange(40)}" if reuse is ReuseClass.SINGLE_USE else None,
            )
        )
    return tuple(found)
