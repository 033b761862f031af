"""What a new plan in mid-work does to the state at the bench: it adds and drops steps and keeps all that is counted."""

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from app.rules.items import ItemCount

if TYPE_CHECKING:
    from app.rules.counting import BenchState


def extended(state: "BenchState", data: Mapping[str, Any]) -> "BenchState":
    """Return the state after an entry of kind ``extended``; its data is that of ``extending.Extension.data``.

    Steps that come down once more begin anew: what was counted of them belongs to the first time, and no tick before
    the new plan can be taken back any more, as its counts would no longer be there to subtract.
    """
    again, gone, begun = set(data["again"]), set(data["gone"]), dict(data["baseline"])
    items = {key: count for key, count in state.items.items() if key not in gone}
    items |= {key: ItemCount(baseline=n) for key, n in begun.items()}
    return replace(
        state,
        targets=tuple(data["targets"]),
        exchanged=tuple(dict.fromkeys((*state.exchanged, *data["exchanged"]))),
        teardown=tuple(data["teardown"]),
        refit=tuple(data["refit"]),
        down=tuple(step for step in state.down if step not in again),
        up=tuple(step for step in state.up if step not in again),
        turned=bool(data["turned"]),
        items=items,
        new_part={key: part for key, part in state.new_part.items() if key in items and key not in begun},
        rejects=tuple(name for name in state.rejects if name.partition("/")[0] not in again),
        ticks=() if again else state.ticks,
        timers={step: ready for step, ready in state.timers.items() if step not in again},
        covered=tuple(step for step in state.covered if step not in again),
        waived={step: problems for step, problems in state.waived.items() if step not in again},
        places={key: taps for key, taps in state.places.items() if key in items and key not in begun},
        tests={},
    )
