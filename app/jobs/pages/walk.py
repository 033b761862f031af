"""The walk of a job for its tablet: the bench page after each expected tick, so that work goes on without a network."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime

from sqlmodel import Session

from app.jobs.models import Stage
from app.jobs.pages.bench import Around, BenchPage, load_bench, mode_of, page_of, timer_words, timers_of
from app.jobs.pages.bench_step import Loaded
from app.jobs.queries.bench import as_event, find_event
from app.platform.settings import Settings
from app.rules import bench_walk
from app.rules.bench_walk import Expected
from app.rules.counting import BenchState

BACK = 3
"""So many ticks can be taken back without the server."""
AT_WORK = ("step", "turn", "count")
OPENABLE = ("open", "paused")
AWAY = {
    "takeover": "Another technician has this job. Taking it over needs the server.",
    "held": "The job is on hold.",
    "done": "The bench work of this job is done.",
}
Draw = Callable[[BenchPage], str]
"""Turns a bench page into the markup of its block."""


@dataclass(frozen=True)
class Frame:
    """The bench at one point of the walk; ``entry`` is the tick that leads on, None where the walk ends.

    ``version`` is the job's expected version, ``undo`` whether there is a tick to take back, ``wait_s`` how long the
    tick before has to cure. ``timer`` says what the tick of this frame sets going and ``timer_s`` for how long; a
    press is told and keeps nothing waiting. ``key`` names what is shown; drawings are left out of ``html`` and named
    there.
    """

    i: int
    key: str
    version: int
    html: str
    entry: dict[str, str] | None
    undo: bool
    wait_s: int
    blocked: str
    timer: str = ""
    timer_s: int = 0


@dataclass(frozen=True)
class Running:
    """A cure or press that runs at present: the frame whose tick began it, words, when it ends (epoch ms)."""

    key: str
    words: str
    until_ms: int


@dataclass(frozen=True)
class Walk:
    """All frames of a job with the drawings they name.

    ``now`` is the frame of the present; up to three before it are for taking back. ``looks`` maps ``side:step`` to
    the frame that shows it; done steps stand in frames behind the last. ``opened`` is the present frame as it looks
    once the job is opened or resumed, empty where it is open. ``timers`` are the cures and presses that run.
    """

    number: str
    version: int
    pass_no: int
    person: int
    device_words: str
    made_ms: int
    frames: tuple[Frame, ...]
    now: int
    opened: str
    drawings: dict[str, str]
    looks: dict[str, int]
    timers: tuple[Running, ...] = ()


def walk_page(session: Session, number: str, *, who: int, at: datetime, settings: Settings, draw: Draw) -> Walk:
    """Build the walk of a job as it stands; everything is read once, then the rules play it through."""
    loaded, around = load_bench(session, number, who=who, at=at, settings=settings, ahead=True)
    plotter = _Plotter(around, draw, loaded.job.version)
    mode = mode_of(loaded)
    opened = ""
    if mode in AT_WORK and not loaded.state.recount_due:
        _backward(session, plotter, loaded)
        now = len(plotter.frames)
        _forward(plotter, loaded, now)
    elif mode in OPENABLE and not loaded.state.recount_due:
        now = 0
        opened = _from_the_door(plotter, loaded)
    else:
        now = 0
        blocked = "Recount the tray first." if loaded.state.recount_due else AWAY.get(mode, "")
        plotter.add(loaded, f"blocked:{mode}", 0, None, blocked=blocked)
    plotter.look_at_the_rest(loaded)
    return Walk(
        number=number,
        version=loaded.job.version,
        pass_no=loaded.state.pass_no,
        person=who,
        device_words=around.device,
        made_ms=int(at.timestamp() * 1000),
        frames=tuple(plotter.frames),
        now=now,
        opened=opened,
        drawings=plotter.drawings,
        looks=plotter.looks,
        timers=tuple(Running(f"up:{t.step}", t.words, t.until_ms) for t in timers_of(loaded)),
    )


class _Plotter:
    """Draws frames one after the other, and keeps the drawings and what can be looked at."""

    def __init__(self, around: Around, draw: Draw, version: int) -> None:
        self.around = around
        self.draw = draw
        self.version = version
        self.frames: list[Frame] = []
        self.drawings: dict[str, str] = {}
        self.looks: dict[str, int] = {}

    def html(self, loaded: Loaded, step: str = "") -> tuple[BenchPage, str]:
        """Draw the page of a state, its drawing kept apart."""
        page = page_of(loaded, self.around, step=step)
        if page.step and page.step.drawing:
            self.drawings.setdefault(page.step.picture, str(page.step.drawing))
            page = replace(page, step=replace(page.step, drawing=None))
        return page, self.draw(page)

    def add(
        self, loaded: Loaded, key: str, away: int, entry: dict[str, str] | None, *, wait_s: int = 0, blocked: str = ""
    ) -> None:
        """Add a frame; ``away`` is how many ticks it lies from the present, below zero before it."""
        page, html = self.html(loaded)
        i = len(self.frames)
        refit = loaded.sheet.step(entry["step"]).refit if entry and entry["side"] == "up" else None
        timer_s = (refit.cure_s or refit.press_s) if refit else 0
        timer = timer_words(refit) if refit and timer_s else ""
        undo = bool(page.undo)
        self.frames.append(Frame(i, key, self.version + away, html, entry, undo, wait_s, blocked, timer, timer_s))
        if entry and entry["kind"] == "tick":
            self.looks.setdefault(key, i)

    def look_at_the_rest(self, loaded: Loaded) -> None:
        """Add a frame for each step of the plan that none shows yet: to be looked at, not to be ticked."""
        for step in loaded.state.teardown:
            up = loaded.state.turned and loaded.sheet.step(step).refit is not None
            key = f"{'up' if up else 'down'}:{step}"
            if key in self.looks:
                continue
            _page, html = self.html(loaded, step)
            self.looks[key] = len(self.frames)
            self.frames.append(Frame(len(self.frames), f"look:{key}", self.version, html, None, False, 0, ""))


def _with(loaded: Loaded, state: BenchState, in_hand: bench_walk.InHand, at: datetime) -> Loaded:
    stage = loaded.job.stage
    if state.turned:
        stage = Stage.REFIT
    elif state.down:
        stage = Stage.TEARDOWN
    return replace(loaded, job=replace(loaded.job, state=state, stage=stage), in_hand=in_hand, at=at)


def _backward(session: Session, plotter: _Plotter, loaded: Loaded) -> None:
    """Add the frames before the present, oldest first, as far as ticks can be taken back without the server."""
    earlier: list[tuple[Loaded, dict[str, str]]] = []
    state, in_hand = loaded.state, loaded.in_hand
    for tick in reversed(loaded.state.ticks[-BACK:]):
        row = find_event(session, loaded.job.id, tick.event_id)
        last = as_event(row) if row else None
        before = bench_walk.taken_back(state, last) if last else None
        if last is None or before is None:
            break
        state, in_hand = before, bench_walk.handed_back(in_hand, last)
        entry = _entry("turn", "", "") if tick.side == "turn" else _entry("tick", tick.side, tick.step)
        earlier.append((_with(loaded, state, in_hand, loaded.at), entry))
    for n, (at_that_time, entry) in enumerate(reversed(earlier)):
        _wait, at = bench_walk.cured(loaded.sheet, at_that_time.state, loaded.at)
        plotter.add(replace(at_that_time, at=at), _key(entry), n - len(earlier), entry)


def _forward(plotter: _Plotter, loaded: Loaded, now: int) -> None:
    for n, point in enumerate(_points(loaded)):
        shown = loaded if n == 0 else _with(loaded, point.state, point.in_hand, point.at)
        _add_point(plotter, shown, point, len(plotter.frames) - now)


def _from_the_door(plotter: _Plotter, loaded: Loaded) -> str:
    """Add the frames of a job that is not open: the present as it is, the others as once it is opened.

    Returns the present as it looks once it is opened.
    """
    inside = replace(loaded.state, at_bench=loaded.who, paused=None)
    opened = _with(loaded, inside, loaded.in_hand, loaded.at)
    html = ""
    for n, point in enumerate(_points(opened)):
        shown = _with(opened, point.state, point.in_hand, point.at)
        if n == 0:
            _page, html = plotter.html(shown)
            shown = loaded
        _add_point(plotter, shown, point, n)
    return html


def _points(loaded: Loaded) -> Iterator[Expected]:
    return bench_walk.walk(
        loaded.sheet, loaded.items, loaded.pockets, loaded.state, loaded.in_hand, loaded.at
    )  # fmt: skip


def _add_point(plotter: _Plotter, shown: Loaded, point: Expected, away: int) -> None:
    entry = _entry(point.kind, point.side, point.step) if point.kind else None
    end = f"blocked:{point.side}:{point.step}" if point.blocked else "count"
    plotter.add(shown, _key(entry) if entry else end, away, entry, wait_s=point.wait_s, blocked=point.blocked)


def _entry(kind: str, side: str, step: str) -> dict[str, str]:
    return {"kind": kind, "side": side, "step": step}


def _key(entry: dict[str, str]) -> str:
    return "turn" if entry["kind"] == "turn" else f"{entry['side']}:{entry['step']}"
