"""The bench page: one step in focus, what it releases or fits, the descent beside it, one large tick."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, time
from typing import Any

from markupsafe import Markup
from sqlmodel import Session

from app.jobs.models import Hold, Stage
from app.jobs.pages.bench_step import Line, Loaded, StepView, down_line, hold_words, step_view
from app.jobs.pages.bench_tick import TickView, tick_view
from app.jobs.pages.rail import Rail, rail_of
from app.jobs.queries.bench import (
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
from app.procedures.queries import ClipView
from app.rules import bench
from app.rules.bench import Missing
from app.rules.bench_marks import job_intervals
from app.rules.counting import BenchState
from app.rules.sheet import Refit
from app.stores import queries as stores


@dataclass(frozen=True)
class Timer:
    """A running cure or press: words, when it is ready (epoch ms and local time), the step it belongs to."""

    words: str
    until_ms: int
    ready_at: datetime
    step: str


@dataclass(frozen=True)
class MissingPart:
    """A new part that stores has not handed out, with what the shelf has."""

    name: str
    number: str
    count: int
    words: str


@dataclass(frozen=True)
class BenchPage:
    """Everything on the bench page. ``mode`` is step, turn, count, open, takeover, paused, held or done."""

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
    questions: int = 0
    filmed: bool = False
    early: str = ""


_BEFORE_THE_BENCH = frozenset({Stage.BOOKED, Stage.SAFE, Stage.PLANNED, Stage.QUOTED, Stage.APPROVED})
EARLY = "Not at the bench yet. Work starts once the kit is handed out; the job's page says what comes first."


@dataclass(frozen=True)
class Around:
    """What the bench page shows besides the state of the job: names, the bench time so far, drawings by picture.

    ``shelf`` looks up what the shelf has of some parts; it is asked only where new parts are missing. ``clips`` are
    parts of recordings by step.
    """

    device: str
    technician: str
    bench_s: int
    drawings: Mapping[str, Markup]
    shelf: Callable[[Sequence[str]], Mapping[str, Any]]
    clips: Mapping[str, ClipView]


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
    loaded, around = load_bench(session, number, who=who, at=at, settings=settings)
    return page_of(loaded, around, step=step, refusal=refusal, note=note)


def load_bench(
    session: Session, number: str, *, who: int, at: datetime, settings: Settings, ahead: bool = False
) -> tuple[Loaded, Around]:
    """Read all that the bench page of a job is built from; raises NotFound.

    New parts in hand are read from the refit on, with ``ahead`` before it too.
    """
    job = bench_job(session, number)
    sheet = procedures.sheet(session, job.revision_id)
    lots = kit_lots(session, job.id) if job.state.turned or ahead else {}
    loaded = Loaded(
        job,
        sheet,
        items_for(job.revision_id, sheet, job.state),
        pocket_numbers(sheet, job.state.teardown),
        lots_in_hand(session, job.id, lots),
        at,
        who,
    )
    intervals = job_intervals(time_entries(session, job.id), time.fromisoformat(settings.shift_end), settings.zone, at)
    model = procedures.device_model(session, job.device_model_id)
    today = at.astimezone(settings.zone).date()
    around = Around(
        device=f"{model.name} · {job.serial}",
        technician=people.names(session).get(job.technician_id or 0, ""),
        bench_s=intervals.total_s,
        drawings=procedures.step_svgs(session, job.revision_id),
        shelf=lambda numbers: stores.shelf(session, numbers, today),
        clips=procedures.sheet_clips(session, sheet),
    )
    return loaded, around


def page_of(loaded: Loaded, around: Around, *, step: str = "", refusal: str = "", note: str = "") -> BenchPage:
    """Build the bench page of a state, present or expected; nothing is read unless new parts are missing."""
    job = loaded.job
    mode = mode_of(loaded)
    side, step_id = _looked_at(loaded, step, bench.focus(loaded.sheet, job.state))
    view = step_view(around.drawings, around.clips, loaded, side, step_id) if step_id else None
    tick, missing = tick_view(loaded, mode, side, step_id)
    undo, undo_words = _undo(loaded)
    next_href, next_text = _next(loaded, mode)
    timers = timers_of(loaded)
    return BenchPage(
        number=job.number,
        device=around.device,
        phase="Refit" if job.state.turned else "Teardown",
        step_no=_place(job.state),
        steps=len(job.state.refit if job.state.turned else job.state.teardown),
        clock=_clock(around.bench_s),
        base_s=around.bench_s,
        running=job.state.at_bench is not None and job.stage not in (Stage.TESTED, Stage.CLOSED),
        mode=mode,
        step=view,
        rail=rail_of(loaded.sheet, job.state, loaded.items, loaded.pockets, job.number),
        tick=tick,
        undo=undo,
        undo_words=undo_words,
        timers=timers,
        missing=_missing_parts(around, missing),
        outside=_outside(loaded) if mode == "turn" else (),
        technician=around.technician,
        hold=hold_words(job),
        pause_reason=job.state.paused or "",
        recount_due=job.state.recount_due,
        version=job.version,
        next_href=next_href,
        next_text=next_text,
        wait_s=max((int((t.ready_at - loaded.at).total_seconds()) + 2 for t in timers), default=0),
        refusal=refusal,
        note=note,
        questions=len(job.state.questions),
        filmed=bool(around.clips),
        early=EARLY if job.stage in _BEFORE_THE_BENCH else "",
    )


def mode_of(loaded: Loaded) -> str:
    """Return what the bench page is about: step, turn, count, open, takeover, paused, held or done."""
    job, state = loaded.job, loaded.state
    if job.stage not in (Stage.KITTED, Stage.TEARDOWN, Stage.REFIT):
        return "done"
    if job.hold in (Hold.SAFETY, Hold.OWNER):
        return "held"
    if state.at_bench != loaded.who:
        other = job.technician_id not in (None, loaded.who) and bool(state.down)
        return "takeover" if other else "paused" if state.paused is not None else "open"
    if state.refitted:
        return "count"
    if state.torn_down and not state.turned:
        return "turn"
    return "step"


def _looked_at(loaded: Loaded, step: str, focus: tuple[str, str] | None) -> tuple[str, str]:
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


def _undo(loaded: Loaded) -> tuple[str, str]:
    if not loaded.state.ticks:
        return "", ""
    last = loaded.state.ticks[-1]
    if last.side == "turn":
        return last.event_id, "Take back the start of the refit"
    step = loaded.sheet.step(last.step)
    title = step.refit.title if last.side == "up" and step.refit else step.title
    return last.event_id, f"Take back: {title}"


def timer_words(refit: Refit) -> str:
    """Return what a refit step's clock counts, in words."""
    return f"{refit.title}: {'curing' if refit.cure_s else 'keep pressed'}"


def timers_of(loaded: Loaded) -> tuple[Timer, ...]:
    """Return the cures and presses that still run."""
    found = []
    for step_id, ready in loaded.state.timers.items():
        refit = loaded.sheet.step(step_id).refit
        until = datetime.fromisoformat(ready)
        if refit is None or until <= loaded.at:
            continue
        found.append(Timer(timer_words(refit), int(until.timestamp() * 1000), until, step_id))
    return tuple(found)


def _outside(loaded: Loaded) -> tuple[Line, ...]:
    """What waits outside at the turn, in the order of the tray."""
    found = []
    for key, item in loaded.items.items():
        count = loaded.state.items[key]
        if loaded.pockets.get(key) and count.waiting > 0:
            found.append(down_line(loaded, loaded.sheet.step(item.step), item, count, loaded.pockets[key]))
    return tuple(sorted(found, key=lambda line: line.pocket or 0))


def _missing_parts(around: Around, missing: Sequence[Missing]) -> tuple[MissingPart, ...]:
    numbers = [m.part for m in missing if m.part]
    shelf: Mapping[str, Any] = around.shelf(numbers) if numbers else {}
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


def _next(loaded: Loaded, mode: str) -> tuple[str, str]:
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
