"""What the stores clerk does: orders when the rule says so, goods in, old stock out, counts."""

from collections.abc import Iterator
from datetime import datetime, time, timedelta

from app.demo.seed import drifted
from app.demo.workshop import Workshop
from app.jobs.actions.hold import retry_reservations
from app.stores import actions as stores
from app.stores import queries as shelf
from app.stores.actions import Count, OrderLine, ReceivedLine

COUNT_REASONS = (
    "Found behind the next bin",
    "Dropped and swept up",
    "Pack held one less than printed",
    "Miscounted at goods in",
)


def order_round(shop: Workshop, at: datetime) -> Iterator[datetime]:
    """Go through the reorder list once a week and place what it suggests, one order a supplier."""
    while True:
        day = shop.today(at)
        for group in shelf.reorder_groups(shop.session, day):
            lines = [
                OrderLine(line.part.number, line.answer.quantity, drifted(shop, line.part.price))
                for line in group.lines
                if line.part.number in shop.parts
            ]
            if not lines:
                continue
            stores.place_order(
                shop.session, group.supplier_id, lines, entry_id=shop.id(at), at=at, who=shop.staff.clerk
            )
            shop.orders_changed = True
        at = shop.working(at + timedelta(days=7))
        yield at


def goods_in(shop: Workshop, at: datetime) -> Iterator[datetime]:
    """Look each morning for what is due, receive it, and reserve it for the jobs that wait."""
    late: dict[int, int] = {}
    waiting: tuple[shelf.OrderRow, ...] = ()
    while True:
        day = shop.today(at)
        came = False
        if shop.orders_changed:
            waiting = shelf.open_orders(shop.session)
            shop.orders_changed = False
        for order in waiting:
            delay = late.setdefault(order.id, shop.chance.choice((-2, -1, 0, 0, 0, 1, 2, 4)))
            if day < order.expected_on + timedelta(days=delay):
                continue
            came = True
            part_of_it = len(order.lines) > 1 and order.status in ("sent", "confirmed") and shop.happens(0.12)
            lines = order.lines[: len(order.lines) // 2] if part_of_it else order.lines
            late[order.id] = delay + 3 if part_of_it else delay
            received = [_line(shop, line, at) for line in lines if line.outstanding]
            stores.receive_goods(
                shop.session, order.id, received, entry_id=shop.id(at), at=at, who=shop.staff.clerk, today=day
            )
        if came:
            shop.orders_changed = True
            retry_reservations(shop.session, at, shop.staff.clerk, today=day)
        at = shop.at(shop.today(shop.working(shop.at(day, time(16, 1)))), time(8, 15))
        yield at


def _line(shop: Workshop, line: shelf.OrderLineRow, at: datetime) -> ReceivedLine:
    expires = None
    if line.shelf_life_days is not None:
        expires = shop.today(at) + timedelta(days=line.shelf_life_days - shop.chance.randrange(5, 40))
    code = f"{shop.local(at):%y%m%d}-{shop.crew}{shop.chance.randrange(100, 1000)}"
    return ReceivedLine(line.part_number, line.outstanding, code, expires)


def monthly_round(shop: Workshop, at: datetime) -> Iterator[datetime]:
    """Once a month: scrap what has expired, then count one of the locations that are this crew's to count."""
    places = [place for place in shelf.locations(shop.session) if place.code != "D-01-2"][shop.crew :: 2]
    turn = 0
    while True:
        day = shop.today(at)
        for lot in shelf.expiring_lots(shop.session, day, days=0):
            if lot.expires_on is not None and lot.expires_on < day:
                stores.scrap_stock(
                    shop.session, lot.lot_id, lot.location_id, lot.on_hand, "Past its last day of use",
                    entry_id=shop.id(at), at=at, who=shop.staff.clerk, today=day,
                )  # fmt: skip
        place = places[turn % len(places)]
        turn += 1
        take = stores.open_stocktake(shop.session, place.id, entry_id=shop.id(at), at=at, who=shop.staff.clerk)
        found = shelf.stocktake(shop.session, take)
        assert found is not None
        counts = {line.lot_id: _counted(shop, line.book) for line in found.lines}
        done = at + timedelta(minutes=35)
        stores.post_stocktake(
            shop.session, take, counts, entry_id=shop.id(done), at=done, who=shop.staff.clerk, today=day
        )
        at = shop.working(at + timedelta(days=28))
        yield at


def _counted(shop: Workshop, book: int) -> Count:
    if book > 3 and shop.happens(0.12):
        difference = shop.chance.choice((-2, -1, -1, 1))
        return Count(book + difference, book, shop.chance.choice(COUNT_REASONS))
    return Count(book, book)
