"""Labels of the stores: places on the shelf, and lots."""

from sqlmodel import Session

from app.platform.errors import NotFound
from app.platform.labels import Label
from app.rules.scan_codes import lot_code, shelf_code
from app.stores import queries
from app.stores.pages.parts import load_part
from app.stores.queries import LotRow


def place_labels(session: Session, only: str = "") -> tuple[Label, ...]:
    """Return the labels of all places in the order a picker walks, or of the one whose code ``only`` is."""
    return tuple(
        Label(shelf_code(place.code), place.code, (place.name,) if place.name else ())
        for place in queries.locations(session)
        if not only or place.code == only
    )


def lot_labels(session: Session, number: str, only: str = "") -> tuple[Label, ...]:
    """Return the labels of a part's lots on hand, oldest first, or of the one whose code ``only`` is.

    A lot at two places has one label. Raises NotFound when there is no such part, or no such lot of it.
    """
    part = load_part(session, number)
    rows = queries.lots_of(session, [part.number], empty=bool(only))
    found = {row.code: _lot_label(row) for row in rows if not only or row.code == only}
    if only and not found:
        raise NotFound(f"lot {only} of part {number}")
    return tuple(found.values())


def order_labels(session: Session, number: str) -> tuple[Label, ...]:
    """Return the labels of the lots that were received for an order, in the order they came. Raises NotFound."""
    if queries.order(session, number) is None:
        raise NotFound(f"order {number}")
    came = list(dict.fromkeys((m.part_number, m.lot_code) for m in queries.movements_of(session, f"order:{number}")))
    rows = queries.lots_of(session, {part for part, _lot in came}, empty=True)
    by_lot = {(row.part_number, row.code): row for row in rows}
    return tuple(_lot_label(by_lot[key]) for key in came if key in by_lot)


def _lot_label(row: LotRow) -> Label:
    until = f", use by {row.expires_on:%-d\u00a0%b\u00a0%Y}" if row.expires_on else ""
    return Label(lot_code(row.part_number, row.code), row.part_number, (row.part_name, f"Lot {row.code}{until}"))
