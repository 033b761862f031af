"""Contexts of the pages of one step, of the heading and of the release tests of a draft."""

from dataclasses import dataclass, replace
from typing import Any

from markupsafe import Markup
from pydantic import BaseModel
from sqlmodel import Session

from app.platform.forms import Form, RawForm
from app.procedures import queries
from app.procedures.draft_checks import Looked
from app.procedures.draft_fields import fill
from app.procedures.pages.drafts import SavedState, look_at
from app.procedures.places import view_box
from app.procedures.queries import drafts
from app.procedures.queries.drafts import DraftDetail
from app.rules.draft_documents import part_of, provisional_id, rows, step_index, words
from app.rules.draft_questions import loosened, still_open
from app.rules.place_layout import Box
from app.rules.sheet import FixingKind, Identifier, ReuseClass, Sheet, Signal, Step, Symbol, WasteStream
from app.stores import queries as stores

Choices = tuple[tuple[str, str], ...]

STEP_FIELDS = ("title", "do", "after", "hazards", "tools", "releases", "inspect", "frees", "time_s", "clip", "refit")
HEAD_FIELDS = ("code", "title", "device_model", "written_by", "summary", "units", "cautions", "tools")
TEST_FIELDS = ("release_tests",)
CHOOSE = ("", "Choose")
KINDS: Choices = (CHOOSE, *((k.value, k.value.capitalize()) for k in FixingKind))
REUSE: Choices = (
    CHOOSE,
    (ReuseClass.REUSABLE.value, "Reusable: goes back"),
    (ReuseClass.SINGLE_USE.value, "Single-use: scrapped, a new one goes back"),
    (ReuseClass.INSPECT.value, "Inspect: goes back if it passes"),
)
WASTE: Choices = tuple((w.value, w.value.capitalize()) for w in WasteStream)
SIGNALS: Choices = (CHOOSE, *((s.value, s.value) for s in Signal))
SYMBOLS: Choices = tuple((s.value, s.value.capitalize()) for s in Symbol)
ASKS: Choices = (("accept", "Yes or no"), ("reading", "A reading with limits"))
IDENTIFIERS: Choices = ((Identifier.SERIAL.value, "Serial number"), (Identifier.IMEI.value, "IMEI"))


@dataclass(frozen=True)
class Offered:
    """What the selects of a draft's forms offer, as (value, text)."""

    kinds: Choices = KINDS
    reuse: Choices = REUSE
    waste: Choices = (("residual", "Residual"), *(w for w in WASTE if w[0] != "residual"))
    unit_waste: Choices = (("electronic", "Electronic"), *(w for w in WASTE if w[0] != "electronic"))
    signals: Choices = SIGNALS
    symbols: Choices = SYMBOLS
    asks: Choices = ASKS
    identifiers: Choices = IDENTIFIERS


@dataclass(frozen=True)
class Rows:
    """Rows of one kind in a form: how many there are, and the id that the blank one behind them would get."""

    count: int
    new_id: str
    ids: tuple[str, ...]
    more: bool = False

    @property
    def numbers(self) -> range:
        """The places of the filled rows; the blank one's is ``count``."""
        return range(self.count)


@dataclass(frozen=True)
class TapPlace:
    """A place drawn over the picture: of which fixing (by its row), which number, where in the drawing's units."""

    row: int
    number: int
    x: float
    y: float


@dataclass(frozen=True)
class Option:
    """A step to pick; ``number`` counts from 1, ``why`` says why it may not be needed first."""

    id: str
    name: str
    number: int = 0
    why: str = ""


@dataclass(frozen=True)
class PartPage:
    """A page of a draft that is one form: the heading, the release tests, or one step. ``saved`` is what it carries."""

    draft: DraftDetail
    form: Form[Any]
    saved: SavedState
    rows: dict[str, Rows]
    names: dict[str, str]
    may_write: bool
    changes: tuple[str, ...] = ()
    choices: Offered = Offered()
    unit_picks: Choices = ()
    step_picks: Choices = ()
    drawing: Markup | None = None


@dataclass(frozen=True)
class AskedHere:
    """An open question of the step, by its number in the draft; ``words`` are those of the narration, if any."""

    number: int
    question: str
    words: str


@dataclass(frozen=True)
class StepPage(PartPage):
    """One step. ``earlier`` and ``later`` are the other steps to wait for; ``found`` are parts that were looked up."""

    step_id: str = ""
    number: int = 0
    of: int = 0
    title: str = ""
    before: Option | None = None
    behind: Option | None = None
    earlier: tuple[Option, ...] = ()
    later: tuple[Option, ...] = ()
    tool_picks: Choices = ()
    units: Choices = ()
    fixings: Choices = ()
    picture: str = ""
    box: Box | None = None
    places: tuple[TapPlace, ...] = ()
    questions: tuple[AskedHere, ...] = ()
    search: str = ""
    found: tuple[stores.FoundPart, ...] = ()
    clip: queries.ClipView | None = None
    recordings: Choices = ()


def filled(model: type[BaseModel], data: dict[str, Any]) -> Form[Any]:
    """Return the form of a row as it is stored."""
    values, lists = fill(model, data)
    return Form(values=values, lists=lists)


def typed(raw: RawForm) -> Form[Any]:
    """Return a form as it was typed, for a page that could not be saved."""
    return Form(values={k: v[-1] for k, v in raw.fields.items() if v}, lists=dict(raw.fields))


def _rows(form: Form[Any], name: str, more: str) -> Rows:
    """Count the rows of a form by its fields."""
    prefix = f"{name}-"
    numbers = {
        int(key.removeprefix(prefix).split("-")[0])
        for key in (*form.values, *form.lists)
        if key.startswith(prefix) and key.removeprefix(prefix).split("-")[0].isdigit()
    }
    count = max(numbers) + 1 if numbers else 0
    ids = tuple(form.value(f"{prefix}{n}-id") for n in range(count))
    return Rows(count, provisional_id([{"id": i} for i in ids]), ids, more == name)


def _part_names(session: Session, form: Form[Any]) -> dict[str, str]:
    """Return part number → name of all parts in a form."""
    numbers = {value for key, value in form.values.items() if key.endswith("-part") and value}
    return {row.number: row.name for row in stores.parts_by_number(session, sorted(numbers))}


def _form(looked: Looked, part: str, step: str | None, form: Form[Any]) -> Form[Any]:
    return replace(form, errors={**looked.beside(part, step), **form.errors})


def head_page(
    session: Session, draft_id: int, part: str, more: str = "", form: Form[Any] | None = None,
    changes: tuple[str, ...] = (),
) -> PartPage:  # fmt: skip
    """Read the heading ('head') or the release tests ('tests') of a draft; ``form`` is what was typed, if refused."""
    draft = drafts.draft(session, draft_id)
    looked, _number = look_at(session, draft)
    shown = _form(looked, part, None, form or filled(Sheet, draft.document))
    listed = ("units", "cautions", "tools") if part == "head" else ("release_tests",)
    return PartPage(
        draft=draft,
        form=shown,
        saved=SavedState(draft.version, draft.saved_at, tuple(p for p in looked.problems if p.part == part)),
        rows={name: _rows(shown, name, more) for name in listed},
        names=_part_names(session, shown),
        may_write=draft.state.value == "in writing",
        changes=changes,
        drawing=drafts.picture_svgs(session, draft.drawings).get(str(draft.document.get("picture") or "")),
        unit_picks=_named(rows(draft.document, "units")),
        step_picks=tuple((str(s.get("id")), str(s.get("title") or s.get("id"))) for s in rows(draft.document, "steps")),
    )


def step_page(
    session: Session, draft_id: int, step_id: str, *, more: str = "", search: str = "",
    form: Form[Any] | None = None, changes: tuple[str, ...] = (),
) -> StepPage:  # fmt: skip
    """Read one step of a draft; NotFound or Refused when it is not there."""
    draft = drafts.draft(session, draft_id)
    steps = rows(draft.document, "steps")
    index = step_index(draft.document, step_id)
    step = steps[index]
    looked, _number = look_at(session, draft)
    shown = _form(looked, "steps", step_id, form or filled(Step, step))
    why = loosened(draft.document, draft.asked, step_id)
    waits = words(step, "after")
    others = [
        Option(str(s.get("id")), str(s.get("title") or "No title yet"), n, why if s.get("id") in waits else "")
        for n, s in enumerate(steps, 1)
    ]
    picture = str(step.get("picture") or "")
    drawing = drafts.picture_svgs(session, draft.drawings).get(picture)
    box = view_box(drawing)
    listed = ("hazards", "releases", "inspect", "refit-hazards", "refit-fits", "refit-inspect")
    return StepPage(
        draft=draft,
        form=shown,
        saved=SavedState(draft.version, draft.saved_at, tuple(p for p in looked.problems if p.step == step_id)),
        rows={name: _rows(shown, name, more) for name in listed},
        names=_part_names(session, shown),
        may_write=draft.state.value == "in writing",
        changes=changes,
        step_id=step_id,
        number=index + 1,
        of=len(steps),
        title=str(step.get("title") or ""),
        before=others[index - 1] if index else None,
        behind=others[index + 1] if index + 1 < len(others) else None,
        earlier=tuple(others[:index]),
        later=tuple(others[index + 1 :]),
        tool_picks=tuple(
            (str(t.get("id")), f"{t.get('name') or ''} {t.get('size') or ''}".strip() or str(t.get("id")))
            for t in rows(draft.document, "tools")
        ),
        units=(("", "None"), *_named(rows(draft.document, "units"))),
        fixings=(("", "Nothing of this step"), *_named(rows(step, "releases"))),
        picture=picture,
        drawing=drawing,
        box=box,
        places=_places(step, box),
        questions=_asked_here(draft, step_id),
        search=search,
        found=stores.search_parts(session, search) if search else (),
        clip=queries.clips(session, [step]).get(step_id),
        recordings=_recordings(session, draft, step),
    )


def _asked_here(draft: DraftDetail, step_id: str) -> tuple[AskedHere, ...]:
    """Return the open questions of a step."""
    found = [(n, draft.asked[n]) for n in still_open(draft.document, draft.asked)]
    return tuple(
        AskedHere(number, str(one.get("question") or ""), str(one.get("words") or ""))
        for number, one in found
        if one.get("step") == step_id
    )


def _recordings(session: Session, draft: DraftDetail, step: dict[str, Any]) -> Choices:
    """Return the recordings a step may show a clip of: the draft's, and the one it has; none where there is neither."""
    named = dict.fromkeys(name for name in (draft.video, str(part_of(step, "clip").get("video") or "")) if name)
    if not named:
        return ()
    known = queries.recordings(session, named)
    return (("", "No clip"), *((name, known.get(name, name)) for name in named))


def _named(listed: list[dict[str, Any]]) -> Choices:
    return tuple((str(row.get("id")), str(row.get("name") or row.get("id"))) for row in listed)


def _places(step: dict[str, Any], box: Box | None) -> tuple[TapPlace, ...]:
    if box is None:
        return ()
    left, top, width, height = box
    found = []
    for row, fixing in enumerate(rows(step, "releases")):
        for number, place in enumerate(rows(fixing, "places"), 1):
            try:
                x, y = float(place.get("x", "")), float(place.get("y", ""))
            except ValueError:
                continue
            found.append(TapPlace(row, number, round(left + x * width, 2), round(top + y * height, 2)))
    return tuple(found)


@dataclass(frozen=True)
class SplitPage:
    """The form that makes two steps of one: its fixings and inspections, each for the first or the second."""

    draft: DraftDetail
    form: Form[Any]
    step_id: str
    number: int
    title: str
    fixings: Choices
    inspections: Choices
    version: int


def split_page(session: Session, draft_id: int, step_id: str, form: Form[Any] | None = None) -> SplitPage:
    """Read the form that splits a step."""
    draft = drafts.draft(session, draft_id)
    index = step_index(draft.document, step_id)
    step = rows(draft.document, "steps")[index]
    asked = [*rows(step, "inspect"), *rows(part_of(step, "refit"), "inspect")]
    usual = Form[Any](values={"title": str(step.get("title") or ""), "do": str(step.get("do") or "")})
    return SplitPage(
        draft=draft,
        form=form or usual,
        step_id=step_id,
        number=index + 1,
        title=str(step.get("title") or "No title yet"),
        fixings=_named(rows(step, "releases")),
        inspections=tuple((str(a.get("id")), str(a.get("ask") or a.get("id"))) for a in asked if not a.get("of")),
        version=draft.version,
    )
