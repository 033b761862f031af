"""Feed the stores with what is supposed of new parts: procedures tell the pieces, jobs the devices in the field."""

from datetime import date, datetime, timedelta

from sqlmodel import Session

from app.jobs.queries.supposed import jobs_that_took, model_uses
from app.rules.stores.supposed import supposed_use
from app.stores.actions.supposing import keep_supposed

LOOKED_AT = timedelta(days=365)


def suppose_use(session: Session, today: date, *, at: datetime) -> int:
    """Work out anew what is supposed of every part without a history; returns how many parts changed."""
    taken = jobs_that_took(session)
    found = {
        part: supposed
        for part, models in model_uses(session, at - LOOKED_AT, at).items()
        if (supposed := supposed_use(models, taken.get(part, 0))) is not None
    }
    return keep_supposed(session, found, today)
