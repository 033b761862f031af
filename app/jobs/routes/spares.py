"""HTTP: spares for a step: what jobs spoiled of a part, deciding how many its kits carry, withdrawing that."""

from collections.abc import Callable
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.jobs.actions.close import today
from app.jobs.actions.spares import decide_spares, withdraw_spares
from app.jobs.forms import SparesForm, WithdrawForm
from app.jobs.pages.spares import SparesPage, evidence_words, spares_page
from app.jobs.queries.spares import Key
from app.people.access import Caller, Posted, Supervisor
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, RawForm, blank, check
from app.platform.settings import Settings
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other

router = APIRouter(include_in_schema=False)
LOOKED_AT = timedelta(days=366)
HUNDRED = Decimal(100)


def _gather(
    session: Session, settings: Settings, key: Key, form: Form[Any], withdraw: Form[Any], at: datetime
) -> SparesPage:
    return spares_page(session, key, form, withdraw, start=at - LOOKED_AT, end=at, last=today(at, settings))


def _show(
    request: Request, db: Database, settings: Settings, key: Key, form: Form[Any], withdraw: Form[Any], status: int
) -> Response:
    with db.read() as session:
        context = _gather(session, settings, key, form, withdraw, clock.now())
    return page(request, "jobs/spares.html", context, status=status)


@router.get("/spares/{code}/{step}/{part}")
def show_spares(
    request: Request, db: Db, settings: SiteSettings, _caller: Supervisor, code: str, step: str, part: str
) -> Response:
    """Show what jobs spoiled of a part at a step, and the spares planned for it."""
    return _show(request, db, settings, (code, step, part), blank(), blank(), 200)


@router.post("/spares/{code}/{step}/{part}")
def decide(
    request: Request, db: Db, settings: SiteSettings, caller: Supervisor, raw: Posted, code: str, step: str, part: str
) -> Response:
    """Plan spares for the step from now on."""
    form, key = check(SparesForm, raw), (code, step, part)
    given = form.data
    if given is None:
        return _show(request, db, settings, key, form, blank(), 422)

    def act(session: Session, at: datetime, entry_id: str) -> None:
        words = evidence_words(_gather(session, settings, key, blank(), blank(), at))
        decide_spares(
            session, key, given.percent / HUNDRED, given.reason, words, at=at, who=caller.person_id, entry_id=entry_id
        )

    try:
        return _do(db, caller, raw, key, act)
    except Refused as refusal:
        return _show(request, db, settings, key, form.refused(refusal), blank(), 409)


@router.post("/spares/{code}/{step}/{part}/withdraw")
def withdraw(
    request: Request, db: Db, settings: SiteSettings, caller: Supervisor, raw: Posted, code: str, step: str, part: str
) -> Response:
    """Plan no spares for the step any more."""
    form, key = check(WithdrawForm, raw), (code, step, part)
    given = form.data
    if given is None:
        return _show(request, db, settings, key, blank(), form, 422)

    def act(session: Session, at: datetime, entry_id: str) -> None:
        withdraw_spares(session, key, given.why, at=at, who=caller.person_id, entry_id=entry_id)

    try:
        return _do(db, caller, raw, key, act)
    except Refused as refusal:
        refused = Refused(refusal.reason, "why" if refusal.field == "reason" else refusal.field)
        return _show(request, db, settings, key, blank(), form.refused(refused), 409)


def _do(
    db: Database, caller: Caller, raw: RawForm, key: Key, act: Callable[[Session, datetime, str], None]
) -> Response:
    at = clock.now()
    place = "/spares/" + "/".join(key)
    with db.write() as session:
        entry_id = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
        act(session, at, entry_id)
        settle(session, entry_id, place)
    return see_other(place)
