"""Correct the serial or the owner of a booked job: a new entry with both values, never an edit of the old one."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.jobs.actions.book_in import checked_serial
from app.jobs.actions.record import known_event, load_job, record
from app.jobs.queries.same_serial import open_with_serial
from app.platform.submissions import content_hash
from app.procedures import queries as procedures
from app.rules.correcting import check_correction, check_same_serial


@dataclass(frozen=True)
class Corrected:
    """What should have been written down. ``serial`` is as typed; ``another_device`` one of ``OTHER_DEVICE``."""

    serial: str
    owner_ref: str
    reason: str
    another_device: str = ""


def correct_booking(
    session: Session,
    number: str,
    version: int,
    said: Corrected,
    *,
    at: datetime,
    who: int,
    supervisor: bool,
    event_id: str,
) -> None:
    """Correct what was written down at the counter.

    Raises Refused by ``check_correction``, for a serial that cannot be one of this model's (its check digit is
    verified) or that another open job has, and Stale when the job changed since.
    """
    content = ["correct", number, said.serial, said.owner_ref, said.reason, said.another_device]
    digest = content_hash(content)
    if known_event(session, event_id, digest):
        return
    job = load_job(session, number, version)
    # Held for the reason it is held at booking: nobody takes the serial between the question and the answer.
    model = procedures.device_model(session, job.device_model_id, hold=True)
    before = {"serial": job.serial, "owner_ref": job.owner_ref}
    # A serial that stays is not judged anew: it may have been taken over from older records.
    serial = job.serial if said.serial.strip() == job.serial else checked_serial(model, said.serial)
    after = {"serial": serial, "owner_ref": " ".join(said.owner_ref.split())}
    changes = check_correction(
        job.stage.value, before, after, said.reason, mine=who == job.booked_by, supervisor=supervisor
    )
    data: dict[str, Any] = {"changes": [[c.field, c.before, c.after] for c in changes], "reason": said.reason}
    if serial != job.serial:
        same = open_with_serial(session, job.device_model_id, serial, but=number)
        check_same_serial(same, said.another_device)
        if same:
            data |= {"another_device": said.another_device, "open_jobs": list(same)}
    record(session, job, kind="corrected", at=at, who=who, event_id=event_id, data=data, digest=digest)
    job.serial, job.owner_ref = serial, after["owner_ref"]
    session.add(job)
