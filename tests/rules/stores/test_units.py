"""Old units: the way of a rotable and of a core, and what is never done with a cell."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.sheet import WasteStream
from app.rules.stores.supplier_returns import ReturnState, check_close, expected_credit
from app.rules.stores.units import (
    OPEN,
    Deed,
    UnitKind,
    UnitState,
    after,
    check_kind,
    check_shipping,
    days_left,
    due_day,
    first_state,
    fold_unit,
    keeps_old,
)
from app.rules.verdict import Refused


def test_a_rotable_goes_to_repair_and_becomes_stock_or_scrap() -> None:
    way = [Deed.CAME, Deed.MOVE, Deed.SEND]
    assert fold_unit(UnitKind.ROTABLE, way) is UnitState.REPAIR
    assert fold_unit(UnitKind.ROTABLE, [*way, Deed.MEND]) is UnitState.STOCK
    assert fold_unit(UnitKind.ROTABLE, [*way, Deed.GIVE_UP]) is UnitState.SCRAPPED
    assert fold_unit(UnitKind.ROTABLE, [Deed.CAME, Deed.GIVE_UP]) is UnitState.SCRAPPED


def test_a_core_is_owed_sent_and_answered() -> None:
    assert fold_unit(UnitKind.EXCHANGE, [Deed.CAME]) is UnitState.OWED
    assert fold_unit(UnitKind.EXCHANGE, [Deed.CAME, Deed.RETURN, Deed.ACCEPT]) is UnitState.ACCEPTED
    assert fold_unit(UnitKind.EXCHANGE, [Deed.CAME, Deed.RETURN, Deed.CHARGE]) is UnitState.CHARGED
    assert fold_unit(UnitKind.EXCHANGE, [Deed.CAME, Deed.CHARGE]) is UnitState.CHARGED


@given(st.sampled_from([UnitKind.ROTABLE, UnitKind.EXCHANGE]), st.lists(st.sampled_from(list(Deed)[1:]), max_size=12))
def test_no_order_of_deeds_brings_an_ended_unit_back(kind: UnitKind, deeds: list[Deed]) -> None:
    state = first_state(kind)
    for deed in deeds:
        ended = state not in OPEN
        try:
            state = after("U1", state, deed)
        except Refused:
            continue
        assert not ended
        # A rotable is never owed, and a core never becomes stock.
        assert (state in (UnitState.STOCK, UnitState.WAITS, UnitState.REPAIR, UnitState.SCRAPPED)) == (
            kind is UnitKind.ROTABLE
        )


def test_the_old_one_of_a_consumed_part_is_scrapped() -> None:
    with pytest.raises(Refused, match="scrapped"):
        first_state(UnitKind.CONSUMED)
    assert not keeps_old(UnitKind.CONSUMED, defective_cell=False)


def test_a_cell_is_never_a_rotable_and_a_defective_one_is_not_put_back() -> None:
    with pytest.raises(Refused, match="A cell is not repaired and put back"):
        check_kind(UnitKind.ROTABLE, WasteStream.CELL)
    check_kind(UnitKind.EXCHANGE, WasteStream.CELL)
    assert not keeps_old(UnitKind.ROTABLE, defective_cell=True)
    assert keeps_old(UnitKind.EXCHANGE, defective_cell=True)


def test_a_damaged_or_defective_lithium_cell_never_goes_by_air() -> None:
    """Source: 49 CFR 173.185(f), forbidden aboard aircraft; by road under ADR special provision 376."""
    with pytest.raises(Refused, match="never goes by air"):
        check_shipping(defective_cell=True, by_air=True)
    check_shipping(defective_cell=True, by_air=False)
    check_shipping(defective_cell=False, by_air=True)


def test_facts_in_an_impossible_order_are_told() -> None:
    for deeds in ([], [Deed.SEND], [Deed.CAME, Deed.CAME], [Deed.CAME, Deed.MEND]):
        with pytest.raises(Refused):
            fold_unit(UnitKind.ROTABLE, deeds)


def test_days_left_fall_below_zero_when_a_core_is_late() -> None:
    due = due_day(date(2026, 3, 2), 30)
    assert due == date(2026, 4, 1)
    assert (days_left(due, date(2026, 3, 25)), days_left(due, date(2026, 4, 3))) == (7, -2)


def test_a_credit_is_what_the_goods_cost_and_nothing_where_others_are_sent() -> None:
    assert expected_credit(3, Decimal("0.0317"), replaced=False) == Decimal("0.0951")
    assert expected_credit(3, Decimal("0.0317"), replaced=True) == 0


def test_a_return_closes_once_and_less_than_expected_needs_a_word() -> None:
    sent, expected = ReturnState.SENT, Decimal("9.50")
    assert check_close("RS1", sent, expected, expected, "") is ReturnState.CREDITED
    assert check_close("RS1", sent, Decimal(0), expected, "They refuse") is ReturnState.REFUSED
    assert check_close("RS1", sent, None, Decimal(0), "") is ReturnState.REPLACED
    for state, credited, note, says in (
        (sent, Decimal(9), "", "Less came"),
        (sent, None, "", "Enter the amount"),
        (ReturnState.CREDITED, expected, "", "closed already"),
    ):
        with pytest.raises(Refused, match=says):
            check_close("RS1", state, credited, expected, note)
