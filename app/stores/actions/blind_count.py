"""Blind counts: the counter does not see the book; what differs is counted again before it is believed."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session, col, select

from app.platform.errors import Refused, Stale
from app.rules.stores.cycle_count import stands
from app.stores.actions.ledger import balances_of, find_lots, lock_part_ids
from app.stores.actions.stocktaking import Count, keep, kept_lines, load_stocktake, post_stocktake
from app.stores.models import CountPolicy, LotBalance, Stocktake, StocktakeCount


@dataclass(frozen=True)
class BlindCount:
    """What was counted of a lot, None when it was not, and why it differs, once the counter has been told."""

    counted: int | None
    reason: str = ""


def count_blind(
    session: Session,
    stocktake_id: int,
    given: Mapping[int, BlindCount],
    *,
    post: bool,
    entry_id: str,
    at: datetime,
    who: int | None,
    version: int | None = None,
    today: date | None = None,
) -> bool:
    """Keep blind counts; with ``post``, post them when every count stands and every difference has its reason.

    Returns whether it was posted. What is not counted, differs and was counted once, or has no reason yet, stays to
    do, and nothing moves. A count whose book has moved since does not stand. Raises NotFound, Stale or Refused.
    """
    take = load_stocktake(session, stocktake_id, version, blind=True)
    lying = _lying(session, take)
    lines = kept_lines(session, stocktake_id)
    lots = find_lots(session, {*lying, *lines, *given})
    lock_part_ids(session, [lot.part_id for lot in lots.values()])
    there = balances_of(session, lots)
    books = {lot_id: there.get((lot_id, take.location_id), 0) for lot_id in lots}
    made = _counts(session, stocktake_id, books)
    for lot_id, one in given.items():
        if one.counted is None:
            continue
        if one.counted < 0:
            raise Refused("A count is not below zero.", f"counted-{lot_id}")
        session.add(
            StocktakeCount(
                stocktake_id=stocktake_id, lot_id=lot_id, counted=one.counted, book=books[lot_id], at=at,
                person_id=who,
            )
        )  # fmt: skip
        made[lot_id] = (*made.get(lot_id, ()), one.counted)
    final = {
        lot_id: Count(
            counts[-1], books[lot_id],
            (given[lot_id].reason if lot_id in given and given[lot_id].reason else _reason(lines, lot_id)),
        )
        for lot_id, counts in made.items()
    }  # fmt: skip
    keep(session, take, final)
    done = all(stands(made.get(lot_id, ()), books[lot_id]) for lot_id in {*lying, *final})
    explained = all(count.counted == count.book_shown or count.reason.strip() for count in final.values())
    if not post or not done or not explained:
        return False
    post_stocktake(session, stocktake_id, final, entry_id=entry_id, at=at, who=who, today=today, blind=True)
    return True


def _reason(lines: Mapping[int, object], lot_id: int) -> str:
    return str(getattr(lines.get(lot_id), "reason", ""))


def _lying(session: Session, take: Stocktake) -> set[int]:
    rows = session.exec(
        select(LotBalance.lot_id).where(col(LotBalance.location_id) == take.location_id, col(LotBalance.on_hand) > 0)
    ).all()
    return set(rows)


def _counts(session: Session, stocktake_id: int, books: Mapping[int, int]) -> dict[int, tuple[int, ...]]:
    """Return the counts made of each lot while the book was what it is now."""
    found: dict[int, tuple[int, ...]] = {}
    for row in session.exec(
        select(StocktakeCount).where(col(StocktakeCount.stocktake_id) == stocktake_id).order_by(col(StocktakeCount.id))
    ).all():
        if books.get(row.lot_id) == row.book:
            found[row.lot_id] = (*found.get(row.lot_id, ()), row.counted)
    return found


def save_count_days(session: Session, a: int, b: int, c: int, version: int) -> None:
    """Set how often parts are counted, in days by value class. Raises Stale."""
    row = session.exec(select(CountPolicy).where(col(CountPolicy.id) == 1).with_for_update()).first()
    if (row.version if row else 0) != version:
        raise Stale("The count plan", ("Somebody else set other days.",), "/stores/count-plan")
    row = row or CountPolicy(id=1, version=0)
    row.days_a, row.days_b, row.days_c = a, b, c
    row.version += 1
    session.add(row)
    session.flush()
