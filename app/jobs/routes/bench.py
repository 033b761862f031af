"""HTTP: work at the bench. A tick is one form with one button; with htmx the page is morphed in place."""

from datetime import datetime

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.jobs.actions import bench as actions
from app.jobs.actions.bench import derived
from app.jobs.actions.places import set_place
from app.jobs.actions.record import load_job
from app.jobs.actions.trouble import rejected_words, report
from app.jobs.models import Hold
from app.jobs.pages.bench import bench_page
from app.people.access import Bench, Caller, Posted
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.settings import Settings
from app.platform.submissions import valid_id
from app.platform.web import Db, SiteSettings, is_partial, page, see_other
from app.rules.scanned import read_scans

router = APIRouter(include_in_schema=False)
PAUSE_REASONS = ("Break", "Other work", "Waiting for parts", "Waiting for the owner", "Cure or charge", "End of shift")


@router.get("/jobs/{number}/bench")
def show_bench(
    request: Request, db: Db, settings: SiteSettings, caller: Bench, number: str, step: str = "", said: str = ""
) -> Response:
    """Show the bench page, or the recount that comes first after a take-over."""
    note = "Failed inspection recorded. What it needs stands under Trouble." if said == "rejected" else ""
    return _bench(request, db, settings, caller, number, step=step, note=note)


def _bench(
    request: Request,
    db: Database,
    settings: Settings,
    caller: Caller,
    number: str,
    *,
    step: str = "",
    refusal: str = "",
    note: str = "",
) -> Response:
    at = clock.now()
    with db.read() as session:
        shown = bench_page(
            session, number, who=caller.person_id, at=at, settings=settings, step=step, refusal=refusal, note=note
        )
        due = shown.mode in ("step", "turn", "count") and shown.recount_due
    if due:
        if is_partial(request):
            return Response(status_code=200, headers={"HX-Redirect": f"/jobs/{number}/recount"})
        return see_other(f"/jobs/{number}/recount")
    headers = {"HX-Replace-Url": f"/jobs/{number}/bench"} if request.method == "POST" else {}
    return page(
        request,
        "jobs/bench.html",
        shown,
        status=409 if refusal else 200,
        fragment="bench",
        headers=headers,
    )


@router.post("/jobs/{number}/bench/open")
def open_at_bench(
    request: Request, db: Db, settings: SiteSettings, caller: Bench, raw: Posted, number: str
) -> Response:
    """Open a job at the bench, resume it, or take it over."""
    event_id = valid_id(raw.get("submission_id"))
    try:
        with db.write() as session:
            actions.open_job(session, number, at=clock.now(), who=caller.person_id, event_id=event_id)
    except Refused as refusal:
        return _bench(request, db, settings, caller, number, refusal=refusal.reason)
    return _after(request, db, settings, caller, number)


def _after(request: Request, db: Database, settings: Settings, caller: Caller, number: str, note: str = "") -> Response:
    """Answer htmx with the morphed page at once; a plain form is sent on, so that a reload sends nothing again."""
    if is_partial(request):
        return _bench(request, db, settings, caller, number, note=note)
    return see_other(f"/jobs/{number}/bench" + ("?said=rejected" if note else ""))


@router.post("/jobs/{number}/bench/tick")
def tick(request: Request, db: Db, settings: SiteSettings, caller: Bench, raw: Posted, number: str) -> Response:
    """Tick the step: everything on it happened as the sheet says, but for what was rejected."""
    event_id = valid_id(raw.get("submission_id"))
    side, step, at, rejects = raw.get("side"), raw.get("step"), clock.now(), sorted(set(raw.all("reject")))
    says: list[str] = []
    try:
        scanned = read_scans(raw.all("scanned"))
        with db.write() as session:
            for n, name in enumerate(rejects):
                # On the way back a rejected step is not ticked, so its first report carries the form's id.
                own = side == "up" and n == 0
                said = _reject(session, number, name, event_id if own else derived(event_id, name), at, caller)
                says.append(said)
            # A danger to people stops here: what was rejected is kept, and the step is not ticked.
            held = bool(rejects) and load_job(session, number).hold is Hold.SAFETY
            if not held and not (rejects and side == "up"):
                actions.tick(
                    session,
                    number,
                    side,
                    step,
                    at=at,
                    who=caller.person_id,
                    event_id=event_id,
                    old_serial=raw.get("old_serial")[:48],
                    rejects=rejects,
                    scanned=scanned,
                )
    except Refused as refusal:
        return _bench(request, db, settings, caller, number, refusal=refusal.reason)
    return _after(request, db, settings, caller, number, " ".join(says))


def _reject(session: Session, number: str, name: str, event_id: str, at: datetime, caller: Caller) -> str:
    """Record one inspection as failed; returns the sheet's remedy and what became of the part, in words."""
    short = report(
        session, number, "reject", inspection=name, at=at, who=caller.person_id, event_id=event_id
    )  # fmt: skip
    return rejected_words(session, number, event_id, short)


@router.post("/jobs/{number}/bench/undo")
def undo(request: Request, db: Db, settings: SiteSettings, caller: Bench, raw: Posted, number: str) -> Response:
    """Take the last tick back with a new entry."""
    event_id = valid_id(raw.get("submission_id"))
    try:
        with db.write() as session:
            actions.undo(session, number, raw.get("undoes"), at=clock.now(), who=caller.person_id, event_id=event_id)
    except Refused as refusal:
        return _bench(request, db, settings, caller, number, refusal=refusal.reason)
    return _after(request, db, settings, caller, number)


@router.post("/jobs/{number}/bench/place")
def tap_place(request: Request, db: Db, settings: SiteSettings, caller: Bench, raw: Posted, number: str) -> Response:
    """Count one place on the drawing out or back, or take that back; the step looked at stays in sight."""
    event_id, place, look = valid_id(raw.get("submission_id")), raw.get("place"), raw.get("look")
    try:
        if not (place.isascii() and place.isdigit() and len(place) < 4):
            raise Refused("Choose a place on the drawing.", "place")
        with db.write() as session:
            set_place(
                session,
                number,
                raw.get("item"),
                int(place),
                raw.get("side"),
                raw.get("on") == "true",
                at=clock.now(),
                who=caller.person_id,
                event_id=event_id,
            )
    except Refused as refusal:
        return _bench(request, db, settings, caller, number, step=look, refusal=refusal.reason)
    if is_partial(request):
        return _bench(request, db, settings, caller, number, step=look)
    return see_other(f"/jobs/{number}/bench" + (f"?step={look}" if look.replace("-", "").isalnum() else ""))


@router.get("/jobs/{number}/bench/pause")
def show_pause(request: Request, db: Db, settings: SiteSettings, caller: Bench, number: str) -> Response:
    """Ask why the job is paused: a few large answers."""
    with db.read() as session:
        shown = bench_page(session, number, who=caller.person_id, at=clock.now(), settings=settings)
    return page(request, "jobs/bench_pause.html", {"bench": shown, "reasons": PAUSE_REASONS})


@router.post("/jobs/{number}/bench/pause")
def pause(request: Request, db: Db, settings: SiteSettings, caller: Bench, raw: Posted, number: str) -> Response:
    """Stop the bench time with a reason."""
    event_id = valid_id(raw.get("submission_id"))
    reason = raw.get("reason")[:120] or PAUSE_REASONS[0]
    try:
        with db.write() as session:
            actions.pause(session, number, reason, at=clock.now(), who=caller.person_id, event_id=event_id)
    except Refused as refusal:
        return _bench(request, db, settings, caller, number, refusal=refusal.reason)
    return see_other("/") if raw.get("leave") else see_other(f"/jobs/{number}/bench")
