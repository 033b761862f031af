"""The count: what came out of the device, and whether all of it is back, scrapped or replaced.

Every event that touches an item carries its *effect*, ``{item: {field: change}}``. The state is the sum of
the effects, so a projection can always be rebuilt from the events, and taking an entry back is adding its
effect with the sign turned. Rules after the usual accountability practice of counted trades: count at
opening, before a cavity closes, at the end and at a change of person; a mismatch blocks closing.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from datetime import datetime
from typing import Any

from app.rules.extended import extended
from app.rules.items import FIELDS, Effect, Item, ItemCount, items_of, turned_sign, with_effect
from app.rules.taps import NONE, Taps, marks, with_broken, with_tap, without

__all__ = [
    "BenchState", "ClosingCount", "CountRow", "Effect", "Event", "Item", "ItemCount", "Tick",
    "apply", "closing_count", "fold", "items_of", "next_pass", "turned_sign", "with_effect",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Event:
    """A bench event as the fold needs it: plain data, time in UTC."""

    event_id: str
    kind: str
    person: int | None
    at: datetime
    step: str | None = None
    data: Mapping[str, Any] = field(default_factory=dict)
    undoes: str | None = None


@dataclass(frozen=True, slots=True)
class Tick:
    """An entry that undo can take back: ``side`` is down, turn or up."""

    event_id: str
    side: str
    step: str


_TUPLES = (
    "targets", "teardown", "refit", "down", "up", "rejects", "covered", "disturbed", "exchanged", "failed",
    "questions",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class BenchState:
    """Where a job stands at the bench: the projection of its events for the present pass.

    ``waived`` holds, for a refit step that closes a cavity, the problems that a supervisor overrode before it.
    ``disturbed`` and ``exchanged`` are the steps and units of earlier passes, ``failed`` the release tests that
    failed and have not passed since: what has to be tested follows from all passes of the visit. ``questions``
    are entries from a tablet that could not be booked and that nobody has settled yet. ``places`` are the places
    that were counted one by one, by item; a step's tick counts the others and leaves them as they are.
    """

    pass_no: int = 1
    targets: tuple[str, ...] = ()
    teardown: tuple[str, ...] = ()
    refit: tuple[str, ...] = ()
    down: tuple[str, ...] = ()
    up: tuple[str, ...] = ()
    turned: bool = False
    items: Mapping[str, ItemCount] = field(default_factory=dict)
    new_part: Mapping[str, str] = field(default_factory=dict)
    rejects: tuple[str, ...] = ()
    ticks: tuple[Tick, ...] = ()
    timers: Mapping[str, str] = field(default_factory=dict)
    leftover: int = 0
    at_bench: int | None = None
    paused: str | None = None
    recount_due: bool = False
    counted: bool = False
    covered: tuple[str, ...] = ()
    override: str | None = None
    waived: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    disturbed: tuple[str, ...] = ()
    exchanged: tuple[str, ...] = ()
    failed: tuple[str, ...] = ()
    tests: Mapping[str, bool] = field(default_factory=dict)
    questions: tuple[str, ...] = ()
    places: Mapping[str, Taps] = field(default_factory=dict)

    def to_json(self) -> dict[str, Any]:
        """Return plain JSON data; ``from_json`` gives an equal state back."""
        found = {f.name: getattr(self, f.name) for f in fields(self)}
        found["items"] = {k: [getattr(v, name) for name in FIELDS] for k, v in self.items.items()}
        found["ticks"] = [[t.event_id, t.side, t.step] for t in self.ticks]
        for name in _TUPLES:
            found[name] = list(found[name])
        found["waived"] = {step: list(problems) for step, problems in self.waived.items()}
        found["places"] = {key: taps.to_json() for key, taps in self.places.items()}
        for name in ("new_part", "timers", "tests"):
            found[name] = dict(found[name])
        return found

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> "BenchState":
        """Rebuild a state from ``to_json`` data; an empty mapping is the state before anything happened."""
        if not data:
            return cls()
        found = dict(data)
        found["items"] = {k: ItemCount(*v) for k, v in data["items"].items()}
        found["ticks"] = tuple(Tick(*t) for t in data["ticks"])
        for name in _TUPLES:
            found[name] = tuple(found.get(name, ()))
        found["waived"] = {step: tuple(problems) for step, problems in data["waived"].items()}
        found["places"] = {key: Taps.from_json(taps) for key, taps in data.get("places", {}).items()}
        return cls(**found)

    @property
    def torn_down(self) -> bool:
        """All planned teardown steps are done."""
        return bool(self.teardown) and set(self.down) >= set(self.teardown)

    @property
    def refitted(self) -> bool:
        """All planned refit steps are done."""
        return self.turned and set(self.up) >= set(self.refit)


def apply(state: BenchState, event: Event) -> BenchState:
    """Return the state after one event. Total: an unknown kind changes nothing but is kept as a fact."""
    handler = _HANDLERS.get(event.kind)
    effect = event.data.get("effect")
    if effect:
        state = replace(state, items=with_effect(state.items, effect))
    if event.kind == "question":
        return replace(state, questions=(*state.questions, event.event_id))
    answers = event.data.get("answers")
    if answers:
        state = replace(state, questions=tuple(q for q in state.questions if q != answers))
    return handler(state, event) if handler else state


def fold(events: Iterable[Event]) -> BenchState:
    """Rebuild the state from all events of a job, in sequence order."""
    state = BenchState()
    for event in events:
        state = apply(state, event)
    return state


def next_pass(state: BenchState) -> int:
    """Return the number of the pass that a new plan begins: the next one once the present one is counted."""
    return state.pass_no + 1 if state.counted else state.pass_no


def _planned(state: BenchState, event: Event) -> BenchState:
    data = event.data
    return BenchState(
        pass_no=int(data["pass_no"]),
        targets=tuple(data["targets"]),
        teardown=tuple(data["teardown"]),
        refit=tuple(data["refit"]),
        items={key: ItemCount(baseline=n) for key, n in data["baseline"].items()},
        at_bench=state.at_bench,
        paused=state.paused,
        disturbed=tuple(dict.fromkeys((*state.disturbed, *state.down))),
        exchanged=tuple(dict.fromkeys((*state.exchanged, *(state.targets if state.turned else ())))),
        failed=state.failed,
        questions=state.questions,
    )


def _opened(state: BenchState, event: Event) -> BenchState:
    return replace(state, at_bench=event.person, paused=None)


def _paused(state: BenchState, event: Event) -> BenchState:
    return replace(state, at_bench=None, paused=str(event.data.get("reason", "")))


def _tick(state: BenchState, event: Event) -> BenchState:
    side, step = str(event.data["side"]), str(event.step)
    ticks = (*state.ticks, Tick(event.event_id, side, step))
    timers = dict(state.timers)
    if event.data.get("ready_at"):
        timers[step] = str(event.data["ready_at"])
    covered = (*state.covered, step) if event.data.get("covers") else state.covered
    if side == "down":
        return replace(state, down=(*state.down, step), ticks=ticks)
    return replace(state, up=(*state.up, step), ticks=ticks, timers=timers, covered=covered)


def _place(state: BenchState, event: Event) -> BenchState:
    """Count one place, or take that back; its counts come with the effect. It is no tick, and undo passes it by."""
    if not event.data["on"]:
        return replace(state, places=without(state.places, event.undoes))
    key, side, place = str(event.data["item"]), str(event.data["side"]), int(event.data["place"])
    return replace(state, places=with_tap(state.places, key, side, place, event.event_id))


def _turned(state: BenchState, event: Event) -> BenchState:
    return replace(state, turned=True, ticks=(*state.ticks, Tick(event.event_id, "turn", "")))


def _undone(state: BenchState, event: Event) -> BenchState:
    """Take an entry back. Its counts were already subtracted by the effect."""
    last = state.ticks[-1] if state.ticks else None
    if last is None or last.event_id != event.undoes:
        rejects = tuple(r for r in state.rejects if r != event.data.get("reject"))
        leftover = state.leftover - int(event.data.get("leftover", 0))
        gone = event.data.get("new_part_of")
        parts = {k: v for k, v in state.new_part.items() if k != gone}
        if gone and event.data.get("new_part"):
            parts[str(gone)] = str(event.data["new_part"])  # What a report that still stands has chosen.
        places = without(state.places, event.undoes)
        return replace(
            state, rejects=rejects, leftover=leftover, new_part=parts, places=places, counted=False, tests={}
        )
    state = replace(state, ticks=state.ticks[:-1], counted=False, tests={})
    if last.side == "turn":
        return replace(state, turned=False)
    if last.side == "down":
        return replace(state, down=tuple(s for s in state.down if s != last.step))
    return replace(
        state,
        up=tuple(s for s in state.up if s != last.step),
        timers={k: v for k, v in state.timers.items() if k != last.step},
        covered=tuple(s for s in state.covered if s != last.step),
        waived={k: v for k, v in state.waived.items() if k != last.step},
    )


def _reported(state: BenchState, event: Event) -> BenchState:
    """A report of trouble opens a signed count again: what was agreed no longer holds."""
    parts = dict(state.new_part)
    if event.data.get("part"):
        parts[str(event.data["item"])] = str(event.data["part"])
    rejects = state.rejects
    if event.data.get("reject"):
        rejects = (*rejects, str(event.data["reject"]))
    leftover = state.leftover + int(event.data.get("leftover", 0))
    places = with_broken(state.places, event.data.get("effect", {}), event.event_id)
    return replace(state, new_part=parts, rejects=rejects, leftover=leftover, places=places, counted=False, tests={})


def _taken_over(state: BenchState, event: Event) -> BenchState:
    return replace(state, at_bench=event.person, paused=None, recount_due=bool(event.data.get("recount_due")))


def _recounted(state: BenchState, _event: Event) -> BenchState:
    return replace(state, recount_due=False)


def _counted(state: BenchState, _event: Event) -> BenchState:
    return replace(state, counted=True)


def _overridden(state: BenchState, event: Event) -> BenchState:
    final = event.data.get("scope") == "final"
    waived = dict(state.waived)
    if not final and event.step:
        waived[event.step] = tuple(event.data.get("problems", ()))
    return replace(state, override=event.event_id, waived=waived, counted=state.counted or final)


def _tested(state: BenchState, event: Event) -> BenchState:
    name, passed = str(event.data["test"]), bool(event.data["passed"])
    others = tuple(t for t in state.failed if t != name)
    return replace(state, tests={**state.tests, name: passed}, failed=others if passed else (*others, name))


_HANDLERS = {
    "planned": _planned,
    "extended": lambda state, event: extended(state, event.data),
    "opened": _opened,
    "paused": _paused,
    "tick": _tick,
    "place": _place,
    "turned": _turned,
    "undo": _undone,
    "damage": _reported,
    "absent": _reported,
    "lost": _reported,
    "leftover": _reported,
    "spoiled": _reported,
    "reject": _reported,
    "takeover": _taken_over,
    "recount": _recounted,
    "count": _counted,
    "override": _overridden,
    "test": _tested,
}


@dataclass(frozen=True, slots=True)
class CountRow:
    """One line of the closing count; ``pocket`` is the tray pocket of reusable fasteners."""

    item: Item
    count: ItemCount
    pocket: int | None
    problems: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ClosingCount:
    """The reconciliation: rows in step order, what is wrong in words, and whether the job may go on."""

    rows: tuple[CountRow, ...]
    problems: tuple[str, ...]

    @property
    def balanced(self) -> bool:
        """Everything that came out is refitted, scrapped or replaced, and nothing is left over."""
        return not self.problems


def closing_count(
    items: Mapping[str, Item],
    state: BenchState,
    step_no: Mapping[str, int],
    pockets: Mapping[str, int],
    before_step: str | None = None,
) -> ClosingCount:
    """Reconcile all items of the present pass.

    ``step_no`` numbers the steps for the words, ``pockets`` maps items to tray pockets. With ``before_step``
    the count is the one before that refit step closes a cavity: items of it and of the refit steps after it
    may still wait outside, but none may be lost or uncounted.
    """
    later: set[str] = set()
    if before_step is not None and before_step in state.refit:
        later = set(state.refit[state.refit.index(before_step) :])
    rows = []
    for key, item in items.items():
        count = state.items.get(key, ItemCount(baseline=item.baseline))
        singly = state.places.get(key, NONE)
        problems = _item_problems(item, count, step_no, pockets.get(key), singly, waits=item.step in later)
        rows.append(CountRow(item, count, pockets.get(key), problems))
    loose = [p for row in rows for p in row.problems]
    loose += _state_problems(state, step_no, later)
    return ClosingCount(tuple(rows), tuple(loose))


TURNED_UP = "take the ticks back to that step, and fit it in place of the new one."


def places_left(item: Item, count: ItemCount, taps: Taps) -> tuple[int, ...]:
    """Return the places that are not back, of an item that was counted back place by place; else nothing."""
    if not item.places or not taps.back:
        return ()
    return tuple(n for n, mark in enumerate(marks(count, taps), start=1) if mark != "back")


def _item_problems(
    item: Item, count: ItemCount, step_no: Mapping[str, int], pocket: int | None, taps: Taps, *, waits: bool
) -> tuple[str, ...]:
    where = f"step {step_no[item.step]}" + (f", tray pocket {pocket}" if pocket else "")
    name = f"{item.name} ({where})"
    found = []
    # What the refit fits in addition never came out, so it is not counted out.
    uncounted = 0 if item.kind == "fit" else count.baseline - count.out - count.absent
    if uncounted:
        found.append(f"{uncounted} of {count.baseline} {name} {_is(uncounted, 'was', 'were')} never counted out.")
    if count.lost:
        found.append(
            f"{count.lost} {name} {_is(count.lost)} reported lost. "
            "Search the device and the bench, or ask for an override."
        )
    if waits:
        return tuple(found)
    left = places_left(item, count, taps)
    if left and count.missing > 0 and not count.lost:
        found += [f"{item.name} {n} of {item.places} ({where}) is not back." for n in left]
        return tuple(found)
    if item.kind != "fit" and count.waiting > 0:
        # A lost piece that turned up after a new one was fitted.
        filled = "" if count.missing > 0 else f" Every place is filled: {TURNED_UP}"
        found.append(f"{count.waiting} {name} came out and {_is(count.waiting)} neither back nor scrapped.{filled}")
    elif count.missing > 0 and not (uncounted or count.lost):
        found.append(f"{count.missing} {name} {_is(count.missing)} missing: no new one is recorded as fitted.")
    return tuple(found)


def _is(count: int, one: str = "is", several: str = "are") -> str:
    return one if count == 1 else several


def _state_problems(state: BenchState, step_no: Mapping[str, int], later: set[str]) -> Sequence[str]:
    found = []
    if not later:
        found += [f"Step {step_no[s]} has no teardown tick." for s in state.teardown if s not in state.down]
        found += [f"Step {step_no[s]} is not refitted." for s in state.refit if s not in state.up]
    if state.leftover:
        pieces = "piece" if state.leftover == 1 else "pieces"
        found.append(
            f"{state.leftover} {pieces} left over on the bench. Find where it belongs before anything is closed."
        )
    if state.recount_due:
        found.append("A recount is due because another technician took over.")
    return found
