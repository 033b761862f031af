"""A small workshop for the review's tests: one device model, a few parts on the shelf, and whole jobs by actions."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from sqlmodel import Session

from app.jobs.actions import bench, book_in, choose_targets, close, issue_kit, make_safe, quote, trouble
from app.jobs.models import Coverage, DataWish, Hold, Job, PartUse, Stage
from app.jobs.queries.jobs import find_job
from app.platform.clock import uuid7
from app.platform.settings import Settings
from app.procedures.models import DeviceModelRow, Procedure, Revision
from app.rules.sheet import Identifier, Sheet
from app.stores import actions as stores
from app.stores import queries as shelf

# In the winter's zone one hour before the workshop's clock.
MORNING = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)


def small_sheet() -> Sheet:
    """A device of two steps: a back with screws and a seal, a cell on a plug."""
    back = {
        "id": "back", "title": "Lift the back", "do": "Turn the screws out, lift.", "time_s": 60,
        "releases": [
            {"id": "screws", "kind": "screw", "name": "Back screw", "count": 4, "reuse": "reusable", "waste": "metal"},
            {"id": "seal", "kind": "seal", "name": "Rim seal", "count": 1, "reuse": "single-use", "part": "D-310"},
        ],
        "refit": {
            "title": "Close the back", "do": "New seal, screws in.", "time_s": 90, "press_s": 30, "closes": True,
            "inspect": [
                {"id": "flush", "ask": "Is the back flush all round?", "on_reject": {"say": "Take it off again."}}
            ],
        },
    }  # fmt: skip
    cell = {
        "id": "cell", "title": "Unplug the cell", "do": "Lift the plug, pull the tab.", "time_s": 40, "after": ["back"],
        "frees": "cell",
        "releases": [{"id": "plug", "kind": "connector", "name": "Cell plug", "count": 1, "reuse": "reusable"}],
        "refit": {"title": "Fit the new cell", "do": "Lay it in, press the plug.", "time_s": 50},
    }  # fmt: skip
    test = {"id": "charge", "title": "Charges", "do": "Plug it in.", "due": {"exchanged": ["cell"]}}
    return Sheet.model_validate(
        {
            "countback": 1, "code": "deckphone", "title": "Deckphone", "revision": 1,
            "device_model": {"code": "deckphone", "name": "Deckphone", "kind": "handset"},
            "written_by": "Ines Holm", "summary": "For tests only.",
            "units": [{"id": "cell", "name": "Cell pack", "part": "D-120", "waste": "cell"}],
            "steps": [back, cell], "release_tests": [test],
        }
    )  # fmt: skip


def publish(session: Session, sheet: Sheet | None = None, code: str = "deckphone", name: str = "Deckphone") -> int:
    """Store a device model with one revision; returns the model's id. The revision has the same number of its own."""
    sheet = sheet or small_sheet()
    model = DeviceModelRow(code=code, name=name, kind="handset", identifier=Identifier.SERIAL)
    session.add(model)
    session.flush()
    procedure = Procedure(code=code, title=name, device_model_id=model.id or 0)
    session.add(procedure)
    session.flush()
    document = sheet.model_dump(mode="json")
    revision = Revision(
        procedure_id=procedure.id or 0, number=1, document=document, drawings={}, sha256="0" * 64, published_at=MORNING
    )
    session.add(revision)
    session.flush()
    return model.id or 0


def a_job(session: Session, model_id: int, **more: Any) -> Job:
    """Store one job's row as it stands after its work, without its entries."""
    values: dict[str, Any] = {
        "device_model_id": model_id, "revision_id": 1, "serial": "DK-1", "fault": "Dead", "condition": "Clean",
        "owner_ref": "Ferry 3", "coverage": Coverage.OWNER, "data_wish": DataWish.KEEP, "booked_at": MORNING,
        "stage": Stage.CLOSED, "hold": Hold.NONE,
    }  # fmt: skip
    values |= more
    job = Job(number=f"~{uuid7()[-12:]}", **values)
    if job.stage in (Stage.CLOSED, Stage.RETURNED) and job.closed_at is None:
        job.closed_at = job.booked_at + timedelta(days=2)
    session.add(job)
    session.flush()
    job.number = f"J{job.id:06d}"
    session.add(job)
    session.flush()
    return job


def a_use(session: Session, job: Job, part_number: str, lot_id: int, *, struck: bool = False) -> None:
    """Store that a part was fitted in a job."""
    session.add(
        PartUse(
            job_id=job.id or 0, event_id=uuid7(), step="back", item="back/seal", part_number=part_number,
            lot_id=lot_id, quantity=1, struck=struck,
        )
    )  # fmt: skip
    session.flush()


def stock(session: Session) -> dict[str, int]:
    """Put parts on the shelf; returns the lot of each by part number."""
    at = MORNING - timedelta(days=30)
    places = [{"code": "A-1", "name": "Shelf", "walk_order": "1"}]
    suppliers = [{"code": "KLP", "name": "Kelpline", "email": "", "address": ""}]
    parts = [
        {"number": number, "name": name, "unit": "each", "location": "A-1", "supplier": "KLP", "price": price}
        for number, name, price in (
            ("D-120", "Cell pack, Deckphone", "23.75"),
            ("D-310", "Rim seal, Deckphone", "1.845"),
            ("D-010", "Back screw, Deckphone", "0.12"),
        )
    ]
    stores.import_catalogue(session, suppliers, places, parts, at=at, who=None)
    lots = {}
    for number in ("D-120", "D-310", "D-010"):
        lots[number] = stores.receive_loose(
            session, number, f"L-{number}", date(2030, 1, 1), 50, None, None, "opening stock",
            entry_id=uuid7(at), at=at, who=None, today=at.date(),
        )  # fmt: skip
    return lots


class Work:
    """One job driven through the actions, a minute an action, by the people of the cast (1, 2; stores 3; 4)."""

    def __init__(self, session: Session, settings: Settings, model_id: int, serial: str = "DK-77") -> None:
        self.session = session
        self.settings = settings
        self._clock = self._minutes(MORNING)
        booking = book_in.Booking(
            model_id,
            serial,
            "Does not charge",
            "Scratched",
            "Ferry 3",
            Coverage.OWNER,
            DataWish.KEEP,
            True,
            another_device="shared label",
        )
        self.number = book_in.book_in(session, booking, at=self.at(), who=1, event_id=uuid7())

    @staticmethod
    def _minutes(start: datetime) -> Iterator[datetime]:
        while True:
            yield start
            start += timedelta(minutes=1)

    def at(self) -> datetime:
        """The next minute."""
        return next(self._clock)

    @property
    def version(self) -> int:
        """The job's version as it is now."""
        return find_job(self.session, self.number).version

    def plan_and_kit(self) -> None:
        """Make safe, plan the cell, quote, approve and hand the kit out."""
        session, number = self.session, self.number
        answers = make_safe.SafetyAnswers("sound", True, True, True)
        make_safe.make_safe(session, number, self.version, answers, at=self.at(), who=1, event_id=uuid7())
        choose_targets.use_plan(session, number, self.version, ["cell"], at=self.at(), who=1, event_id=uuid7())
        quote.send_quote(
            session, number, self.version, Decimal("84.00"), self.settings, at=self.at(), who=4, event_id=uuid7()
        )
        answer = quote.Answer(True, "Mate of Ferry 3", "by telephone", MORNING.date())
        quote.answer_quote(session, number, self.version, answer, self.settings, at=self.at(), who=4, event_id=uuid7())
        self.hand_out({"D-120": 1, "D-310": 1})

    def hand_out(self, wants: dict[str, int]) -> None:
        """Hand parts out, first expired first."""
        picks = shelf.propose_picks(self.session, wants, MORNING.date())
        issue_kit.hand_out_kit(
            self.session, self.number, picks, at=self.at(), who=3, event_id=uuid7(), today=MORNING.date()
        )

    def open(self, who: int = 1) -> None:
        """Open the job at the bench."""
        bench.open_job(self.session, self.number, at=self.at(), who=who, event_id=uuid7())

    def tick(self, side: str, step: str, who: int = 1) -> str:
        """Tick a step; returns the entry's id."""
        event_id = uuid7()
        bench.tick(self.session, self.number, side, step, at=self.at(), who=who, event_id=event_id)
        return event_id

    def undo(self, event_id: str, who: int = 1) -> None:
        """Take a tick back."""
        bench.undo(self.session, self.number, event_id, at=self.at(), who=who, event_id=uuid7())

    def report(self, kind: str, **more: Any) -> None:
        """Report trouble."""
        trouble.report(self.session, self.number, kind, at=self.at(), who=1, event_id=uuid7(), **more)

    def pause(self, reason: str, who: int = 1) -> None:
        """Pause with a reason."""
        bench.pause(self.session, self.number, reason, at=self.at(), who=who, event_id=uuid7())

    def finish(self, who: int = 1) -> None:
        """Sign the count, test and close."""
        session, number = self.session, self.number
        close.sign_count(session, number, self.version, at=self.at(), who=who, event_id=uuid7())
        close.record_test(session, number, "charge", accepted=True, at=self.at(), who=who, event_id=uuid7())
        close.close_job(session, number, self.version, self.settings, at=self.at(), who=who, event_id=uuid7())


def whole_job(session: Session, settings: Settings, model_id: int) -> str:
    """Do a whole job with an undo, a damaged screw and a pause; returns its number. ``stock`` has been called."""
    work = Work(session, settings, model_id)
    work.plan_and_kit()
    work.open()
    first = work.tick("down", "back")
    work.undo(first)
    work.tick("down", "back")
    work.report("damage", item="back/screws", count=1, part="D-010", note="Head stripped")
    work.hand_out({"D-010": 1})
    work.tick("down", "cell")
    work.pause("lunch")
    work.open()
    work.tick("turn", "")
    work.tick("up", "cell")
    work.tick("up", "back")
    for _ in range(2):  # The seal is pressed for half a minute.
        work.at()
    work.finish()
    return work.number
