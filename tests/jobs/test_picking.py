"""Picking line by line: confirmed by a label, in one picker's hands, short with a reason, and brought back."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from threading import Barrier
from typing import Any

from app.jobs.actions.pick_kit import pick_by_scan
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import Refused
from app.rules.scan_codes import lot_code
from app.stores import actions as stores
from app.stores import queries as stock
from tests.jobs.front import CELL_SERIAL, EARLY, hand_out, level, planned_job, receive, stamp
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]


def scan(clerk: Visitor, number: str, code: str, **more: Any) -> Page:
    """Scan a label on the kit's page."""
    return clerk.open(f"/jobs/{number}/kit").form("/kit/scan").submit(code=code, **more)


def held(db: Database, number: str) -> dict[str, tuple[str, int, bool]]:
    """Return what is in pickers' hands for a job: lot, pieces, whether it was scanned."""
    with db.read() as session:
        return {
            p.part_number: (p.lot_code, p.quantity, p.scanned) for p in stock.picks_in_hand(session, f"job:{number}")
        }


def faults(db: Database) -> list[str]:
    with db.read() as session:
        return stock.stock_faults(session)


def test_our_label_confirms_its_line_and_the_kit_goes_out_as_picked(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    clerk = visit("stores")
    page = scan(clerk, number, lot_code("DK-SEAL", "EARLY"))
    assert page.status == 200
    assert "Picked by Pia Sundqvay, by scan" in page.words
    assert held(front, number) == {"DK-SEAL": ("EARLY", 1, True)}
    assert "All of the kit is handed out" in hand_out(clerk, number, CELL_SERIAL).words
    assert held(front, number) == {}
    assert faults(front) == []


def test_typing_the_number_works_too_and_a_line_is_not_picked_twice(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    assert "typed" in scan(visit("stores"), number, "dk-tape").words
    twice = scan(visit("supervisor"), number, "DK-TAPE")
    assert twice.status == 409
    assert "DK-TAPE is picked already by Pia Sundqvay." in twice.words
    assert held(front, number) == {"DK-TAPE": ("T1", 2, False)}


def test_a_gs1_label_confirms_its_line(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    clerk = visit("stores")
    # A number of the range that GS1 leaves to a company's own use, with its check digit.
    clerk.open("/parts/DK-TAPE/edit").form("/edit").submit(gtin="2001234567893")
    page = scan(clerk, number, "(01)02001234567893(10)T1(17)991231")
    assert page.status == 200, page.words[:400]
    assert held(front, number) == {"DK-TAPE": ("T1", 2, True)}


def test_what_expires_first_is_taken_first(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    clerk = visit("stores")
    refused = scan(clerk, number, lot_code("DK-SEAL", "LATE"))
    assert refused.status == 409
    assert "Take lot EARLY at C-01 first" in refused.words
    taken = refused.form("/kit/scan").submit(code=lot_code("DK-SEAL", "LATE"), any_lot="yes")
    assert taken.status == 200
    assert held(front, number) == {"DK-SEAL": ("LATE", 1, True)}


def test_a_wrong_part_and_a_misread_label_are_refused_in_words(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    clerk = visit("stores")
    assert "DK-DISP is not wanted for this job" in scan(clerk, number, "DK-DISP").words
    label = lot_code("DK-SEAL", "EARLY")
    misread = label[:-1] + ("0" if label[-1] != "0" else "1")
    assert "Misread: scan again." in scan(clerk, number, misread).words
    assert held(front, number) == {}


def test_a_short_pick_takes_what_is_there_and_is_put_up_for_counting(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    clerk = visit("stores")
    form = clerk.open(f"/jobs/{number}/kit").form("/kit/short")
    options = [o["value"] for o in form.page.soup.select("#f-line option")]
    line = next(o for o in options if str(o).startswith("DK-TAPE|"))
    page = form.submit(line=line, found="1", reason="Only one on the reel")
    assert page.status == 200, page.words[:500]
    assert held(front, number) == {"DK-TAPE": ("T1", 1, False)}
    plan = clerk.open("/stores/count-plan")
    assert "Only one on the reel" in plan.words
    # Nothing more is proposed from the place in doubt.
    parts = [v[0] for k, v in page.form("/kit").values.items() if k.startswith("part-")]
    assert parts.count("DK-TAPE") == 1


def test_a_line_may_be_put_back_before_it_goes_out(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    clerk = visit("stores")
    page = scan(clerk, number, "DK-SCRW")
    assert page.form("/back").submit().status == 200
    assert held(front, number) == {}
    assert level(front, "DK-SCRW").on_hand == 100


def test_unused_pieces_come_back_and_what_is_still_needed_is_reserved_anew(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    clerk = visit("stores")
    hand_out(clerk, number, CELL_SERIAL)
    form = clerk.open(f"/jobs/{number}/kit").form("/kit/return")
    lot = next(o["value"] for o in form.page.soup.select("#f-back_lot option") if "DK-TAPE" in o.get_text())
    page = form.submit(back_lot=lot, back_quantity="1", back_reason="Torn on the reel")
    assert page.status == 200, page.words[:500]
    assert (level(front, "DK-TAPE").on_hand, level(front, "DK-TAPE").reserved) == (9, 1)
    again = hand_out(clerk, number)
    assert "All of the kit is handed out" in again.words
    assert level(front, "DK-TAPE").on_hand == 8
    assert faults(front) == []
    too_many = (
        clerk.open(f"/jobs/{number}/kit")
        .form("/kit/return")
        .submit(back_lot=lot, back_quantity="9", back_reason="Too many")
    )
    assert "2 of lot T1 are unused. Enter 1 to 2." in too_many.words


def test_a_lot_set_aside_or_expired_is_never_proposed_nor_picked(front: Database, visit: Visit) -> None:
    number = planned_job(visit("technician"), front, "cell")
    clerk = visit("stores")
    with front.write() as session:
        early = next(lot.lot_id for lot in stock.lots_of(session, ["DK-SEAL"]) if lot.code == "EARLY")
        stores.quarantine_lot(session, early, "Peels off", at=clock.now(), who=None)
    page = clerk.open(f"/jobs/{number}/kit")
    assert "EARLY" not in page.words
    assert "LATE" in page.words
    stale = page.form("/kit")
    seal = next(k.partition("-")[2] for k, v in stale.values.items() if v == ["DK-SEAL"])
    place = stale.values[f"place-{seal}"][0].partition(":")[2]
    refused = stale.submit(None, **{f"place-{seal}": f"{early}:{place}"})
    assert refused.status in (409, 422)
    assert level(front, "DK-SEAL").on_hand == 6


def test_two_clerks_at_once_take_a_line_once(front: Database, visit: Visit) -> None:
    first, second = (
        planned_job(visit("technician"), front, "cell", serial=s) for s in ("490154203237518", "352099001761481")
    )
    with front.write() as session:
        receive(session, "DK-CAM", 1, "K1", "31.10", EARLY)
        stores.reserve(session, "job:other", {"DK-SEAL": 0}, **stamp())
    gate = Barrier(2)

    def work(number: str) -> Callable[[], bool]:
        def act() -> bool:
            gate.wait(timeout=30)
            try:
                with front.write() as session:
                    pick_by_scan(session, number, "DK-SEAL", at=clock.now(), who=3, today=clock.now().date())
            except Refused:
                return False
            return True

        return act

    with ThreadPoolExecutor(2) as pool:
        same = [f.result(timeout=60) for f in [pool.submit(work(first)) for _ in range(2)]]
    assert sorted(same) == [False, True]
    with ThreadPoolExecutor(1) as pool:
        gate = Barrier(1)
        assert pool.submit(work(second)).result(timeout=60)
    with front.read() as session:
        lots = sorted(pick.lot_code for job in (first, second) for pick in stock.picks_in_hand(session, f"job:{job}"))
    # The one piece of EARLY went to one of them; the other was given the next to expire.
    assert lots == ["EARLY", "LATE"]
    assert faults(front) == []
