"""Contexts of the pages on which procedures are read, printed and imported."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from markupsafe import Markup
from sqlmodel import Session

from app.people import queries as people
from app.platform.forms import Form
from app.procedures import precedence_drawing, queries
from app.procedures.actions import Imported
from app.procedures.document import Problem
from app.procedures.places import PlacedSpot, letters, placed_spots, view_box
from app.procedures.precedence_drawing import PrecedenceRow
from app.procedures.queries import ClipView, ModelInfo, RevisionInfo
from app.rules.place_layout import Box
from app.rules.sheet import Fixing, FixingKind, Inspection, ReleaseTest, Sheet, Step, Tool


@dataclass(frozen=True)
class ListedProcedure:
    """A procedure in the list, as its newest revision has it."""

    info: RevisionInfo
    steps: int
    units: tuple[str, ...]


@dataclass(frozen=True)
class ListedModel:
    """A device model with its procedures."""

    model: ModelInfo
    procedures: tuple[ListedProcedure, ...]


@dataclass(frozen=True)
class ListPage:
    """All procedures by device model."""

    models: tuple[ListedModel, ...]


@dataclass(frozen=True)
class FixingLine:
    """A fixing in words: what becomes of it on the way out, how it goes back, its letter on the drawing if any.

    ``source`` is where the torque comes from, empty where the page says it once for all.
    """

    fixing: Fixing
    fate: str
    shape: str
    back: str
    torque: str
    source: str
    letter: str


@dataclass(frozen=True)
class AskLine:
    """An inspection in words."""

    ask: str
    limits: str
    reject: str
    adds: str


@dataclass(frozen=True)
class TestLine:
    """A release test in words."""

    title: str
    do: str
    limits: str
    due: str
    second_person: bool


@dataclass(frozen=True)
class StepView:
    """A step as the page shows it; ``placed`` are its places on the drawing, whose view box is ``box``."""

    number: int
    step: Step
    after: tuple[tuple[int, str, str], ...]
    tools: tuple[Tool, ...]
    refit_tools: tuple[Tool, ...]
    fixings: tuple[FixingLine, ...]
    asks: tuple[AskLine, ...]
    refit_asks: tuple[AskLine, ...]
    frees: str | None
    drawing: Markup | None
    placed: tuple[PlacedSpot, ...]
    box: Box | None
    clip: ClipView | None = None


@dataclass(frozen=True)
class ProcedurePage:
    """A whole procedure, readable and for print."""

    info: RevisionInfo
    sheet: Sheet
    newest: int
    others: tuple[RevisionInfo, ...]
    published_by: str
    published_at: datetime
    steps: tuple[StepView, ...]
    drawing: Markup | None
    precedence: Markup
    rows: tuple[PrecedenceRow, ...]
    tests: tuple[TestLine, ...]
    teardown_s: int
    refit_s: int
    wait_s: int

    @property
    def old(self) -> bool:
        """Whether a newer revision is published."""
        return self.info.number < self.newest

    @property
    def torque_source(self) -> str:
        """Where all torques come from; empty without one, and where they come from several."""
        sources = _torque_sources(self.sheet)
        return next(iter(sources)) if len(sources) == 1 else ""

    @property
    def filmed(self) -> bool:
        """Whether a step has a clip."""
        return any(view.clip for view in self.steps)


@dataclass(frozen=True)
class ImportPage:
    """The import form, and what became of the last try."""

    form: Form[Any]
    problems: tuple[Problem, ...] = ()
    imported: tuple[Imported, ...] = ()


FATES: Mapping[str, tuple[str, str]] = {
    "scrap": ("Scrap; a new one goes back", "ring-struck"),
    "inspect": ("Goes back if it passes", "half"),
    "tray": ("To the tray", "ring-out"),
    "stays": ("Stays on the device", "dot"),
}


def list_page(session: Session) -> ListPage:
    """Read the list of procedures."""
    listed: dict[int, list[ListedProcedure]] = {}
    for info in queries.procedures(session):
        sheet = queries.sheet(session, info.id)
        units = tuple(unit.name for unit in sheet.units)
        listed.setdefault(info.device_model_id, []).append(ListedProcedure(info, len(sheet.steps), units))
    models = queries.device_models(session)
    return ListPage(tuple(ListedModel(m, tuple(listed[m.id])) for m in models if m.id in listed))


def procedure_page(session: Session, info: RevisionInfo) -> ProcedurePage:
    """Read a procedure page."""
    sheet = queries.sheet(session, info.id)
    drawn = queries.precedence_svg(session, info.id, lambda: precedence_drawing.draw(sheet))
    return sheet_page(
        session, info, sheet, queries.step_svgs(session, info.id), drawn, queries.revisions(session, info.code)
    )


def sheet_page(
    session: Session,
    info: RevisionInfo,
    sheet: Sheet,
    svgs: Mapping[str, Markup],
    precedence: Markup,
    revisions: Sequence[RevisionInfo],
) -> ProcedurePage:
    """Return the page of a sheet, published or not; ``revisions`` are all there are of it, the newest first."""
    refits = [step.refit for step in sheet.steps if step.refit]
    return ProcedurePage(
        info=info,
        sheet=sheet,
        newest=revisions[0].number if revisions else info.number,
        others=tuple(o for o in revisions if o.number != info.number),
        published_by=people.names(session).get(info.published_by or 0, ""),
        published_at=info.published_at,
        steps=_steps(sheet, svgs, queries.sheet_clips(session, sheet)),
        drawing=svgs.get(sheet.picture or ""),
        precedence=precedence,
        rows=precedence_drawing.table(sheet),
        tests=tuple(
            TestLine(test.title, test.do, _limits(test), _due(test, sheet), test.second_person)
            for test in sheet.release_tests
        ),
        teardown_s=sum(step.time_s for step in sheet.steps),
        refit_s=sum(refit.time_s + refit.press_s for refit in refits),
        wait_s=sum(refit.cure_s for refit in refits),
    )


def _steps(sheet: Sheet, svgs: Mapping[str, Markup], clips: Mapping[str, ClipView]) -> tuple[StepView, ...]:
    number = {step.id: n for n, step in enumerate(sheet.steps, 1)}
    title = {step.id: step.title for step in sheet.steps}
    tools = {tool.id: tool for tool in sheet.tools}
    units = {unit.id: unit.name for unit in sheet.units}
    several = len(_torque_sources(sheet)) > 1
    boxes = {step.id: view_box(svgs.get(step.picture or "")) for step in sheet.steps}
    return tuple(
        StepView(
            number=n,
            step=step,
            after=tuple((number[b], b, title[b]) for b in step.after),
            tools=tuple(tools[t] for t in step.tools),
            refit_tools=tuple(tools[t] for t in step.refit.tools) if step.refit else (),
            fixings=tuple(
                _fixing(fixing, letters(step.releases).get(fixing.id, ""), several) for fixing in step.releases
            ),
            asks=tuple(_ask(asked) for asked in step.inspect),
            refit_asks=tuple(_ask(asked) for asked in step.refit.inspect) if step.refit else (),
            frees=units.get(step.frees) if step.frees else None,
            drawing=svgs.get(step.picture or ""),
            placed=placed_spots(step, box) if (box := boxes[step.id]) else (),
            box=boxes[step.id],
            clip=clips.get(step.id),
        )
        for n, step in enumerate(sheet.steps, 1)
    )


def _torque_sources(sheet: Sheet) -> set[str]:
    return {fixing.torque.source for step in sheet.steps for fixing in step.releases if fixing.torque}


def _fixing(fixing: Fixing, letter: str, several: bool) -> FixingLine:
    if fixing.reuse.value == "single-use":
        fate, back = "scrap", "New"
    elif fixing.reuse.value == "inspect":
        fate, back = "inspect", "The same, or a new one"
    elif fixing.goes_to_tray:
        fate, back = "tray", "The same"
    else:
        fate, back = "stays", "The same"
    words, shape = FATES[fate]
    torque = f"{fixing.torque.value_ncm.normalize():f} N·cm" if fixing.torque else ""
    source = fixing.torque.source if fixing.torque and several else ""
    return FixingLine(fixing, words, shape, back, torque, source, letter)


def _ask(asked: Inspection) -> AskLine:
    adds = ", ".join(f"{part.count} × {part.name} ({part.part})" for part in asked.on_reject.add)
    return AskLine(asked.ask, _limits(asked), asked.on_reject.say, adds)


def _limits(asked: Inspection | ReleaseTest) -> str:
    """Return the limits of a reading in words; empty when there is nothing to measure."""
    if asked.kind != "reading":
        return ""
    unit = f" {asked.unit}" if asked.unit else ""
    if asked.low is not None and asked.high is not None:
        return f"{asked.low} to {asked.high}{unit}"
    return f"at least {asked.low}{unit}" if asked.low is not None else f"at most {asked.high}{unit}"


_KIND_WORDS = {
    FixingKind.ADHESIVE: "adhesive",
    FixingKind.FLEX: "a flex",
}


def _due(test: ReleaseTest, sheet: Sheet) -> str:
    """Return when a release test is due, in words."""
    if test.due.always:
        return "On every job"
    units = {unit.id: unit.name for unit in sheet.units}
    titles = {step.id: step.title for step in sheet.steps}
    said = []
    if test.due.exchanged:
        said.append("exchanged: " + ", ".join(units.get(u, u).lower() for u in test.due.exchanged))
    if test.due.kinds:
        said.append("released: " + ", ".join(_KIND_WORDS.get(k, f"a {k.value}") for k in test.due.kinds))
    if test.due.steps:
        said.append("done: " + ", ".join(f"“{titles.get(s, s)}”" for s in test.due.steps))
    return "If " + "; or ".join(said)
