"""JSON API: drafts listed, begun, read, written step by step, sent to be checked and published."""

from datetime import datetime
from typing import Annotated, Any

from fastapi import APIRouter, Query
from pydantic import BaseModel, Field
from sqlmodel import Session

from app.people.access import ApiBench, ApiSupervisor, Caller
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import NotFound
from app.platform.submissions import SubmissionId, claim, first_outcome
from app.platform.web import Db, problem
from app.procedures import queries
from app.procedures.actions import beginning
from app.procedures.actions import draft_steps as steps
from app.procedures.actions import drafts as actions
from app.procedures.document import MAX_BYTES, ImportRefused, as_json
from app.procedures.draft_checks import look
from app.procedures.files import SheetFile
from app.procedures.forms import Title
from app.procedures.gaps import exact
from app.procedures.models import DraftState
from app.procedures.queries import drafts as found_drafts
from app.procedures.queries.drafts import DraftDetail
from app.procedures.routes.draft_change import DraftId, StepId
from app.rules.draft_flow import next_number
from app.rules.draft_questions import still_open
from app.stores import queries as stores

router = APIRouter(prefix="/api/v1", tags=["drafts"])
HERE = "/api/v1/drafts"
Id = SubmissionId
Version = Annotated[int, Field(ge=1, description="The draft's version as last seen.")]


class DraftItem(BaseModel):
    """A draft in the list; ``base`` is code/revision of what it began from, null for one that is new."""

    id: int
    title: str
    state: str
    version: int
    base: str | None
    saved_at: datetime


class DraftList(BaseModel):
    """A part of the list; ``next`` is what to send as ``after`` for the part that follows."""

    items: list[DraftItem]
    next: int | None


class ProblemBody(BaseModel):
    """One thing to mend; ``step`` is the id of the step it belongs to, null for the heading and the tests."""

    part: str
    step: str | None
    field: str
    message: str
    remedy: str


class QuestionBody(BaseModel):
    """A question from words; ``number`` settles it. ``path`` leads into the document; ``words`` are its source."""

    number: int
    open: bool
    path: list[str | int]
    question: str
    words: str


class DraftBody(BaseModel):
    """A draft whole: its document in the shape of a procedure file, what is to be mended, what is asked."""

    id: int
    title: str
    state: str
    version: int
    document: dict[str, Any]
    problems: list[ProblemBody]
    asked: list[QuestionBody]
    remarks: str
    source: str | None
    video: str | None


class NewDraft(BaseModel):
    """Begin a blank draft, or with ``code`` the next revision of that procedure."""

    id: Id
    title: Title = "New procedure"
    device_model: Annotated[str, Field(max_length=48)] = ""
    code: Annotated[str, Field(max_length=48, description="A published procedure.")] = ""


class YamlDraft(BaseModel):
    """Begin a draft from a procedure file; it may have gaps. ``drawings`` are SVG texts by picture name."""

    id: Id
    name: Annotated[str, Field(min_length=1, max_length=120)] = "procedure.yaml"
    yaml: Annotated[str, Field(min_length=1, max_length=MAX_BYTES)]
    drawings: Annotated[dict[str, Annotated[str, Field(max_length=MAX_BYTES)]], Field(max_length=200)] = Field(
        default_factory=dict
    )


class StepBody(BaseModel):
    """A step as a procedure file has it; it may have gaps, and takes the place of the one named in the address."""

    id: Id
    version: Version
    step: dict[str, Any]


class DraftChange(BaseModel):
    """A change that needs only the version seen; ``remarks`` are for sending back."""

    id: Id
    version: Version
    remarks: Annotated[str, Field(max_length=2000)] = ""


class SettleQuestion(BaseModel):
    """Mark a question as settled, or open it again."""

    id: Id
    version: Version
    done: bool = True


class PublishedBody(BaseModel):
    """The revision that a draft became."""

    code: str
    revision: int
    address: str


@router.get("/drafts")
def list_drafts(
    db: Db,
    _caller: ApiBench,
    state: DraftState | None = None,
    after: Annotated[int | None, Query(ge=1)] = None,
    limit: Annotated[int, Query(ge=1, le=200)] = 50,
) -> DraftList:
    """List drafts, those written to last first; without ``state`` those in writing and being checked."""
    states = (state,) if state else (DraftState.WRITING, DraftState.CHECKING)
    with db.read() as session:
        found = found_drafts.drafts(session, states, limit + 1, after)
    items = [
        DraftItem(
            id=row.id, title=row.title, state=row.state.value, version=row.version, saved_at=row.saved_at,
            base=f"{row.base[0]}/{row.base[1]}" if row.base else None,
        )
        for row in found[:limit]
    ]  # fmt: skip
    return DraftList(items=items, next=items[-1].id if len(found) > limit else None)


@router.get("/drafts/{draft_id}")
def get_draft(db: Db, _caller: ApiBench, draft_id: DraftId) -> DraftBody:
    """Return one draft with what is to be mended in it and what is asked about it."""
    with db.read() as session:
        return _body(session, draft_id)


def _body(session: Session, draft_id: int) -> DraftBody:
    draft: DraftDetail = found_drafts.draft(session, draft_id)
    newest = queries.newest_revision(session, str(draft.document.get("code") or ""))
    looked = look(draft.document, next_number(newest.number if newest else None), stores.known_numbers(session))
    open_now = set(still_open(draft.document, draft.asked))
    return DraftBody(
        id=draft.id,
        title=draft.title,
        state=draft.state.value,
        version=draft.version,
        document=draft.document,
        problems=[
            ProblemBody(part=p.part, step=p.step, field=p.field, message=p.message, remedy=p.remedy)
            for p in looked.problems
        ],
        asked=[
            QuestionBody(
                number=number, open=number in open_now, path=list(q.get("path") or ()),
                question=str(q.get("question") or ""), words=_said(q.get("words")),
            )
            for number, q in enumerate(draft.asked)
        ],
        remarks=draft.remarks,
        source=draft.source,
        video=draft.video,
    )  # fmt: skip


def _said(words: Any) -> str:
    return str(words.get("text") or "") if isinstance(words, dict) else str(words or "")


@router.post("/drafts", status_code=201)
def begin_draft(db: Db, caller: ApiSupervisor, body: NewDraft) -> DraftBody:
    """Begin a draft: blank, or the next revision of a published procedure."""
    at = clock.now()
    with first_outcome() as outcome, db.write() as session:
        key = claim(session, body.id, body.model_dump(), caller.person_id, at)
        if body.code:
            newest = queries.newest_revision(session, body.code)
            if newest is None:
                raise NotFound(f"procedure {body.code}")
            made = actions.next_revision(session, newest.id, who=caller.person_id, at=at)
        else:
            made = beginning.begin_blank(
                session, body.title, body.device_model, caller.name, who=caller.person_id, at=at
            )
        outcome.settle(session, key, f"{HERE}/{made}")
    return get_draft(db, caller, int(outcome.name))


@router.post("/drafts/yaml", status_code=201, response_model=DraftBody)
def begin_from_yaml(db: Db, caller: ApiSupervisor, body: YamlDraft) -> Any:
    """Begin a draft from the text of a procedure file; what has not the shape of one is refused with its line."""
    at = clock.now()
    try:
        with first_outcome() as outcome, db.write() as session:
            key = claim(session, body.id, body.model_dump(), caller.person_id, at)
            file = SheetFile(body.name, body.yaml, body.drawings)
            made = beginning.begin_from_file(session, file, who=caller.person_id, at=at)
            outcome.settle(session, key, f"{HERE}/{made}")
    except ImportRefused as refusal:
        found = [{"line": p.line, "step": p.step, "message": p.message, "remedy": p.remedy} for p in refusal.problems]
        return problem(422, "No draft was begun", refusal.reason, problems=found)
    return get_draft(db, caller, int(outcome.name))


@router.put("/drafts/{draft_id}/steps/{step_id}")
def replace_step(db: Db, caller: ApiSupervisor, draft_id: DraftId, step_id: StepId, body: StepBody) -> DraftBody:
    """Put a step in the place of one; answers with the draft as it is after."""
    at = clock.now()
    with first_outcome() as outcome, db.write() as session:
        key = claim(session, body.id, {**body.model_dump(), "draft": draft_id, "at": step_id}, caller.person_id, at)
        step = as_json(exact(body.step))
        steps.replace_step(session, draft_id, body.version, step_id, step, who=caller.person_id, at=at)
        outcome.settle(session, key, f"{HERE}/{draft_id}")
    return get_draft(db, caller, draft_id)


@router.post("/drafts/{draft_id}/asked/{number}")
def settle_question(db: Db, caller: ApiSupervisor, draft_id: DraftId, number: int, body: SettleQuestion) -> DraftBody:
    """Mark a question as settled, or open it again."""
    at = clock.now()
    with first_outcome() as outcome, db.write() as session:
        key = claim(session, body.id, {**body.model_dump(), "draft": draft_id, "asked": number}, caller.person_id, at)
        actions.settle_question(session, draft_id, body.version, number, body.done)
        outcome.settle(session, key, f"{HERE}/{draft_id}")
    return get_draft(db, caller, draft_id)


@router.post("/drafts/{draft_id}/send")
def send_draft(db: Db, caller: ApiSupervisor, draft_id: DraftId, body: DraftChange) -> DraftBody:
    """Send a sound draft to a second person."""
    return _moved(db, caller, draft_id, "send", body)


@router.post("/drafts/{draft_id}/recall")
def recall_draft(db: Db, caller: ApiSupervisor, draft_id: DraftId, body: DraftChange) -> DraftBody:
    """Take a draft back from its checker to write on."""
    return _moved(db, caller, draft_id, "recall", body)


@router.post("/drafts/{draft_id}/send-back")
def send_back_draft(db: Db, caller: ApiSupervisor, draft_id: DraftId, body: DraftChange) -> DraftBody:
    """Send a draft back to its writer with remarks; only a second person may."""
    return _moved(db, caller, draft_id, "send-back", body)


def _moved(db: Database, caller: Caller, draft_id: int, what: str, body: DraftChange) -> DraftBody:
    at, who = clock.now(), caller.person_id
    with first_outcome() as outcome, db.write() as session:
        key = claim(session, body.id, {**body.model_dump(), "draft": draft_id, "what": what}, who, at)
        if what == "send":
            actions.send_to_check(session, draft_id, body.version, stores.known_numbers(session), who=who, at=at)
        elif what == "recall":
            actions.take_back(session, draft_id, body.version)
        else:
            actions.send_back(session, draft_id, body.version, body.remarks, who=who, at=at)
        outcome.settle(session, key, f"{HERE}/{draft_id}")
    return get_draft(db, caller, draft_id)


@router.post("/drafts/{draft_id}/publish")
def publish_draft(db: Db, caller: ApiSupervisor, draft_id: DraftId, body: DraftChange) -> PublishedBody:
    """Publish a draft that this person, who is not its writer, has checked."""
    at, who = clock.now(), caller.person_id
    with first_outcome() as outcome, db.write() as session:
        key = claim(session, body.id, {**body.model_dump(), "draft": draft_id, "what": "publish"}, who, at)
        made = actions.publish_draft(session, draft_id, body.version, stores.known_numbers(session), who=who, at=at)
        outcome.settle(session, key, f"/api/v1/procedures/{made.code}/{made.revision}")
    *_, code, revision = outcome.location.split("/")
    return PublishedBody(code=code, revision=int(revision), address=outcome.location)
