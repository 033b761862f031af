"""Photos kept with a job; what is kept of a picture stands in ``app/platform/pictures.py``."""

import hashlib
from collections.abc import Sequence
from datetime import datetime

from sqlmodel import Session

from app.jobs.actions.record import load_job
from app.jobs.models import Photo
from app.platform.errors import Refused
from app.platform.pictures import MAX_BYTES, Picture, prepare_pictures

__all__ = ["MAX_BYTES", "Picture", "add_photos", "keep_pictures", "prepare_pictures"]


def keep_pictures(
    session: Session, job_id: int, pictures: Sequence[Picture], *, at: datetime, who: int | None, event_id: str | None
) -> None:
    """Keep pictures with a job; ``event_id`` is the entry they belong to."""
    for picture in pictures:
        session.add(
            Photo(
                job_id=job_id,
                event_id=event_id,
                caption=picture.caption[:120],
                width=picture.width,
                height=picture.height,
                sha256=hashlib.sha256(picture.body).hexdigest(),
                body=picture.body,
                taken_at=at,
                person_id=who,
            )
        )
    session.flush()


def add_photos(
    session: Session, number: str, pictures: Sequence[Picture], *, at: datetime, who: int | None, event_id: str
) -> None:
    """Add photos to a job that is booked in; Refused when none came."""
    if not pictures:
        raise Refused("Choose a photo first.", "photos")
    job = load_job(session, number)
    keep_pictures(session, job.id or 0, pictures, at=at, who=who, event_id=event_id)
