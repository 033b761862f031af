"""The site's own days: closed, or worked though they are public holidays."""

from datetime import date, datetime

from sqlmodel import Session, col, select

from app.jobs.models import SiteDay
from app.platform.errors import NotFound, Refused
from app.rules.working_calendar import day_words


def add_site_day(session: Session, day: date, name: str, *, is_open: bool, at: datetime, who: int) -> None:
    """Enter a day. Refused when it is entered already."""
    if session.exec(select(SiteDay).where(col(SiteDay.day) == day)).first() is not None:
        raise Refused(f"{day_words(day)} is entered already. Take it out first, then enter it anew.", "day")
    session.add(SiteDay(day=day, name=name, is_open=is_open, entered_at=at, entered_by=who))
    session.flush()


def remove_site_day(session: Session, day_id: int) -> None:
    """Take a day out again."""
    row = session.exec(select(SiteDay).where(col(SiteDay.id) == day_id)).first()
    if row is None:
        raise NotFound("that day")
    session.delete(row)
    session.flush()
