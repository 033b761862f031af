"""Scanned lots at a refit step: which pieces go in, and the words of every refusal."""

from datetime import timedelta

import pytest

from app.rules import bench
from app.rules.bench import LotInHand
from app.rules.scan_codes import job_code, lot_code
from app.rules.scanned import Scanned, lots_first, new_parts, read_scans
from app.rules.verdict import Refused
from tests.rules.test_bench import ITEMS, SHEET, Job, refused

HAND = {"F-320": [LotInHand(1, "OLD", 3), LotInHand(2, "NEW", 2), LotInHand(3, "GONE", 0)]}


def at_the_cell() -> Job:
    job = Job().turned().up(until="cell")
    assert bench.focus(SHEET, job.state) == ("up", "cell")
    return job


def strips(*scanned: tuple[str, str]) -> list[tuple[str, int]]:
    """Return which lots the two strips of the cell come from, as (lot code, pieces)."""
    job = at_the_cell()
    hand = lots_first(ITEMS, job.state, "cell", {**job.hand, **HAND}, scanned)
    out = bench.tick_up(SHEET, ITEMS, job.state, "cell", hand, job.now + timedelta(hours=1))
    return [(f.lot_code, f.count) for f in out.fitted if f.part == "F-320"]


def test_without_a_scan_the_lots_go_in_the_order_they_were_handed_out() -> None:
    assert strips() == [("OLD", 2)]


def test_a_scanned_lot_is_the_one_that_goes_in() -> None:
    assert strips(("F-320", "NEW")) == [("NEW", 2)]
    assert strips(("F-320", "NEW"), ("F-320", "NEW")) == [("NEW", 2)]


def test_of_two_scanned_lots_one_piece_each_goes_in() -> None:
    assert strips(("F-320", "NEW"), ("F-320", "OLD")) == [("NEW", 1), ("OLD", 1)]


def test_what_a_scanned_lot_does_not_have_comes_from_the_next() -> None:
    job = at_the_cell()
    hand = {**job.hand, "F-320": [LotInHand(1, "OLD", 3), LotInHand(2, "NEW", 1)]}
    hand = dict(lots_first(ITEMS, job.state, "cell", hand, [("F-320", "NEW")]))
    out = bench.tick_up(SHEET, ITEMS, job.state, "cell", hand, job.now + timedelta(hours=1))
    assert [(f.lot_code, f.count) for f in out.fitted if f.part == "F-320"] == [("NEW", 1), ("OLD", 1)]


def test_a_lot_that_is_not_in_hand_is_refused_with_those_that_are() -> None:
    with refused("Lot GONE of F-320 is not in this job's hands (in hand: OLD, NEW)."):
        strips(("F-320", "GONE"))
    with refused("Lot L-9 of F-320 is not in this job's hands"):
        strips(("F-320", "L-9"))


def test_a_part_that_does_not_go_in_here_is_refused() -> None:
    with refused("F-310 does not go in at this step. Nothing was ticked."):
        strips(("F-310", "L1"))


def test_more_lots_than_pieces_are_refused() -> None:
    with refused("2 lots of F-330 were scanned, but 1 piece goes in."):
        job = at_the_cell()
        hand = {"F-330": [LotInHand(1, "A", 1), LotInHand(2, "B", 1)]}
        lots_first(ITEMS, job.state, "cell", hand, [("F-330", "A"), ("F-330", "B")])


def test_a_step_that_is_ticked_already_is_left_to_the_tick_to_refuse() -> None:
    job = at_the_cell()
    job.tick("up", "cell")
    assert lots_first(ITEMS, job.state, "cell", job.hand, [("F-320", "L0")]) == job.hand


def test_what_goes_in_new_is_counted_by_part() -> None:
    assert new_parts(ITEMS, at_the_cell().state, "cell") == {"F-320": 2, "F-330": 1, "F-100": 1}


def test_codes_are_read_once_each_and_only_those_of_lots() -> None:
    code = lot_code("F-320", "NEW")
    assert read_scans([code, code]) == (Scanned("F-320", "NEW"),)
    with pytest.raises(Refused, match="not on a lot"):
        read_scans([job_code("J000001")])
    with pytest.raises(Refused, match="Misread"):
        read_scans([code[:-1] + ("A" if code[-1] != "A" else "B")])
