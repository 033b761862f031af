"""Contexts of the pages on which procedures are written."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from markupsafe import Markup
from sqlmodel import Session

from app.people import queries as people
from app.platform.errors import Refused
from app.platform.forms import Form
from app.procedures import precedence_drawing, queries
from app.procedures.document import Problem
from app.procedures.draft_checks import DraftProblem, Looked, look, without_circles
from app.procedures.models import DraftState
from app.procedures.pages.reading import ProcedurePage, sheet_page
from app.procedures.queries import RevisionInfo, drafts
from app.procedures.queries.drafts import DraftDetail, DraftRow, SaveRow
from app.rules.draft_documents import rows, words
from app.rules.draft_flow import may_check, next_number
from app.rules.draft_questions import still_open
from app.stores import queries as stores

SAVES_SHOWN = 60
DRAWN_AT_MOST = 300
"""A drawing of more steps than this is larger than anybody reads; the table says the same."""


@dataclass(frozen=True)
class ListedDraft:
    """A draft in the list, with the names of people."""

    draft: DraftRow
    saved_by: str
    sent_by: str


@dataclass(frozen=True)
class DraftsPage:
    """All drafts, and the three ways to begin one. ``models`` and ``procedures`` are (value, text)."""

    writing: tuple[ListedDraft, ...]
    checking: tuple[ListedDraft, ...]
    ended: tuple[ListedDraft, ...]
    models: tuple[tuple[str, str], ...]
    procedures: tuple[tuple[str, str], ...]
    blank_form: Form[Any]
    next_form: Form[Any]
    file_form: Form[Any]
    problems: tuple[Problem, ...] = ()


@dataclass(frozen=True)
class StepLine:
    """A step in the draft's list; ``needs`` are numbers of steps, ``problems`` what is to be mended in it."""

    number: int
    id: str
    title: str
    needs: tuple[int, ...]
    fixings: int
    frees: str
    has_refit: bool
    problems: int


@dataclass(frozen=True)
class ListedSave:
    """Saves of one kind by one person that followed one another, as one line; ``version`` is the last of them."""

    save: SaveRow
    person: str
    times: int


@dataclass(frozen=True)
class ShownProblem:
    """A problem and the address of the field it belongs to."""

    problem: DraftProblem
    href: str


@dataclass(frozen=True)
class DraftPage:
    """A draft: what it is, what is to be mended, its steps, their precedence, its saves, what may be done next.

    ``newest`` is the newest published revision's number when it is not the one the draft builds on; ``refused`` is
    why this person may not check it, or None.
    """

    draft: DraftDetail
    form: Form[Any]
    model: str
    number: int
    base: tuple[str, int] | None
    newest: int | None
    problems: tuple[ShownProblem, ...]
    steps: tuple[StepLine, ...]
    precedence: Markup | None
    cut: bool
    saves: tuple[ListedSave, ...]
    undo: int | None
    names: Mapping[int, str]
    open_questions: tuple[int, ...]
    asked: tuple[dict[str, Any], ...]
    may_write: bool
    refused: str | None
    published: tuple[str, int] | None
    known_elsewhere: bool

    @property
    def state(self) -> str:
        """The state in words."""
        return self.draft.state.value

    def person(self, person_id: int | None) -> str:
        """Return somebody's name."""
        return self.names.get(person_id or 0, "")

    @property
    def sendable(self) -> bool:
        """Whether nothing stands in the way of a check."""
        return not self.problems and not self.open_questions and self.newest is None and not self.known_elsewhere


def drafts_page(
    session: Session,
    blank_form: Form[Any],
    next_form: Form[Any],
    file_form: Form[Any],
    problems: Sequence[Problem] = (),
) -> DraftsPage:
    """Read the list of drafts."""
    names = people.names(session)

    def listed(*states: DraftState) -> tuple[ListedDraft, ...]:
        return tuple(
            ListedDraft(row, names.get(row.saved_by or 0, ""), names.get(row.sent_by or 0, ""))
            for row in drafts.drafts(session, states)
        )

    models = queries.device_models(session)
    return DraftsPage(
        writing=listed(DraftState.WRITING),
        checking=listed(DraftState.CHECKING),
        ended=listed(DraftState.PUBLISHED, DraftState.DROPPED),
        models=(("", "A device model that is not in the list"), *((m.code, f"{m.name}, {m.kind}") for m in models)),
        procedures=tuple(
            (str(info.id), f"{info.title}, revision {info.number}") for info in queries.procedures(session)
        ),
        blank_form=blank_form,
        next_form=next_form,
        file_form=file_form,
        problems=tuple(problems),
    )


def look_at(session: Session, draft: DraftDetail) -> tuple[Looked, int]:
    """Check a draft as it stands; returns what was found and the revision number it would get."""
    newest = queries.newest_revision(session, str(draft.document.get("code") or ""))
    number = next_number(newest.number if newest else None)
    return look(draft.document, number, stores.known_numbers(session)), number


def address_of(draft_id: int, problem: DraftProblem) -> str:
    """Return the address of the field a problem belongs to."""
    base = f"/procedures/drafts/{draft_id}"
    if problem.part == "steps":
        return f"{base}/steps/{problem.step}#f-{problem.field}" if problem.step else f"{base}#steps"
    return f"{base}/{problem.part}#f-{problem.field}"


def draft_page(session: Session, draft_id: int, who: int, form: Form[Any]) -> DraftPage:
    """Read a draft's own page for this person."""
    draft = drafts.draft(session, draft_id)
    looked, number = look_at(session, draft)
    found = [ShownProblem(problem, address_of(draft.id, problem)) for problem in looked.problems]
    base = queries.revision_info(session, draft.base_revision_id) if draft.base_revision_id else None
    newest = queries.newest_revision(session, str(draft.document.get("code") or ""))
    behind = newest is not None and newest.id != draft.base_revision_id and draft.state is not DraftState.PUBLISHED
    precedence, cut = _drawn(looked)
    done = queries.revision_info(session, draft.revision_id) if draft.revision_id else None
    saves = drafts.saves(session, draft_id)
    names = people.names(session)
    device = draft.document.get("device_model")
    return DraftPage(
        draft=draft,
        form=form,
        model=str(device.get("name") or "") if isinstance(device, dict) else "",
        number=number,
        base=(base.code, base.number) if base else None,
        newest=newest.number if newest and behind and base else None,
        problems=tuple(found),
        steps=_lines(draft, looked),
        precedence=precedence,
        cut=cut,
        saves=_grouped(saves, names),
        undo=saves[1].version if len(saves) > 1 else None,
        names=names,
        open_questions=still_open(draft.document, draft.asked),
        asked=draft.asked,
        may_write=draft.state is DraftState.WRITING,
        refused=may_check(draft.standing, who),
        published=(done.code, done.number) if done else None,
        known_elsewhere=behind and base is None,
    )


def reading_page(session: Session, draft_id: int) -> ProcedurePage:
    """Return a sound draft as it will be read; Refused while it has gaps."""
    draft = drafts.draft(session, draft_id)
    looked, number = look_at(session, draft)
    if looked.sheet is None:
        raise Refused("This draft has gaps, so it cannot be read as a whole yet. What is to be mended stands below.")
    sheet = looked.sheet
    info = RevisionInfo(
        0, 0, sheet.code, sheet.title, number, 0, draft.saved_at, draft.saved_by
    )  # A draft is no revision yet: this only names it.
    return sheet_page(session, info, sheet, drafts.picture_svgs(session, draft.drawings), Markup(""), ())


def _lines(draft: DraftDetail, looked: Looked) -> tuple[StepLine, ...]:
    steps = rows(draft.document, "steps")
    number = {str(step.get("id")): n for n, step in enumerate(steps, 1)}
    units = {str(unit.get("id")): str(unit.get("name") or "") for unit in rows(draft.document, "units")}
    wrong: dict[str | None, int] = {}
    for problem in looked.problems:
        wrong[problem.step] = wrong.get(problem.step, 0) + 1
    return tuple(
        StepLine(
            number=n,
            id=str(step.get("id")),
            title=str(step.get("title") or ""),
            needs=tuple(number[b] for b in words(step, "after") if b in number),
            fixings=len(rows(step, "releases")),
            frees=units.get(str(step.get("frees")), str(step.get("frees") or "")),
            has_refit=bool(step.get("refit")),
            problems=wrong.get(str(step.get("id")), 0),
        )
        for n, step in enumerate(steps, 1)
    )


def _drawn(looked: Looked) -> tuple[Markup | None, bool]:
    sheet = looked.drawable
    if sheet is None or len(sheet.steps) > DRAWN_AT_MOST or len({step.id for step in sheet.steps}) < len(sheet.steps):
        return None, False
    if len(sheet.steps) == 1 and sheet.steps[0].id == "gap":
        return None, False
    sheet, cut = without_circles(sheet)
    return Markup(precedence_drawing.draw(sheet)), cut  # noqa: S704  Escaped by draw.


def _grouped(saves: Sequence[SaveRow], names: Mapping[int, str]) -> tuple[ListedSave, ...]:
    """Join saves of the same words by the same person that follow one another: typing saves every few seconds."""
    found: list[ListedSave] = []
    for save in saves:
        last = found[-1] if found else None
        if last and last.save.words == save.words and last.save.saved_by == save.saved_by:
            found[-1] = ListedSave(last.save, last.person, last.times + 1)
        elif len(found) < SAVES_SHOWN:
            found.append(ListedSave(save, names.get(save.saved_by or 0, ""), 1))
        else:
            break
    return tuple(found)


@dataclass(frozen=True)
class SavedState:
    """What an autosave answers with: the new version, when it was saved, what is to be mended on this page."""

    version: int
    saved_at: datetime
    problems: tuple[DraftProblem, ...]
    new: bool = False
