"""The step in focus on the bench page: what it releases or fits, its inspections, serials, drawing."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

from markupsafe import Markup

from app.jobs.models import Hold
from app.jobs.pages.places import PlacesView, PlaceView, places_view
from app.jobs.queries.bench import BenchJob
from app.procedures.queries import ClipView
from app.rules import bench
from app.rules.bench import LotInHand
from app.rules.counting import BenchState, Item, ItemCount
from app.rules.hazards import sort_hazards
from app.rules.sheet import Hazard, Inspection, Refit, ReuseClass, Sheet, Step

LOOSE = frozenset({"screw", "cover", "shield", "unit", "seal"})
"""Kinds that leave the device; the others are released and stay on it."""


DENSE, PACKED = 13, 20
"""Above so many lines of text smaller type, and then a smaller drawing, is better than scrolling."""


@dataclass(frozen=True)
class Line:
    """One line of what to release or to fit; counts as ``ItemCount``, ``goes`` as the macro takes it.

    ``part`` is the number of a new part that goes in, ``lots`` the codes of its lots in hand, ``fits``
    how many go in: what a scan confirms. ``spots`` are its places on the drawing.
    """

    key: str
    count: int
    name: str
    detail: str
    goes: str
    pocket: int | None
    out: int
    back: int
    scrapped: int
    absent: int
    new: int
    total: int
    part: str = ""
    lots: tuple[str, ...] = ()
    fits: int = 0
    spots: tuple[PlaceView, ...] = ()


@dataclass(frozen=True)
class Check:
    """An inspection: ``value`` names it for the reject box; ``failed`` when it was rejected already."""

    ask: str
    value: str
    failed: bool


@dataclass(frozen=True)
class StepView:
    """The step in focus, on the side it is worked; ``then`` is what has to be pressed or cures after its tick."""

    id: str
    side: str
    number: int
    title: str
    do: str
    kicker: str
    hazards: tuple[Hazard, ...]
    tools: tuple[tuple[str, str | None], ...]
    lines: tuple[Line, ...]
    checks: tuple[Check, ...]
    old_serial: str
    new_serial: str
    done: bool
    drawing: Markup | None
    dense: bool = False
    packed: bool = False
    places: PlacesView | None = None
    picture: str = ""
    clip: ClipView | None = None
    then: str = ""


@dataclass(frozen=True)
class Loaded:
    """What the bench page is built from: the job as it stands, its sheet, and what is in hand."""

    job: BenchJob
    sheet: Sheet
    items: Mapping[str, Item]
    pockets: Mapping[str, int]
    in_hand: Mapping[str, Sequence[LotInHand]]
    at: datetime
    who: int

    @property
    def state(self) -> BenchState:
        return self.job.state


def hold_words(job: BenchJob) -> str:
    """Return why the job is on hold, or nothing."""
    return "" if job.hold is Hold.NONE else job.hold_reason or job.hold.value


def step_view(
    drawings: Mapping[str, Markup], clips: Mapping[str, ClipView], loaded: Loaded, side: str, step_id: str
) -> StepView:
    """Build the step in focus on the side ``side`` (down or up).

    ``drawings`` are the procedure's by picture, ``clips`` those of the steps; a clip shows the way down only.
    """
    step = loaded.sheet.step(step_id)
    refit = step.refit if side == "up" else None
    numbers = bench.step_numbers(loaded.sheet, loaded.state.teardown)
    picture = step.picture or loaded.sheet.picture or ""
    drawing = drawings.get(picture)
    old, new = _serials(loaded, step, refit)
    hazards = tuple(sort_hazards(refit.hazards if refit else step.hazards))
    lines = tuple(_line(loaded, step, item, side) for item in loaded.items.values() if _belongs(item, step_id, side))
    checks = _checks(loaded.state, step_id, refit.inspect if refit else step.inspect)
    places = places_view(step, side, loaded.items, loaded.state, drawing)
    rows = len(lines) + sum(1.3 * -(-len(f.places) // 6) for f in step.releases if len(f.places) > 3 and places)
    done = step_id in (loaded.state.up if side == "up" else loaded.state.down)
    then = _then(refit) if refit and not done else ""
    filled = _rows((refit.do if refit else step.do) + then, rows, checks, len(hazards), exchange=bool(old))
    dense = filled > DENSE
    if places:
        places = places.with_room(dense=dense)
        lines = tuple(replace(line, spots=places.of(line.key)) for line in lines)
    return StepView(
        id=step_id,
        side=side,
        number=numbers[step_id],
        title=refit.title if refit else step.title,
        do=refit.do if refit else step.do,
        kicker=_kicker(loaded, step_id, side, numbers[step_id]),
        hazards=hazards,
        tools=_tools(loaded.sheet, refit.tools or step.tools if refit else step.tools),
        lines=lines,
        checks=checks,
        old_serial=old,
        new_serial=new,
        done=done,
        drawing=drawing,
        dense=dense,
        packed=filled > PACKED,
        places=places,
        picture=picture if drawing else "",
        clip=clips.get(step_id) if side == "down" else None,
        then=then,
    )


def _spell(seconds: int) -> str:
    return f"{seconds} s" if seconds % 60 else f"{seconds // 60} min"


def _then(refit: Refit) -> str:
    if refit.cure_s:
        return f"The tick starts {_spell(refit.cure_s)} of curing."
    return f"Keep it pressed for {_spell(refit.press_s)} from the tick on." if refit.press_s else ""


def _rows(do: str, lines: float, checks: Sequence[Check], hazards: int, *, exchange: bool) -> float:
    """How much a step has on it, in lines of text, by eye."""
    return len(do) / 42 + 1.9 * lines + sum(2.6 + len(c.ask) / 40 for c in checks) + 4.5 * hazards + 3 * exchange


def _kicker(loaded: Loaded, step_id: str, side: str, number: int) -> str:
    state = loaded.state
    done = step_id in (state.up if side == "up" else state.down)
    focus = bench.focus(loaded.sheet, state)
    words = f"{'Refit of step' if side == 'up' else 'Step'} {number}"
    if done:
        return f"{words} · done"
    return words if focus == (side, step_id) else f"{words} · not next"


def _belongs(item: Item, step_id: str, side: str) -> bool:
    return item.step == step_id and (side == "up" or item.kind != "fit")


def _tools(sheet: Sheet, ids: Sequence[str]) -> tuple[tuple[str, str | None], ...]:
    named = {tool.id: (tool.name, tool.size) for tool in sheet.tools}
    return tuple(named[i] for i in ids)


def _checks(state: BenchState, step_id: str, looks: Sequence[Inspection]) -> tuple[Check, ...]:
    return tuple(Check(i.ask, f"{step_id}/{i.id}", f"{step_id}/{i.id}" in state.rejects) for i in looks)


def _serials(loaded: Loaded, step: Step, refit: Refit | None) -> tuple[str, str]:
    """Return ('ask', serial of the new unit) where this refit exchanges a unit whose serial is tracked."""
    if refit is None or step.frees is None or step.frees not in loaded.state.targets:
        return "", ""
    unit = next(u for u in loaded.sheet.units if u.id == step.frees)
    if not unit.serial_tracked:
        return "", ""
    free = [s for lot in loaded.in_hand.get(unit.part, ()) for s in lot.serials]
    return "ask", free[0] if free else ""


def _line(loaded: Loaded, step: Step, item: Item, side: str) -> Line:
    count = loaded.state.items.get(item.key, ItemCount(baseline=item.baseline))
    pocket = loaded.pockets.get(item.key)
    if side == "down":
        return down_line(loaded, step, item, count, pocket)
    back, new = bench.wanted(item, count)
    done = step.id in loaded.state.up
    shown = count.refitted + count.new + back + new
    part = (loaded.state.new_part.get(item.key) or item.part or "") if new and not done else ""
    kept = back or done or count.refitted
    goes = "tray" if pocket and kept and not new else "new" if new or count.new else _beside(item, count)
    return Line(
        key=item.key,
        count=shown,
        name=item.name,
        detail=_up_detail(loaded, step, item, back, new),
        goes=goes,
        pocket=pocket,
        out=count.out,
        back=count.refitted,
        scrapped=count.scrapped,
        absent=count.absent,
        new=count.new,
        total=max(item.baseline, 1),
        part=_goes_in(loaded, part)[0],
        lots=_goes_in(loaded, part)[1],
        fits=new if part else 0,
    )


def _goes_in(loaded: Loaded, part: str) -> tuple[str, tuple[str, ...]]:
    """Return the part that goes in next where one is wanted, itself or its alternate, with its lots in hand."""
    free = [lot for lot in loaded.in_hand.get(part, ()) if lot.free > 0 and (not lot.part or lot.most > 0)]
    goes = free[0].part if free else ""
    return goes or part, tuple(lot.code for lot in free if lot.part == goes)


def _beside(item: Item, count: ItemCount) -> str:
    """Where a piece without a tray pocket is: on the device, or set aside while it is off it."""
    return "aside" if item.kind in LOOSE and not count.refitted else "stays"


def down_line(loaded: Loaded, step: Step, item: Item, count: ItemCount, pocket: int | None) -> Line:
    """Build the line of what a step releases, counted or still to count."""
    done = step.id in loaded.state.down
    detail = []
    if count.absent:
        detail.append(f"{count.absent} missing on arrival")
    if count.damaged:
        detail.append(f"{count.damaged} damaged")
    if item.target:
        detail.append("to be exchanged")
    elif item.reuse is ReuseClass.INSPECT:
        detail.append("goes back only if it passes")
    return Line(
        key=item.key,
        count=count.out if done else count.baseline - count.absent,
        name=item.name,
        detail=" · ".join(detail),
        goes="scrap" if item.reuse is ReuseClass.SINGLE_USE else "tray" if pocket else _beside(item, count),
        pocket=pocket,
        out=count.out,
        back=count.refitted,
        scrapped=count.scrapped,
        absent=count.absent,
        new=count.new,
        total=item.baseline,
    )


def _up_detail(loaded: Loaded, step: Step, item: Item, back: int, new: int) -> str:
    detail = [f"{back} from the tray, {new} new"] if new and back else []
    fixing = next((f for f in step.releases if item.key == f"{step.id}/{f.id}"), None)
    if fixing is not None and fixing.kind.value == "screw":
        torque = fixing.torque
        detail.append(f"{torque.value_ncm.normalize():f} N·cm, {torque.source}" if torque else "torque not given")
    if new:
        part = loaded.state.new_part.get(item.key) or item.part or ""
        goes, codes = _goes_in(loaded, part)
        name = goes if goes == part else f"{goes} in place of {part}"
        detail.append(f"{name} · lot {codes[0]}" if codes else part)
    return " · ".join(d for d in detail if d)
