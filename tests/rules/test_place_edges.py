"""Places counted one by one where something else is wrong with the step, the lot or the place itself."""

from dataclasses import replace

import pytest

from app.rules.bench import LotInHand, PartsMissing
from app.rules.fitting import SetAside
from app.rules.items import ItemCount
from app.rules.places import words
from app.rules.taps import NONE, Taps, with_broken
from app.rules.verdict import Refused
from tests.rules.test_places import ITEMS, SCREWS, STRIPS, Bench


def test_what_refuses_the_refit_tick_refuses_the_place_back() -> None:
    work = Bench().to("up", "cell")
    with pytest.raises(Refused, match="Another step has to go back first"):
        work.on(SCREWS, 1, "up")
    work.to("up", "back")
    work.state = replace(work.state, timers={"cell": "2026-03-02T09:00:00+00:00"}, paused="Break")
    with pytest.raises(Refused, match="paused"):
        work.on(SCREWS, 1, "up")


def test_nothing_is_taken_back_while_the_job_waits() -> None:
    work = Bench().to("down", "back")
    work.on(SCREWS, 2)
    work.state = replace(work.state, recount_due=True)
    with pytest.raises(Refused, match="Recount the tray pockets first"):
        work.off(SCREWS, 2)


def test_a_lot_set_aside_is_not_fitted_place_by_place_either() -> None:
    work = Bench().to("up", "cell")
    work.lots["F-320"] = [LotInHand(1, "L1", 2, aside="Notice 14")]
    with pytest.raises(SetAside, match="Lot L1 of F-320 was set aside"):
        work.on(STRIPS, 1, "up")


def test_a_full_item_takes_no_more_though_its_place_was_not_tapped() -> None:
    work = Bench().to("up", "back")
    work.state = replace(work.state, items={**work.state.items, SCREWS: ItemCount(4, out=4, refitted=4)})
    with pytest.raises(Refused, match="all 4 places are filled"):
        work.on(SCREWS, 2, "up")


def test_a_place_without_a_known_part_waits_for_one() -> None:
    work = Bench().to("up", "back")
    broken = ItemCount(4, out=4, damaged=4)
    work.state = replace(work.state, items={**work.state.items, SCREWS: broken}, new_part={SCREWS: "F-999"})
    with pytest.raises(PartsMissing, match="a new one for Back screw 2 of 4") as refusal:
        work.on(SCREWS, 2, "up")
    (lacks,) = refusal.value.missing
    assert (lacks.item, lacks.part, lacks.count) == (SCREWS, "F-999", 4)


def test_a_place_that_waits_back_may_be_taken_back_whatever_else_is_lost() -> None:
    work = Bench().to("up", "back")
    work.on(SCREWS, 1, "up")
    work.state = replace(work.state, items={**work.state.items, SCREWS: ItemCount(4, out=4, refitted=1, lost=3)})
    work.off(SCREWS, 1, "up")
    assert work.state.places == {}


def test_the_last_piece_outside_may_be_taken_back() -> None:
    work = Bench().to("down", "back")
    work.on(SCREWS, 2)
    work.on(SCREWS, 3)
    work.off(SCREWS, 2)
    work.off(SCREWS, 3)
    assert work.state.items[SCREWS] == ItemCount(4)


def test_one_of_several_is_named_by_its_number_and_a_single_one_by_its_name() -> None:
    assert words(ITEMS[SCREWS], 3) == "Back screw 3 of 4"
    assert words(ITEMS["plug/plug"], 1) == "Cell plug"
    assert words(replace(ITEMS[SCREWS], places=2), 1) == "Back screw 1 of 2"


def test_all_places_counted_without_any_missing_says_nothing_of_arrival() -> None:
    work = Bench().to("down", "back")
    work.state = replace(work.state, items={**work.state.items, SCREWS: ItemCount(4, out=4)})
    with pytest.raises(Refused, match=r"all 4 are counted, 4 out\. Take back"):
        work.on(SCREWS, 1)


@pytest.mark.parametrize(
    ("effect", "struck"),
    [
        ({"damaged": 1}, [3]), ({"damaged": 2}, [1, 3]), ({"damaged": 2, "out": 1}, [3]),
        ({"damaged": 1, "out": 1}, []), ({"lost": 1}, []),
    ],
)  # fmt: skip
def test_what_breaks_is_what_was_tapped_last_and_neither_back_nor_struck(
    effect: dict[str, int], struck: list[int]
) -> None:
    # Tapped out in the order 2, 4, 1, 3; 2 is back, 4 was struck before.
    taps = Taps({2: "a", 4: "b", 1: "c", 3: "d"}, {2: "e"}, {4: "f"})
    found = with_broken({SCREWS: taps}, {SCREWS: effect}, "g")
    assert sorted(found.get(SCREWS, NONE).struck) == sorted([4, *struck])
    assert with_broken({}, {SCREWS: effect}, "g") == {}
