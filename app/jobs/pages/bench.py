"""The bench page: one step in focus, what it releases or fits, the descent beside it, one large tick."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from typing import Any

from markupsafe import Markup
from sqlmodel import Session

from app.jobs.models import Hold, Stage
from app.jobs.pages.rail import Rail, rail_of
from app.jobs.queries.bench import (
    BenchJob,
    bench_job,
    items_for,
    kit_lots,
    lots_in_hand,
    pocket_numbers,
    time_entries,
)
from app.people import queries as people
from app.platform.settings import Settings
from app.procedures import queries as procedures
from app.rules import bench
from app.rules.bench import LotInHand, Missing, Outcome, PartsMissing
from app.rules.bench_marks import job_intervals
from app.rules.counting import BenchState, Item, ItemCount
from app.rules.hazards import sort_hazards
from app.rules.sheet import Hazard, Inspection, Refit, ReuseClass, Sheet, Step
from app.rules.verdict import Refused
from app.stores import queries as stores

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


_LOOSE = frozenset({"screw", "cover", "shield", "unit", "seal"})


@dataclass(frozen=True)
class Line:
    """One line of what to release or to fit; counts as ``ItemCount``, ``goes`` as the macro takes it."""

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


@dataclass(frozen=True)
class Check:
    """An inspection: ``value`` names it for the reject box; ``failed`` when it was rejected already."""

    ask: str
    value: str
    failed: bool


@dataclass(frozen=True)
class Timer:
    """A running cure or press: words, when it is ready (epoch ms and local time)."""

    words: str
    until_ms: int
    ready_at: datetime


@dataclass(frozen=True)
class MissingPart:
    """A new part that stores has not handed out, with what the shelf has."""

    name: str
    number: str
    count: int
    words: str


@dataclass(frozen=True)
class StepView:
    """The step in focus, on the side it is worked."""

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


@dataclass(frozen=True)
class BenchPage:
    """Everything on the bench page. ``mode`` is step, turn, count, open, takeover, paused or done."""

    number: str
    device: str
    phase: str
    step_no: int
    steps: int
    clock: str
    base_s: int
    running: bool
    mode: str
    step: StepView | None
    rail: Rail
    tick: TickView | None
    undo: str
    undo_words: str
    timers: tuple[Timer, ...]
    missing: tuple[MissingPart, ...]
    outside: tuple[Line, ...]
    technician: str
    hold: str
    pause_reason: str
    recount_due: bool
    version: int
    next_href: str
    next_text: str
    wait_s: int = 0
    refusal: str = ""
    note: str = ""


@dataclass(frozen=True)
class _Loaded:
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


def bench_page(
    session: Session,
    number: str,
    *,
    who: int,
    at: datetime,
    settings: Settings,
    step: str = "",
    refusal: str = "",
    note: str = "",
) -> BenchPage:
    """Build the bench page of a job as it stands; ``step`` looks at another step than the one in focus."""
    job = bench_job(session, number)
    sheet = procedures.sheet(session, job.revision_id)
    lots = kit_lots(session, job.id) if job.state.turned else {}
    loaded = _Loaded(
        job,
        sheet,
        items_for(job.revision_id, sheet, job.state),
        pocket_numbers(sheet, job.state.teardown),
        lots_in_hand(session, job.id, lots),
        at,
        who,
    )
    intervals = job_intervals(time_entries(session, job.id), time.fromisoformat(settings.shift_end), settings.zone, at)
    mode = _mode(loaded)
    focus = bench.focus(sheet, job.state)
    side, step_id = _looked_at(loaded, step, focus)
    view = _step_view(session, loaded, side, step_id) if step_id else None
    tick, missing = _tick(loaded, mode, side, step_id)
    model = procedures.device_model(session, job.device_model_id)
    undo, undo_words = _undo(loaded)
    next_href, next_text = _next(loaded, mode)
    return BenchPage(
        number=number,
        device=f"{model.name} · {job.serial}",
        phase="Refit" if job.state.turned else "Teardown",
        step_no=_place(job.state),
        steps=len(job.state.refit if job.state.turned else job.state.teardown),
        clock=_clock(intervals.total_s),
        base_s=intervals.total_s,
        running=job.state.at_bench is not None,
        mode=mode,
        step=view,
        rail=rail_of(sheet, job.state, loaded.items, loaded.pockets, number),
        tick=tick,
        undo=undo,
        undo_words=undo_words,
        timers=_timers(loaded),
        missing=_missing_parts(session, missing, at.astimezone(settings.zone).date()),
        outside=_outside(loaded) if mode == "turn" else (),
        technician=people.names(session).get(job.technician_id or 0, ""),
        hold=_hold(job),
        pause_reason=job.state.paused or "",
        recount_due=job.state.recount_due,
        version=job.version,
        next_href=next_href,
        next_text=next_text,
        wait_s=max((int((t.ready_at - at).total_seconds()) + 2 for t in _timers(loaded)), default=0),
        refusal=refusal,
        note=note,
    )


def _mode(loaded: _Loaded) -> str:
    job, state = loaded.job, loaded.state
    if job.stage not in (Stage.KITTED, Stage.TEARDOWN, Stage.REFIT):
        return "done"
    if state.at_bench != loaded.who:
        other = job.technician_id not in (None, loaded.who) and bool(state.down)
        return "takeover" if other else "paused" if state.paused is not None else "open"
    if state.refitted:
        return "count"
    if state.torn_down and not state.turned:
        return "turn"
    return "step"


def _looked_at(loaded: _Loaded, step: str, focus: tuple[str, str] | None) -> tuple[str, str]:
    state = loaded.state
    if step and step in state.teardown:
        refit = loaded.sheet.step(step).refit is not None
        return ("up" if state.turned and refit else "down", step)
    if focus:
        return focus
    if state.teardown and not state.turned:
        return ("down", state.teardown[-1])
    return ("", "")


def _place(state: BenchState) -> int:
    done, of = (len(state.up), len(state.refit)) if state.turned else (len(state.down), len(state.teardown))
    return min(done + 1, of)


def _clock(seconds: int) -> str:
    hours, rest = divmod(seconds, 3600)
    text = f"{rest // 60:02d}:{rest % 60:02d}"
    return f"{hours}:{text}" if hours else text


def _hold(job: BenchJob) -> str:
    return "" if job.hold is Hold.NONE else job.hold_reason or job.hold.value


def _step_view(session: Session, loaded: _Loaded, side: str, step_id: str) -> StepView:
    step = loaded.sheet.step(step_id)
    refit = step.refit if side == "up" else None
    numbers = bench.step_numbers(loaded.sheet, loaded.state.teardown)
    drawing = procedures.step_svgs(session, loaded.job.revision_id).get(step.picture or loaded.sheet.picture or "")
    old, new = _serials(loaded, step, refit)
    return StepView(
        id=step_id,
        side=side,
        number=numbers[step_id],
        title=refit.title if refit else step.title,
        do=refit.do if refit else step.do,
        kicker=_kicker(loaded, step_id, side, numbers[step_id]),
        hazards=tuple(sort_hazards(refit.hazards if refit else step.hazards)),
        tools=_tools(loaded.sheet, refit.tools or step.tools if refit else step.tools),
        lines=tuple(
            _line(loaded, step, item, side) for key, item in loaded.items.items() if _belongs(item, step_id, side)
        ),
        checks=_checks(loaded.state, step_id, refit.inspect if refit else step.inspect),
        old_serial=old,
        new_serial=new,
        done=step_id in (loaded.state.up if side == "up" else loaded.state.down),
        drawing=drawing,
    )


def _kicker(loaded: _Loaded, step_id: str, side: str, number: int) -> str:
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


def _serials(loaded: _Loaded, step: Step, refit: Refit | None) -> tuple[str, str]:
    """Return ('ask', serial of the new unit) where this refit exchanges a unit whose serial is tracked."""
    if refit is None or step.frees is None or step.frees not in loaded.state.targets:
        return "", ""
    unit = next(u for u in loaded.sheet.units if u.id == step.frees)
    if not unit.serial_tracked:
        return "", ""
    free = [s for lot in loaded.in_hand.get(unit.part, ()) for s in lot.serials]
    return "ask", free[0] if free else ""


def _line(loaded: _Loaded, step: Step, item: Item, side: str) -> Line:
    count = loaded.state.items.get(item.key, ItemCount(baseline=item.baseline))
    pocket = loaded.pockets.get(item.key)
    if side == "down":
        return _down_line(loaded, step, item, count, pocket)
    back, new = bench.wanted(item, count)
    done = step.id in loaded.state.up
    shown = count.refitted + count.new if done else back + new
    goes = "tray" if pocket and (back or done) and not new else "new" if new or (done and count.new) else "stays"
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
    )


def _down_line(loaded: _Loaded, step: Step, item: Item, count: ItemCount, pocket: int | None) -> Line:
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
        goes="scrap" if item.reuse is ReuseClass.SINGLE_USE else "tray" if pocket else "stays",
        pocket=pocket,
        out=count.out,
        back=count.refitted,
        scrapped=count.scrapped,
        absent=count.absent,
        new=count.new,
        total=item.baseline,
    )


def _up_detail(loaded: _Loaded, step: Step, item: Item, back: int, new: int) -> str:
    detail = []
    fixing = next((f for f in step.releases if item.key == f"{step.id}/{f.id}"), None)
    if fixing is not None and fixing.kind.value == "screw":
        torque = fixing.torque
        detail.append(f"{torque.value_ncm.normalize():f} N·cm, {torque.source}" if torque else "torque not given")
    if new:
        part = loaded.state.new_part.get(item.key) or item.part or ""
        codes = [lot.code for lot in loaded.in_hand.get(part, ()) if lot.free > 0]
        detail.append(f"{part} · lot {codes[0]}" if codes else part)
    if new and back:
        detail.append(f"{back} from the tray, {new} new")
    return " · ".join(d for d in detail if d)


def _tick(loaded: _Loaded, mode: str, side: str, step_id: str) -> tuple[TickView | None, tuple[Missing, ...]]:
    action = f"/jobs/{loaded.job.number}/bench/tick"
    if mode == "turn":
        out = sum(max(c.waiting, 0) for c in loaded.state.items.values())
        return TickView(action, "turn", "", "Start refit", f"{out} pieces wait outside"), ()
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


def _outcome(loaded: _Loaded, side: str, step_id: str) -> Outcome:
    if side == "down":
        return bench.tick_down(loaded.sheet, loaded.items, loaded.state, step_id)
    cover = bench.count_before_cover(loaded.sheet, loaded.items, loaded.state, step_id, loaded.pockets)
    return bench.tick_up(loaded.sheet, loaded.items, loaded.state, step_id, loaded.in_hand, loaded.at, cover)


def _cover_problems(loaded: _Loaded, step_id: str) -> tuple[str, ...]:
    refit = loaded.sheet.step(step_id).refit
    if not refit or not refit.closes or step_id not in bench.ready_up(loaded.sheet, loaded.state):
        return ()
    found = bench.count_before_cover(loaded.sheet, loaded.items, loaded.state, step_id, loaded.pockets)
    return found.problems if found else ()


def _say(loaded: _Loaded, outcome: Outcome, side: str) -> tuple[str, str]:
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
    loose = [(kind, n) for kind, n in moved.items() if kind in _LOOSE]
    bound = [(kind, n) for kind, n in moved.items() if kind not in _LOOSE]
    words = []
    if loose:
        words.append(", ".join(f"{n} {_kind(kind, n)}" for kind, n in loose[:2]) + " out")
    if bound:
        words.append(", ".join(f"{n} {_kind(kind, n)}" for kind, n in bound[:2]) + " released")
    return ", ".join(words)


def _by_kind(loaded: _Loaded, counts: Mapping[str, int]) -> dict[str, int]:
    found: dict[str, int] = {}
    for key, n in counts.items():
        kind = loaded.items[key].kind
        found[kind] = found.get(kind, 0) + n
    return found


def _kind(kind: str, n: int) -> str:
    one, several = _KIND_WORDS[kind]
    return one if n == 1 else several


def _undo(loaded: _Loaded) -> tuple[str, str]:
    if not loaded.state.ticks:
        return "", ""
    last = loaded.state.ticks[-1]
    if last.side == "turn":
        return last.event_id, "Take back the start of the refit"
    step = loaded.sheet.step(last.step)
    title = step.refit.title if last.side == "up" and step.refit else step.title
    return last.event_id, f"Take back: {title}"


def _timers(loaded: _Loaded) -> tuple[Timer, ...]:
    found = []
    for step_id, ready in loaded.state.timers.items():
        refit = loaded.sheet.step(step_id).refit
        until = datetime.fromisoformat(ready)
        if refit is None or until <= loaded.at:
            continue
        words = f"{refit.title}: {'curing' if refit.cure_s else 'keep pressed'}"
        found.append(Timer(words, int(until.timestamp() * 1000), until))
    return tuple(found)


def _outside(loaded: _Loaded) -> tuple[Line, ...]:
    """What waits outside at the turn: the tray, then what is to be fitted new."""
    found = []
    for key, item in loaded.items.items():
        count = loaded.state.items[key]
        if loaded.pockets.get(key) and count.waiting > 0:
            found.append(_down_line(loaded, loaded.sheet.step(item.step), item, count, loaded.pockets[key]))
    return tuple(found)


def _missing_parts(session: Session, missing: Sequence[Missing], today: date) -> tuple[MissingPart, ...]:
    numbers = [m.part for m in missing if m.part]
    shelf: Mapping[str, Any] = stores.shelf(session, numbers, today) if numbers else {}
    found = []
    for m in missing:
        part = shelf.get(m.part or "")
        words = "no part number; report what is needed"
        if part is not None:
            words = f"{part.on_hand} on the shelf"
            if part.on_order:
                when = f" for {part.expected_on:%-d %b}" if part.expected_on else ""
                words += f", {part.on_order} on order{when}"
        found.append(MissingPart(m.name, m.part or "", m.count, words))
    return tuple(found)


def _next(loaded: _Loaded, mode: str) -> tuple[str, str]:
    base = f"/jobs/{loaded.job.number}"
    if mode == "count":
        return f"{base}/count", "Closing count"
    if mode == "done":
        if loaded.job.stage is Stage.COUNTED:
            return f"{base}/tests", "Release tests"
        if loaded.job.stage is Stage.TESTED:
            return f"{base}/close", "Close the job"
        return base, "To the job"
    return "", ""
