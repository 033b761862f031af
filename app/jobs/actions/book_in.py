"""Book a device in: the first entry of a job's record."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from secrets import token_hex

from sqlmodel import Session

from app.jobs.actions.photos import Picture, keep_pictures
from app.jobs.actions.record import record
from app.jobs.models import Coverage, DataWish, Job, Stage
from app.jobs.queries.same_serial import open_with_serial
from app.platform.errors import Refused
from app.procedures import queries as procedures
from app.procedures.queries import ModelInfo
from app.rules.correcting import check_same_serial
from app.rules.identifiers import clean_imei, clean_serial
from app.rules.sheet import Identifier


@dataclass(frozen=True)
class Booking:
    """What is asked at the counter. ``serial`` is as typed; it is cleaned and checked by the model's rule.

    ``another_device`` says why an open job has this serial too, one of ``OTHER_DEVICE``.
    """

    device_model_id: int
    serial: str
    fault: str
    condition: str
    owner_ref: str
    coverage: Coverage
    data_wish: DataWish
    consent: bool
    in_box: str = ""
    promised_on: date | None = None
    device_value: Decimal | None = None
    another_device: str = ""


def checked_serial(model: ModelInfo, text: str) -> str:
    """Return the serial in its one spelling; Refused, naming the fault, when it cannot be one of this model's."""
    if model.identifier is Identifier.IMEI:
        return clean_imei(text, "serial")
    return clean_serial(text, "serial")


def book_in(
    session: Session,
    booking: Booking,
    pictures: Sequence[Picture] = (),
    *,
    at: datetime,
    who: int | None,
    event_id: str,
) -> str:
    """Book a device in and return the job's number. The job stays on the procedure revision it starts with.

    Refused for a wrong serial, for one that an open job has already and nobody said why, without the owner's consent,
    or when no procedure is published for the model.
    """
    # Held, so that two clerks who book one serial in the same moment are judged one after the other.
    model = procedures.device_model(session, booking.device_model_id, hold=True)
    serial = checked_serial(model, booking.serial)
    same = open_with_serial(session, model.id, serial)
    check_same_serial(same, booking.another_device)
    if not booking.consent:
        raise Refused("Ask the owner first, then tick this box.", "consent")
    if not booking.fault.strip():
        raise Refused("Say what is wrong with it.", "fault")
    revision = procedures.current_revision(session, model.id)
    if revision is None:
        raise Refused(f"No procedure is published for the {model.name}. Import one first.", "device_model")
    job = Job(
        number=f"~{token_hex(6)}",  # Takes the place of the real number until the row has its id.
        device_model_id=model.id,
        revision_id=revision.id,
        serial=serial,
        fault=booking.fault,
        condition=booking.condition,
        in_box=booking.in_box,
        owner_ref=booking.owner_ref,
        coverage=booking.coverage,
        data_wish=booking.data_wish,
        consent=booking.consent,
        booked_at=at,
        booked_by=who,
        stage=Stage.BOOKED,
        promised_on=booking.promised_on,
        device_value=booking.device_value,
    )
    session.add(job)
    session.flush()
    job.number = f"J{job.id:06d}"
    data = _written(booking, serial, len(pictures), same)
    record(session, job, kind="booked", at=at, who=who, event_id=event_id, data=data)
    keep_pictures(session, job.id or 0, pictures, at=at, who=who, event_id=event_id)
    return job.number


def _written(booking: Booking, serial: str, photos: int, same: Sequence[str]) -> dict[str, object]:
    """Return what the first entry keeps of the booking; ``same`` are the open jobs that have the serial too."""
    data: dict[str, object] = {
        "serial": serial,
        "fault": booking.fault,
        "condition": booking.condition,
        "owner_ref": booking.owner_ref,
        "coverage": booking.coverage.value,
        "data_wish": booking.data_wish.value,
        "consent": booking.consent,
        "in_box": booking.in_box,
        "photos": photos,
    }
    if booking.device_value is not None:
        data["device_value"] = str(booking.device_value)
    if same:
        data |= {"another_device": booking.another_device, "open_jobs": list(same)}
    return data
