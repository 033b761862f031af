"""How a part is kept: its open life, how to store it, and which of its lots are open."""

from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlmodel import Session

from app.platform.forms import Form
from app.stores import queries
from app.stores.pages.parts import load_part
from app.stores.queries import Keeping, LotRow, Opening, PartRow


@dataclass(frozen=True)
class KeptLot:
    """A lot on hand; ``opening`` None while it is closed. Its last day is the one that holds now."""

    lot: LotRow
    opening: Opening | None


@dataclass(frozen=True)
class KeepingPage:
    """The form and the lots on hand, each once."""

    part: PartRow
    keeping: Keeping
    form: Form[Any]
    lots: tuple[KeptLot, ...]
    today: date


def keeping_page(session: Session, number: str, today: date, form: Form[Any] | None = None) -> KeepingPage:
    """Gather the page. Raises NotFound."""
    part = load_part(session, number)
    kept = queries.keeping(session, number)
    opened = queries.openings(session, number)
    lots = {lot.lot_id: lot for lot in queries.lots_of(session, [number])}
    shown = {"open_life_days": str(kept.open_life_days or ""), "storage": kept.storage}
    return KeepingPage(
        part, kept, form or Form(values=shown), tuple(KeptLot(lot, opened.get(i)) for i, lot in lots.items()), today
    )
