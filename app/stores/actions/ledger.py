"""The one place that writes facts of stock: movements and reservation entries, with their projections.

Everything here runs inside the caller's write transaction. Levels of all parts of an action are locked first,
in ascending order of id, so that two pickers cannot decide on the same stock and never wait for each other in a
circle.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Any

from sqlalchemy import bindparam, delete, func, insert, update
from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session, col, select

from app.platform.errors import NotFound
from app.stores.models import (
    Lot,
    LotBalance,
    Movement,
    MovementKind,
    Part,
    Reservation,
    ReservationEntry,
    StockLevel,
)


@dataclass(frozen=True)
class Entry:
    """Whose action it is: its id, when, who, and what it was for."""

    entry_id: str
    at: datetime
    who: int | None
    source_ref: str


@dataclass(frozen=True)
class Move:
    """One signed quantity of a lot at a location."""

    kind: MovementKind
    lot: Lot
    location_id: int
    quantity: int
    reason: str = ""
    serials: tuple[str, ...] = ()


@dataclass(frozen=True)
class Locked:
    """A part whose level row is held until the transaction ends."""

    part: Part
    on_hand: int
    reserved: int
    on_order: int

    @property
    def id(self) -> int:
        """The part's id."""
        return id_of(self.part)


def id_of(row: Any) -> int:
    """Return the id of a stored row."""
    assert row.id is not None
    return int(row.id)


def _insert(session: Session, table: Any) -> Any:
    return (postgresql if session.get_bind().dialect.name == "postgresql" else sqlite).insert(table)


# Built once: making a statement anew costs as much as running it.
_PARTS = select(Part).where(col(Part.number).in_(bindparam("numbers", expanding=True)))
_LEVELS = (
    select(StockLevel.part_id, StockLevel.on_hand, StockLevel.reserved, StockLevel.on_order)
    .where(col(StockLevel.part_id).in_(bindparam("ids", expanding=True)))
    .order_by(col(StockLevel.part_id))
    .with_for_update()
)
_PROMISED = select(Reservation.part_id, Reservation.quantity).where(
    col(Reservation.source_ref) == bindparam("source"), col(Reservation.quantity) > 0
)


def lock_parts(session: Session, numbers: Iterable[str]) -> dict[str, Locked]:
    """Load parts by number and lock their levels, in ascending order of id. Raises NotFound for an unknown one."""
    wanted = sorted(set(numbers))
    parts = session.exec(_PARTS, params={"numbers": wanted}).all()
    known = {part.number for part in parts}
    for number in wanted:
        if number not in known:
            raise NotFound(f"part {number}")
    return {held.part.number: held for held in _lock(session, parts)}


def lock_part_ids(session: Session, part_ids: Iterable[int]) -> dict[int, Locked]:
    """Lock the levels of parts by id, in ascending order."""
    parts = session.exec(select(Part).where(col(Part.id).in_(sorted(set(part_ids))))).all()
    return {held.id: held for held in _lock(session, parts)}


def _lock(session: Session, parts: Sequence[Part]) -> list[Locked]:
    ids = sorted(id_of(part) for part in parts)
    if not ids:
        return []
    by_id = {id_of(part): part for part in parts}
    rows = session.exec(_LEVELS, params={"ids": ids}).all()
    if len(rows) < len(ids):
        make = _insert(session, StockLevel).on_conflict_do_nothing()
        blank = {"on_hand": 0, "reserved": 0, "on_order": 0}
        session.connection().execute(make, [{"part_id": i, **blank} for i in ids])
        rows = session.exec(_LEVELS, params={"ids": ids}).all()
    return [Locked(by_id[part_id], *figures) for part_id, *figures in rows]


def _next_line(session: Session, table: Any, entry_id: str) -> int:
    """Return the next free line of an entry: one submission may be made of several actions."""
    last = session.connection().execute(_last_line(table), {"b_entry": entry_id}).scalar()
    return 0 if last is None else int(last) + 1


@lru_cache(maxsize=4)
def _last_line(table: Any) -> Any:
    return select(func.max(col(table.line))).where(col(table.entry_id) == bindparam("b_entry"))


def post(session: Session, entry: Entry, moves: Sequence[Move]) -> None:
    """Append movements and keep levels and lot balances. The parts must be locked and the figures checked."""
    if not moves:
        return
    first = _next_line(session, Movement, entry.entry_id)
    rows = [
        {
            "entry_id": entry.entry_id,
            "line": first + n,
            "kind": move.kind,
            "part_id": move.lot.part_id,
            "lot_id": id_of(move.lot),
            "location_id": move.location_id,
            "quantity": move.quantity,
            "unit_cost": move.lot.unit_cost,
            "source_ref": entry.source_ref,
            "reason": move.reason,
            "serials": " ".join(move.serials),
            "at": entry.at,
            "person_id": entry.who,
        }
        for n, move in enumerate(moves)
    ]
    session.connection().execute(insert(Movement), rows)
    sums: dict[int, int] = {}
    for move in moves:
        sums[move.lot.part_id] = sums.get(move.lot.part_id, 0) + move.quantity
    balances = [((id_of(move.lot), move.location_id), move.quantity) for move in moves]
    _add(session, LotBalance, ("lot_id", "location_id"), "on_hand", balances)
    change_levels(session, "on_hand", sums)


@lru_cache(maxsize=8)
def _add_statements(dialect: str, table: Any, keys: tuple[str, str], figure: str) -> tuple[Any, Any]:
    """Return the statements that add to a figure: an upsert for what comes in, an update for what goes out.

    An upsert would fail the CHECK on its negative first value, so what goes out is an update.
    """
    column = table.c[figure]
    make = (postgresql if dialect == "postgresql" else sqlite).insert(table)
    added = make.on_conflict_do_update(index_elements=list(keys), set_={figure: column + make.excluded[figure]})
    taken = (
        update(table)
        .where(*(table.c[name] == bindparam(f"key_{n}") for n, name in enumerate(keys)))
        .values({figure: column + bindparam("change")})
    )
    return added, taken


def _add(
    session: Session,
    model: Any,
    keys: tuple[str, str],
    figure: str,
    changes: Sequence[tuple[tuple[Any, Any], int]],
) -> None:
    """Add signed changes to a projection's figure, row by key; what comes in may make its row."""
    connection = session.connection()
    added, taken = _add_statements(connection.dialect.name, model.__table__, keys, figure)
    more = [{keys[0]: key[0], keys[1]: key[1], figure: n} for key, n in changes if n > 0]
    if more:
        connection.execute(added, more)
    less = [{"key_0": key[0], "key_1": key[1], "change": n} for key, n in changes if n < 0]
    if less:
        connection.execute(taken, less)


@lru_cache(maxsize=4)
def _level_statement(figure: str) -> Any:
    column: Any = getattr(StockLevel, figure)
    # Run on a connection, not through the session: rows loaded before keep what they were loaded with.
    return (
        update(StockLevel)
        .where(col(StockLevel.part_id) == bindparam("key"))
        .values({column: column + bindparam("change"), StockLevel.changes: StockLevel.changes + 1})
    )


def change_levels(session: Session, figure: str, changes: Mapping[int, int]) -> None:
    """Add signed changes, by part id, to a figure of the levels: on_hand, reserved or on_order."""
    rows = [{"key": part_id, "change": change} for part_id, change in sorted(changes.items()) if change]
    if rows:
        session.connection().execute(_level_statement(figure), rows)


def note_changes(session: Session, part_ids: Iterable[int]) -> None:
    """Note that something about locked parts has changed, so that what was computed from them is done again."""
    ids = sorted(set(part_ids))
    if ids:
        session.connection().execute(
            update(StockLevel).where(col(StockLevel.part_id).in_(ids)).values(changes=StockLevel.changes + 1)
        )


def promise(session: Session, entry: Entry, changes: Sequence[tuple[int, str, int]]) -> None:
    """Append reservation entries (part id, source, signed quantity) and keep reservations and levels."""
    changes = [change for change in changes if change[2]]
    if not changes:
        return
    first = _next_line(session, ReservationEntry, entry.entry_id)
    rows = [
        {
            "entry_id": entry.entry_id,
            "line": first + n,
            "part_id": part_id,
            "source_ref": source,
            "quantity": quantity,
            "at": entry.at,
            "person_id": entry.who,
        }
        for n, (part_id, source, quantity) in enumerate(changes)
    ]
    session.connection().execute(insert(ReservationEntry), rows)
    sums: dict[int, int] = {}
    for part_id, _source, quantity in changes:
        sums[part_id] = sums.get(part_id, 0) + quantity
    held = [((part_id, source), quantity) for part_id, source, quantity in changes]
    _add(session, Reservation, ("part_id", "source_ref"), "quantity", held)
    change_levels(session, "reserved", sums)


def promised_to(session: Session, source_ref: str) -> dict[int, int]:
    """Return what is promised to a source, by part id."""
    rows = session.exec(_PROMISED, params={"source": source_ref}).all()
    return dict(rows)


def promises_newest_first(session: Session, part_id: int) -> list[tuple[str, int]]:
    """Return the promises of a part as (source, quantity), the one last added to first."""
    rows = session.exec(
        select(Reservation.source_ref, Reservation.quantity, func.max(ReservationEntry.id))
        .join(
            ReservationEntry,
            (col(ReservationEntry.part_id) == col(Reservation.part_id))
            & (col(ReservationEntry.source_ref) == col(Reservation.source_ref))
            & (col(ReservationEntry.quantity) > 0),
        )
        .where(col(Reservation.part_id) == part_id, col(Reservation.quantity) > 0)
        .group_by(col(Reservation.source_ref), col(Reservation.quantity))
    ).all()
    return [(source, quantity) for source, quantity, _last in sorted(rows, key=lambda r: r[2] or 0, reverse=True)]


def balance(session: Session, lot_id: int, location_id: int) -> int:
    """Return what of a lot lies at a location."""
    found = session.exec(
        select(LotBalance.on_hand).where(col(LotBalance.lot_id) == lot_id, col(LotBalance.location_id) == location_id)
    ).first()
    return found or 0


def balances_of(session: Session, lot_ids: Iterable[int]) -> dict[tuple[int, int], int]:
    """Return what of some lots lies where, by lot and location."""
    rows = session.exec(
        select(LotBalance.lot_id, LotBalance.location_id, LotBalance.on_hand).where(
            col(LotBalance.lot_id).in_(list(lot_ids))
        )
    ).all()
    return {(lot_id, location_id): on_hand for lot_id, location_id, on_hand in rows}


def find_lots(session: Session, lot_ids: Iterable[int]) -> dict[int, Lot]:
    """Return lots by id; raises NotFound for an unknown one."""
    wanted = sorted(set(lot_ids))
    lots = {id_of(lot): lot for lot in session.exec(select(Lot).where(col(Lot.id).in_(wanted))).all()}
    for lot_id in wanted:
        if lot_id not in lots:
            raise NotFound(f"lot {lot_id}")
    return lots


def find_lot(session: Session, lot_id: int) -> Lot:
    """Return a lot; raises NotFound."""
    lot = session.get(Lot, lot_id)
    if lot is None:
        raise NotFound(f"lot {lot_id}")
    return lot


def replace_projections(
    session: Session,
    levels: Mapping[int, tuple[int, int, int]],
    balances: Mapping[tuple[int, int], int],
    reservations: Mapping[tuple[int, str], int],
) -> None:
    """Write all projections anew: levels as (on hand, reserved, on order), lot balances, reservations."""
    connection = session.connection()
    for model in (StockLevel, LotBalance, Reservation):
        connection.execute(delete(model))
    rows: list[tuple[Any, list[dict[str, Any]]]] = [
        (StockLevel, [dict(zip(_LEVEL, (i, *figures), strict=True)) for i, figures in levels.items()]),
        (
            LotBalance,
            [{"lot_id": lot, "location_id": place, "on_hand": n} for (lot, place), n in balances.items()],
        ),
        (
            Reservation,
            [{"part_id": p, "source_ref": source, "quantity": n} for (p, source), n in reservations.items()],
        ),
    ]
    for table, values in rows:
        if values:
            connection.execute(insert(table), values)


_LEVEL = ("part_id", "on_hand", "reserved", "on_order")
