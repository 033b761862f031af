"""The page on which the serial or the owner of a booked job is corrected."""

from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.jobs.queries import jobs as queries
from app.jobs.queries.jobs import JobDetail
from app.people import queries as people
from app.platform.forms import Form
from app.procedures import queries as procedures
from app.procedures.queries import ModelInfo
from app.rules.correcting import OTHER_DEVICE, correction_words
from app.rules.job_flow import ENDED
from app.rules.sheet import Identifier


@dataclass(frozen=True)
class PastCorrection:
    """A correction that was made: what it changed in words, when and by whom."""

    words: str
    at: datetime
    person: str


@dataclass(frozen=True)
class CorrectionPage:
    """The form, and the corrections made before. ``why_not`` says why this person cannot correct; empty when they can.

    ``ask_other`` is whether the serial belongs to another open job, so that it is asked why.
    """

    job: JobDetail
    model: ModelInfo
    form: Form[Any]
    past: tuple[PastCorrection, ...]
    why_not: str
    ask_other: bool
    others: tuple[tuple[str, str], ...] = tuple(OTHER_DEVICE.items())

    @property
    def serial_label(self) -> str:
        """What the serial of this model is called."""
        return "IMEI" if self.model.identifier is Identifier.IMEI else "Serial number"


def correction_page(session: Session, number: str, form: Form[Any], person_id: int, role: str) -> CorrectionPage:
    """Build the page for somebody."""
    job = queries.find_job(session, number)
    if "serial" not in form.values:
        form = replace(form, values={**form.values, "serial": job.serial, "owner_ref": job.owner_ref})
    names = people.names(session)
    events = queries.events(session, job.id, kinds=("corrected",))
    return CorrectionPage(
        job=job,
        model=procedures.device_model(session, job.device_model_id),
        form=form,
        past=tuple(PastCorrection(correction_words(e.data), e.at, names.get(e.person_id or 0, "")) for e in events),
        why_not=_why_not(job, person_id, role),
        ask_other=form.error("another_device") is not None or bool(form.value("another_device")),
    )


def _why_not(job: JobDetail, person_id: int, role: str) -> str:
    if job.stage.value in ENDED:
        return "This job has ended and its record is sealed. Nothing of it is corrected any more."
    if not may_correct(job, person_id, role):
        return "Whoever booked the device in corrects this, or a supervisor."
    return ""


def may_correct(job: JobDetail, person_id: int, role: str) -> bool:
    """Whether this person may correct the job while its record is open."""
    return job.stage.value not in ENDED and (role == "supervisor" or job.booked_by == person_id)
