"""Two pickers at one shelf, on both databases: nothing is handed out twice, nothing waits for ever."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import TypeVar

from app.platform.db import Database
from app.platform.errors import Refused
from app.stores import actions, queries
from tests.stores.shop import TODAY, faults, level, receive, stamp

T = TypeVar("T")


def together(*work: Callable[[], T]) -> list[T]:
    """Run several pieces of work in threads that start at the same moment."""
    gate = Barrier(len(work))

    def run(piece: Callable[[], T]) -> T:
        gate.wait(timeout=30)
        return piece()

    with ThreadPoolExecutor(len(work)) as pool:
        return [f.result(timeout=60) for f in [pool.submit(run, piece) for piece in work]]


def test_the_last_pieces_go_to_one_of_two_pickers(shop: Database) -> None:
    with shop.write() as session:
        lot = receive(session, "DISP-1", 3)
        place = queries.lots_of(session, ["DISP-1"])[0].location_id

    def pick(source: str) -> Callable[[], bool]:
        def act() -> bool:
            try:
                with shop.write() as session:
                    actions.hand_out(session, source, [actions.Pick("DISP-1", lot, place, 2)], **stamp())
            except Refused:
                return False
            return True

        return act

    assert sorted(together(pick("job:J000001"), pick("job:J000002"))) == [False, True]
    assert level(shop, "DISP-1").on_hand == 1
    assert faults(shop) == []


def test_many_reserve_and_pick_in_opposite_orders_and_nothing_is_lost(shop: Database) -> None:
    numbers = ("DISP-1", "SCRW-1", "SEAL-1")
    with shop.write() as session:
        for number in numbers:
            receive(session, number, 40)

    def work(worker: int) -> Callable[[], dict[str, int]]:
        def act() -> dict[str, int]:
            taken = dict.fromkeys(numbers, 0)
            # Every other worker names the parts the other way round: locks in one order keep them from a knot.
            order = numbers if worker % 2 else tuple(reversed(numbers))
            for turn in range(6):
                source = f"job:J{worker}{turn:05d}"
                with shop.write() as session:
                    got = actions.reserve(session, source, dict.fromkeys(order, 2), **stamp())
                with shop.write() as session:
                    chosen = queries.propose_picks(session, got, TODAY)
                    if chosen:
                        issued = actions.hand_out(session, source, chosen, **stamp())
                        for out in issued:
                            taken[out.part_number] += out.quantity
            return taken

        return act

    results = together(*(work(n) for n in range(4)))
    for number in numbers:
        taken = sum(result[number] for result in results)
        assert taken == 40
        shown = level(shop, number)
        assert (shown.on_hand, shown.reserved, shown.available) == (0, 0, 0)
    assert faults(shop) == []


def test_two_receipts_of_one_order_do_not_bring_more_than_was_ordered(shop: Database) -> None:
    with shop.write() as session:
        supplier = queries.suppliers(session)[0].id
        number = actions.place_order(session, supplier, [actions.OrderLine("DISP-1", 5)], **stamp())
        found = queries.order(session, number)
        assert found is not None

    def receive_all() -> bool:
        try:
            with shop.write() as session:
                actions.receive_goods(session, found.id, [actions.ReceivedLine("DISP-1", 5)], **stamp())
        except Refused:
            return False
        return True

    assert sorted(together(receive_all, receive_all)) == [False, True]
    assert (level(shop, "DISP-1").on_hand, level(shop, "DISP-1").on_order) == (5, 0)
    assert faults(shop) == []
