"""Stocktakes of one location: open, keep counts, post the differences, cancel."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session, col, select

from app.platform.errors import NotFound, Refused, Stale
from app.stores.actions.ledger import (
    Entry,
    Move,
    balance,
    balances_of,
    find_lot,
    find_lots,
    id_of,
    lock_part_ids,
    lock_parts,
    post,
)
from app.stores.actions.picking import settle_short_picks
from app.stores.actions.shelf import Withdrawn, withdraw_promises
from app.stores.models import (
    Location,
    Lot,
    LotBalance,
    MovementKind,
    Stocktake,
    StocktakeCount,
    StocktakeLine,
    StocktakeStatus,
)


@dataclass(frozen=True)
class Count:
    """What was counted of a lot, the book the counter was shown, and why they differ."""

    counted: int
    book_shown: int
    reason: str = ""


def open_stocktake(
    session: Session, location_id: int, *, entry_id: str, at: datetime, who: int | None, blind: bool = False
) -> int:
    """Open a stocktake of a location, blind or not; returns its id. Refused while another one is open there."""
    place = session.exec(select(Location).where(col(Location.id) == location_id).with_for_update()).first()
    if place is None:
        raise NotFound(f"location {location_id}")
    known = session.exec(
        select(Stocktake.id).where(
            col(Stocktake.location_id) == location_id, col(Stocktake.status) == StocktakeStatus.OPEN
        )
    ).first()
    if known is not None:
        raise Refused(f"{place.code} is being counted already. Go on with that stocktake.", "location_id")
    take = Stocktake(location_id=location_id, status=StocktakeStatus.OPEN, opened_at=at, opened_by=who, blind=blind)
    session.add(take)
    session.flush()
    return id_of(take)


def load_stocktake(session: Session, stocktake_id: int, version: int | None, blind: bool | None = None) -> Stocktake:
    """Load and lock an open stocktake. Raises NotFound, Stale, or Refused when it is over or of the other kind."""
    take = session.exec(select(Stocktake).where(col(Stocktake.id) == stocktake_id).with_for_update()).first()
    if take is None:
        raise NotFound(f"stocktake {stocktake_id}")
    if version is not None and take.version != version:
        changes = (f"The stocktake is {take.status.value}; somebody else kept counts in it.",)
        raise Stale(f"Stocktake {stocktake_id}", changes, f"/stocktakes/{stocktake_id}")
    if take.status is not StocktakeStatus.OPEN:
        raise Refused(f"This stocktake is {take.status.value}. Open another one to count again.")
    if blind is not None and take.blind is not blind:
        raise Refused("This is a blind count." if take.blind else "This is no blind count.")
    return take


def kept_lines(session: Session, stocktake_id: int) -> dict[int, StocktakeLine]:
    """Return the counts kept so far, by lot id."""
    rows = session.exec(select(StocktakeLine).where(col(StocktakeLine.stocktake_id) == stocktake_id)).all()
    return {row.lot_id: row for row in rows}


def keep(session: Session, take: Stocktake, counts: Mapping[int, Count]) -> None:
    """Keep counts in a locked stocktake."""
    lines = kept_lines(session, id_of(take))
    for lot_id, count in counts.items():
        if count.counted < 0:
            raise Refused("A count is not below zero.", f"counted-{lot_id}")
        line = lines.get(lot_id)
        if line is None:
            lot = find_lot(session, lot_id)
            line = StocktakeLine(stocktake_id=id_of(take), lot_id=lot_id, part_id=lot.part_id, counted=0, book=0)
        line.counted, line.book, line.reason = count.counted, count.book_shown, count.reason[:300]
        session.add(line)
    take.version += 1
    session.add(take)
    session.flush()


def keep_counts(
    session: Session,
    stocktake_id: int,
    counts: Mapping[int, Count],
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    version: int | None = None,
) -> None:
    """Keep counts by lot id without posting them. Nothing moves. Raises NotFound, Stale or Refused.

    ``entry_id``, ``at`` and ``who`` belong to every action; kept counts are no facts yet.
    """
    keep(session, load_stocktake(session, stocktake_id, version, blind=False), counts)


def add_found_lot(
    session: Session,
    stocktake_id: int,
    part_number: str,
    lot_code: str,
    counted: int,
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
) -> None:
    """Add a lot that lies here though the book has none of it here. Refused for a lot that is not known."""
    take = load_stocktake(session, stocktake_id, None)
    held = lock_parts(session, [part_number])[part_number]
    lot = session.exec(select(Lot).where(col(Lot.part_id) == held.id, col(Lot.code) == lot_code.strip())).first()
    if lot is None:
        raise Refused(
            f"No lot {lot_code} of {part_number} was ever received. Receive it on the part's page, with its cost.",
            "found_lot",
        )
    if counted < 1:
        raise Refused("Enter how many you found, at least 1.", "found_count")
    book = balance(session, id_of(lot), take.location_id)
    if take.blind:
        session.add(
            StocktakeCount(
                stocktake_id=stocktake_id, lot_id=id_of(lot), counted=counted, book=book, at=at, person_id=who
            )
        )
    keep(session, take, {id_of(lot): Count(counted, book, "Found here, not in the book")})


def post_stocktake(
    session: Session,
    stocktake_id: int,
    counts: Mapping[int, Count],
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    version: int | None = None,
    today: date | None = None,
    blind: bool = False,
) -> tuple[Withdrawn, ...]:
    """Post the differences of a stocktake as count adjustments against the book as it is now.

    Every lot that lies at the location must be counted, and every difference needs a reason. Refused, naming the
    lot's field, when the book changed since the counter was shown it. Returns the promises that fell.
    """
    take = load_stocktake(session, stocktake_id, version, blind=blind)
    stocked = dict(
        session.exec(
            select(LotBalance.lot_id, LotBalance.on_hand).where(
                col(LotBalance.location_id) == take.location_id, col(LotBalance.on_hand) > 0
            )
        ).all()
    )
    lots = find_lots(session, {*stocked, *counts})
    held = lock_part_ids(session, [lot.part_id for lot in lots.values()])
    there = balances_of(session, lots)
    books = {lot_id: there.get((lot_id, take.location_id), 0) for lot_id in lots}
    for lot_id, lot in sorted(lots.items()):
        _check_count(counts.get(lot_id), books[lot_id], lot, held[lot.part_id].part.number)
    final = {
        lot_id: Count(count.counted, books[lot_id], count.reason)
        for lot_id, count in counts.items()
        if count.counted or books[lot_id]
    }
    keep(session, take, final)
    entry = Entry(entry_id, at, who, f"stocktake:{stocktake_id}")
    moves = [
        Move(MovementKind.COUNT_ADJUSTMENT, lots[i], take.location_id, c.counted - c.book_shown, c.reason)
        for i, c in sorted(final.items())
        if c.counted != c.book_shown
    ]
    post(session, entry, moves)
    settle_short_picks(session, take.location_id, at)
    take.status, take.posted_at, take.posted_by = StocktakeStatus.POSTED, at, who
    session.add(take)
    session.flush()
    fallen: list[Withdrawn] = []
    for part_id in sorted({move.lot.part_id for move in moves}):
        change = sum(move.quantity for move in moves if move.lot.part_id == part_id)
        if change < 0 or any(m.quantity < 0 for m in moves if m.lot.part_id == part_id):
            left = held[part_id].on_hand + change
            fallen += withdraw_promises(session, entry, held[part_id], today or at.date(), left)
    return tuple(fallen)


def _check_count(count: Count | None, book: int, lot: Lot, number: str) -> None:
    where = f"counted-{lot.id}"
    if count is None:
        if book == 0:
            return
        raise Refused(f"{number}, lot {lot.code}, is not counted. Enter 0 when none is there.", where)
    if count.book_shown != book:
        raise Refused(
            f"The book of lot {lot.code} went from {count.book_shown} to {book} while you counted. "
            "Count it again, then post.",
            where,
        )
    if count.counted != book and not count.reason.strip():
        raise Refused(
            f"The book has {book} and you counted {count.counted}. Say why, as far as you know.",
            f"reason-{lot.id}",
        )


def cancel_stocktake(
    session: Session,
    stocktake_id: int,
    *,
    entry_id: str,
    at: datetime,
    who: int | None,
    version: int | None = None,
) -> None:
    """Cancel an open stocktake; nothing moves."""
    take = load_stocktake(session, stocktake_id, version)
    take.status = StocktakeStatus.CANCELLED
    take.version += 1
    session.add(take)
    session.flush()
