"""Which open jobs have a serial already."""

from typing import Any

from sqlalchemy import bindparam, select, text
from sqlmodel import Session, col

from app.jobs.models import IS_OPEN, Job

# Built once, as it is run for every device that comes in: making a statement anew costs as much as running it.
_SAME: Any = (
    select(col(Job.number))
    .where(
        col(Job.serial) == bindparam("same_serial"),
        col(Job.device_model_id) == bindparam("same_model"),
        text(f"job.{IS_OPEN}"),
    )
    .order_by(col(Job.id))
)


def open_with_serial(session: Session, device_model_id: int, serial: str, but: str = "") -> tuple[str, ...]:
    """Return the numbers of open jobs of this very serial and model, the oldest first; ``but`` leaves one out."""
    found = session.connection().execute(_SAME, {"same_serial": serial, "same_model": device_model_id}).scalars()
    return tuple(number for number in found if number != but)
