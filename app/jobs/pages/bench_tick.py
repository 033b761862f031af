"""The large tick of the bench page: what it says, what it sends, and why it cannot be pressed."""

from collections.abc import Mapping
from dataclasses import dataclass

from app.jobs.pages.bench_step import LOOSE, Loaded, hold_words
from app.rules import bench
from app.rules.bench import Missing, Outcome, PartsMissing
from app.rules.verdict import Refused

# One and several, as the technician says them.
_KIND_WORDS = {
    "screw": ("screw", "screws"),
    "clip": ("clip", "clips"),
    "connector": ("connector", "connectors"),
    "flex": ("flex", "flexes"),
    "adhesive": ("adhesive", "adhesives"),
    "seal": ("seal", "seals"),
    "cover": ("cover", "covers"),
    "shield": ("shield", "shields"),
    "cable": ("cable", "cables"),
    "unit": ("unit", "units"),
    "fit": ("new part", "new parts"),
}


@dataclass(frozen=True)
class TickView:
    """The large tick: what it says, what it sends; ``blocked`` says in words why it cannot be pressed."""

    action: str
    side: str
    step: str
    say: str
    under: str
    blocked: str = ""
    problems: tuple[str, ...] = ()


def tick_view(loaded: Loaded, mode: str, side: str, step_id: str) -> tuple[TickView | None, tuple[Missing, ...]]:
    """Build the tick of the step in focus, with the new parts it waits for."""
    action = f"/jobs/{loaded.job.number}/bench/tick"
    if mode == "turn":
        out = sum(max(loaded.state.items[key].waiting, 0) for key in loaded.items if loaded.pockets.get(key))
        pieces = "1 piece" if out == 1 else f"{out} pieces"
        return TickView(action, "turn", "", "Start refit", f"{pieces} in the tray" if out else ""), ()
    if mode == "held":
        return TickView(action, side, step_id, "Stop: on hold", "", hold_words(loaded.job)), ()
    if mode != "step" or not step_id:
        return None, ()
    try:
        outcome = _outcome(loaded, side, step_id)
    except PartsMissing as waits:
        return TickView(action, side, step_id, "Waiting for parts", "", waits.reason), waits.missing
    except Refused as refusal:
        return TickView(action, side, step_id, "Not yet", "", refusal.reason, _cover_problems(loaded, step_id)), ()
    say, under = _say(loaded, outcome, side)
    if outcome.covers:
        under = ", ".join(w for w in (say if say != "Done" else "", under) if w)
        say = "Count overridden, cover on" if bench.waived(loaded.state, step_id) else "Count agrees, cover on"
    return TickView(action, side, step_id, say, under), ()


def _outcome(loaded: Loaded, side: str, step_id: str) -> Outcome:
    if side == "down":
        return bench.tick_down(loaded.sheet, loaded.items, loaded.state, step_id)
    cover = bench.count_before_cover(loaded.sheet, loaded.items, loaded.state, step_id, loaded.pockets)
    return bench.tick_up(loaded.sheet, loaded.items, loaded.state, step_id, loaded.in_hand, loaded.at, cover)


def _cover_problems(loaded: Loaded, step_id: str) -> tuple[str, ...]:
    refit = loaded.sheet.step(step_id).refit
    if not refit or not refit.closes or step_id not in bench.ready_up(loaded.sheet, loaded.state):
        return ()
    found = bench.count_before_cover(loaded.sheet, loaded.items, loaded.state, step_id, loaded.pockets)
    return found.problems if found else ()


def _say(loaded: Loaded, outcome: Outcome, side: str) -> tuple[str, str]:
    """Return the two lines of the tick: what is counted, and what is scrapped or fitted new."""
    moved: dict[str, int] = {}
    for key, change in outcome.effect.items():
        pieces = change.get("refitted", 0) if side == "up" else change.get("out", 0) - change.get("planned", 0)
        if pieces > 0:
            kind = loaded.items[key].kind
            moved[kind] = moved.get(kind, 0) + pieces
    first = _moved_words(moved, side)
    second = []
    scrapped = _by_kind(loaded, {s.item: s.count for s in outcome.scrapped})
    second += [f"{n} {_kind(kind, n)} scrapped" for kind, n in scrapped.items()]
    new: dict[str, int] = {}
    for fit in outcome.fitted:
        new[fit.item] = new.get(fit.item, 0) + fit.count
    second += [
        f"{n} {_kind(kind, n)} used" if kind == "fit" else f"{n} new {_kind(kind, n)} fitted"
        for kind, n in _by_kind(loaded, new).items()
    ]
    under = ", ".join(second[:3])
    if first:
        return first, under
    return ("Done", under) if not under else (under[0].upper() + under[1:], "")


def _moved_words(moved: Mapping[str, int], side: str) -> str:
    """Return '6 screws out' or '1 connector released, 1 unit out': what stays on the device is not 'out'."""
    if side == "up":
        return ", ".join(f"{n} {_kind(kind, n)}" for kind, n in list(moved.items())[:2]) + (" back" if moved else "")
    loose = [(kind, n) for kind, n in moved.items() if kind in LOOSE]
    bound = [(kind, n) for kind, n in moved.items() if kind not in LOOSE]
    words = []
    if loose:
        words.append(", ".join(f"{n} {_kind(kind, n)}" for kind, n in loose[:2]) + " out")
    if bound:
        words.append(", ".join(f"{n} {_kind(kind, n)}" for kind, n in bound[:2]) + " released")
    return ", ".join(words)


def _by_kind(loaded: Loaded, counts: Mapping[str, int]) -> dict[str, int]:
    found: dict[str, int] = {}
    for key, n in counts.items():
        kind = loaded.items[key].kind
        found[kind] = found.get(kind, 0) + n
    return found


def _kind(kind: str, n: int) -> str:
    one, several = _KIND_WORDS[kind]
    return one if n == 1 else several
