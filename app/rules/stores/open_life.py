"""The last day of a lot that was opened: its open life or what the pack says, whichever ends first."""

from datetime import date, timedelta


def last_day(printed: date | None, opened_on: date, open_life_days: int | None) -> date | None:
    """Return the last day of use; None when the part keeps and opening does not matter.

    The day it is opened counts as day 0: with an open life of 30 days, opened on the 1st, it may be used on the 31st.
    """
    if open_life_days is None:
        return printed
    opened = opened_on + timedelta(days=open_life_days)
    return opened if printed is None else min(printed, opened)
