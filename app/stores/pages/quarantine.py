"""Lots that are set aside, and those of a part that could be."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlmodel import Session

from app.platform.forms import Form, blank
from app.stores import queries
from app.stores.pages.parts import typed_number
from app.stores.queries import AsideRow


@dataclass(frozen=True)
class AsidePage:
    """The lots set aside now and those released lately; ``lots`` of ``part`` are offered to be set aside."""

    open: tuple[AsideRow, ...]
    ended: tuple[AsideRow, ...]
    part: str
    lots: Sequence[tuple[str, str]]
    form: Form[Any]


def aside_page(session: Session, part: str, form: Form[Any] | None = None) -> AsidePage:
    """Gather the page."""
    part = typed_number(session, part)
    rows = queries.lots_aside(session)
    held = queries.quarantined(session)
    lots = {
        row.lot_id: f"{row.code} · {row.on_hand} at {row.location}"
        for row in queries.lots_of(session, [part])
        if row.lot_id not in held
    }
    return AsidePage(
        tuple(row for row in rows if row.ended_at is None),
        tuple(row for row in rows if row.ended_at is not None),
        part,
        tuple((str(i), words) for i, words in lots.items()),
        form or blank(),
    )
