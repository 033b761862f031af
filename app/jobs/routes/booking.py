"""HTTP: the first page, the list of jobs, booking in, a job's own page, make safe, holds."""

from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import Response
from sqlmodel import Session

from app.jobs.actions.book_in import Booking, book_in, checked_serial
from app.jobs.actions.close import today
from app.jobs.actions.hold import end_hold, put_on_hold
from app.jobs.actions.make_safe import SafetyAnswers, make_safe
from app.jobs.actions.photos import add_photos, prepare_pictures
from app.jobs.actions.quote import return_unrepaired
from app.jobs.forms import BookingForm, HoldForm, ReasonForm, SafetyForm
from app.jobs.models import Hold, Stage
from app.jobs.pages import board, booking
from app.jobs.pages.booking import SerialCheck
from app.jobs.queries import jobs as queries
from app.jobs.queries.jobs import JobFilter
from app.jobs.queries.outlook import Outlook
from app.jobs.queries.same_serial import open_with_serial
from app.jobs.routes.waiting import serve_waiting_jobs
from app.people.access import Bench, Caller, Everybody, Posted, Supervisor
from app.people.models import Role
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.platform.forms import Form, blank, check
from app.platform.settings import Settings
from app.platform.submissions import claim, settle
from app.platform.web import Db, SiteSettings, page, see_other
from app.procedures import queries as procedures

router = APIRouter(include_in_schema=False)
# A typed IMEI is told to be wrong once it could be whole, not at every digit.
IMEI_NEARLY_WHOLE = 14


@router.get("/")
def first_page(request: Request, db: Db, settings: SiteSettings, caller: Everybody) -> Response:
    """Show what a person looks at first: the bench, the board, or the stores."""
    if caller.role is Role.STORES:
        return see_other("/stores")
    day = today(clock.now(), settings)
    if caller.role is Role.SUPERVISOR:
        with db.read() as session:
            shown = board.board(session, Outlook(session, settings, clock.now()))
        return page(request, "jobs/board.html", shown)
    with db.read() as session:
        mine = board.home(session, caller.person_id, day)
    return page(request, "jobs/home.html", mine)


@router.get("/jobs")
def list_jobs(
    request: Request,
    db: Db,
    settings: SiteSettings,
    _caller: Everybody,
    before: int | None = None,
    after: int | None = None,
) -> Response:
    """List jobs, newest first, by the filters in the address."""
    typed = {name: value.strip() for name, value in request.query_params.items()}
    wanted = _filter(typed)
    with db.read() as session:
        outlook = Outlook(session, settings, clock.now())
        found = board.job_list(session, wanted, before=before, after=after, outlook=outlook, typed=typed)
    return page(request, "jobs/list.html", found, fragment="list")


def _filter(typed: dict[str, str]) -> JobFilter:
    """Read the filters; one that is not understood narrows nothing, so that an old link still works."""
    stages = {"open", "all", *(stage.value for stage in Stage)}
    holds = {"any", *(hold.value for hold in Hold)}
    stage, hold = typed.get("stage", "open"), typed.get("hold", "")
    return JobFilter(
        stage=stage if stage in stages else "open",
        hold=hold if hold in holds else "",
        model_id=_whole(typed.get("model", "")),
        technician_id=_whole(typed.get("technician", "")),
        text=typed.get("text", "")[:80],
    )


def _whole(text: str) -> int | None:
    return int(text) if text.isascii() and text.isdigit() and len(text) < 10 else None


@router.get("/jobs/new")
def new_job(request: Request, db: Db, _caller: Everybody, part: str = "") -> Response:
    """Show the counter's form; a part of it for the chosen model, or for the typed serial."""
    form = blank(**dict(request.query_params))
    return _booking_page(request, db, form, fragment="serial_check" if part == "serial" else "device")


def _booking_page(request: Request, db: Database, form: Form[Any], status: int = 200, fragment: str = "") -> Response:
    with db.read() as session:
        serial = _serial_check(session, form.value("device_model"), form.value("serial"))
        found = booking.booking_page(session, form, serial)
    return page(request, "jobs/new.html", found, status=status, fragment=fragment or None)


def _serial_check(session: Session, device_model: str, typed: str) -> SerialCheck:
    model = booking.chosen_model(procedures.device_models(session), device_model)
    if model is None or not typed.strip():
        return SerialCheck(model)
    try:
        serial = checked_serial(model, typed)
    except Refused as refusal:
        digits = sum(character.isdigit() for character in typed)
        return SerialCheck(model, fault=refusal.reason if digits >= IMEI_NEARLY_WHOLE else "")
    same = open_with_serial(session, model.id, serial)
    return SerialCheck(model, checked=serial, visits=queries.earlier_visits(session, serial), open_jobs=same)


@router.post("/jobs/new")
def create_job(request: Request, db: Db, caller: Everybody, raw: Posted) -> Response:
    """Book a device in."""
    form = check(BookingForm, raw)
    if not (raw.get("fault") or any(raw.all("fault_word"))):
        form = form.wrong("fault", "Say what is wrong with it, or tap the words that fit.")
    if raw.get("consent") == "":
        form = form.wrong("consent", "Ask the owner first, then tick this box.")
    if form.data is None:
        return _booking_page(request, db, form, status=422)
    at = clock.now()
    try:
        pictures = prepare_pictures(raw.files.get("photos", ()))
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            number = book_in(session, _booking(form.data), pictures, at=at, who=caller.person_id, event_id=key)
            settle(session, key, f"/jobs/{number}")
    except Refused as refusal:
        return _booking_page(request, db, form.refused(refusal), status=409)
    return see_other(f"/jobs/{number}")


def _booking(data: BookingForm) -> Booking:
    return Booking(
        device_model_id=data.device_model,
        serial=data.serial,
        fault=data.faults(),
        condition=data.condition,
        owner_ref=data.owner_ref,
        coverage=data.coverage,
        data_wish=data.data_wish,
        consent=data.consent,
        in_box=data.in_box,
        promised_on=data.promised_on,
        device_value=data.device_value,
        another_device=data.another_device,
    )


@router.get("/jobs/{number}")
def show_job(request: Request, db: Db, settings: SiteSettings, caller: Everybody, number: str) -> Response:
    """Show a job."""
    return _job_page(request, db, settings, caller, number, blank())


def _job_page(
    request: Request, db: Database, settings: Settings, caller: Caller, number: str, form: Form[Any], status: int = 200
) -> Response:
    with db.read() as session:
        outlook = Outlook(session, settings, clock.now())
        found = booking.job_page(session, number, caller.role.value, outlook, form, caller.person_id)
    return page(request, "jobs/job.html", found, status=status)


@router.post("/jobs/{number}/photos")
def add_job_photos(
    request: Request, db: Db, settings: SiteSettings, caller: Everybody, raw: Posted, number: str
) -> Response:
    """Add photos to a job."""
    at = clock.now()
    try:
        pictures = prepare_pictures(raw.files.get("photos", ()), caption=raw.get("caption"))
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            add_photos(session, number, pictures, at=at, who=caller.person_id, event_id=key)
            settle(session, key, f"/jobs/{number}#photos")
    except Refused as refusal:
        return _job_page(request, db, settings, caller, number, blank().refused(refusal), status=409)
    return see_other(f"/jobs/{number}#photos")


@router.get("/jobs/{number}/photos/{photo_id}")
def show_photo(db: Db, _caller: Everybody, number: str, photo_id: int) -> Response:
    """Answer with a photo. It never changes, so the browser of the one who may see it keeps it."""
    with db.read() as session:
        body = queries.photo_body(session, number, photo_id)
    headers = {"Cache-Control": "private, max-age=31536000, immutable", "Content-Disposition": "inline"}
    return Response(body, media_type="image/jpeg", headers=headers)


@router.get("/jobs/{number}/safety")
def show_safety(request: Request, db: Db, _caller: Everybody, number: str) -> Response:
    """Show the make-safe questions, or the hold they led to."""
    with db.read() as session:
        job = queries.find_job(session, number)
    if job.hold is Hold.SAFETY:
        return see_other(f"/jobs/{number}/hold")
    if job.stage is not Stage.BOOKED:
        return see_other(f"/jobs/{number}")
    return _safety_page(request, db, number, blank(version=job.version))


def _safety_page(request: Request, db: Database, number: str, form: Form[Any], status: int = 200) -> Response:
    with db.read() as session:
        found = booking.safety_page(session, number, form)
    return page(request, "jobs/safety.html", found, status=status)


@router.post("/jobs/{number}/safety")
def answer_safety(request: Request, db: Db, caller: Bench, raw: Posted, number: str) -> Response:
    """Record the answers; a cell that is not sound leads to the safety hold."""
    form = check(SafetyForm, raw)
    if form.data is None:
        if "cell" in form.errors:
            form = form.wrong("cell", "Look at the cell, or feel along the case, and choose what you find.")
        return _safety_page(request, db, number, form, status=422)
    at, data = clock.now(), form.data
    answers = SafetyAnswers(data.cell, data.cautions, data.strap, data.mat, data.note)
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            safe = make_safe(
                session, number, data.version, answers, at=at, who=caller.person_id, event_id=key
            )  # fmt: skip
            location = f"/jobs/{number}/targets" if safe else f"/jobs/{number}/hold"
            settle(session, key, location)
    except Refused as refusal:
        return _safety_page(request, db, number, form.refused(refusal), status=409)
    return see_other(location)


@router.get("/jobs/{number}/hold")
def show_hold(request: Request, db: Db, caller: Everybody, number: str) -> Response:
    """Show a job's hold, or the form that puts it on hold."""
    return _hold_page(request, db, caller, number, blank(hold="safety"), blank())


def _hold_page(
    request: Request,
    db: Database,
    caller: Caller,
    number: str,
    form: Form[Any],
    return_form: Form[Any],
    status: int = 200,
) -> Response:
    with db.read() as session:
        found = booking.hold_page(session, number, form, return_form, caller.role.value)
    return page(request, "jobs/hold.html", found, status=status)


@router.post("/jobs/{number}/hold")
def begin_hold(request: Request, db: Db, caller: Bench, raw: Posted, number: str) -> Response:
    """Put a job on hold by hand."""
    form = check(HoldForm, raw)
    if form.data is None:
        return _hold_page(request, db, caller, number, form, blank(), status=422)
    at, data = clock.now(), form.data
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            put_on_hold(
                session, number, data.version, data.hold, data.reason, at=at, who=caller.person_id, event_id=key
            )  # fmt: skip
            settle(session, key, f"/jobs/{number}/hold")
    except Refused as refusal:
        return _hold_page(request, db, caller, number, form.refused(refusal), blank(), status=409)
    return see_other(f"/jobs/{number}/hold")


@router.post("/jobs/{number}/hold/end")
def release_hold(request: Request, db: Db, settings: SiteSettings, caller: Bench, raw: Posted, number: str) -> Response:
    """End a hold with a reason; a safety hold is a supervisor's to release."""
    form = check(ReasonForm, raw)
    if form.data is None:
        return _hold_page(request, db, caller, number, form, blank(), status=422)
    at, data = clock.now(), form.data
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            end_hold(
                session,
                number,
                data.version,
                data.reason,
                at=at,
                who=caller.person_id,
                event_id=key,
                supervisor=caller.role is Role.SUPERVISOR,
                today=today(at, settings),
            )
            settle(session, key, f"/jobs/{number}")
    except Refused as refusal:
        return _hold_page(request, db, caller, number, form.refused(refusal), blank(), status=409)
    return see_other(f"/jobs/{number}")


@router.post("/jobs/{number}/return")
def return_device(
    request: Request, db: Db, settings: SiteSettings, caller: Supervisor, raw: Posted, number: str
) -> Response:
    """End a job without a repair."""
    form = check(ReasonForm, raw)
    if form.data is None:
        return _hold_page(request, db, caller, number, blank(), form, status=422)
    at, data = clock.now(), form.data
    try:
        with db.write() as session:
            key = claim(session, raw.get("submission_id"), raw.content(), caller.person_id, at)
            return_unrepaired(
                session, number, data.version, data.reason, settings, at=at, who=caller.person_id, event_id=key
            )  # fmt: skip
            settle(session, key, f"/jobs/{number}")
    except Refused as refusal:
        return _hold_page(request, db, caller, number, blank(), form.refused(refusal), status=409)
    serve_waiting_jobs(db, settings, caller.person_id)
    return see_other(f"/jobs/{number}")
