"""What several pages of the stores share: the workshop's day, and links to what a movement was for."""

from dataclasses import dataclass
from datetime import date, datetime, timedelta

from app.platform import clock
from app.platform.settings import Settings

SOON_DAYS = 30
EXPIRY_KEPT = "keeps"
PAGE_SIZE = 50


def workshop_day(settings: Settings, at: datetime | None = None) -> date:
    """Return the day it is in the workshop's zone; expiry is decided by it."""
    return (at or clock.now()).astimezone(settings.zone).date()


@dataclass(frozen=True)
class Source:
    """What a movement or promise was for, in words, with the page that shows it (empty: none)."""

    words: str
    href: str = ""


def source_of(source_ref: str) -> Source:
    """Return the words and the page of an opaque source reference."""
    kind, _, rest = source_ref.partition(":")
    if kind == "job" and rest:
        return Source(f"Job {rest}", f"/jobs/{rest}")
    if kind == "order" and rest:
        return Source(f"Order {rest}", f"/orders/{rest}")
    if kind == "back" and rest.startswith("RS"):
        return Source(f"Back to the supplier, return {rest}", f"/stores/returns/{rest}")
    if kind == "back" and rest:
        return Source(f"Back to the supplier, order {rest}", f"/orders/{rest}")
    if kind == "unit" and rest:
        return Source(f"Unit {rest}", f"/stores/units/{rest}")
    if kind == "stocktake" and rest:
        return Source(f"Stocktake {rest}", f"/stocktakes/{rest}")
    words = {"receipt": "Without order", "count": "Count", "scrap": "Shelf", "transfer": "Shelf"}
    return Source(words.get(source_ref, source_ref))


def kit_link(source_ref: str) -> str:
    """Return the page on which the kit of a source is handed out; empty when there is none."""
    kind, _, rest = source_ref.partition(":")
    return f"/jobs/{rest}/kit" if kind == "job" else ""


def expiry_state(expires_on: date | None, today: date) -> str:
    """Return 'keeps', 'good', 'soon' (within 30 days) or 'expired'."""
    if expires_on is None:
        return EXPIRY_KEPT
    if expires_on < today:
        return "expired"
    return "soon" if expires_on <= today + timedelta(days=SOON_DAYS) else "good"


def safe_cell(value: object) -> str:
    """Return a value for a spreadsheet: text that would start a formula gets a leading apostrophe."""
    text = str(value)
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
