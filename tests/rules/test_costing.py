"""Stock cost against published exercises on IAS 2, and the cost of a job worked by hand."""

from collections.abc import Callable, Iterable
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.costing import (
    Entry,
    IssueOut,
    LayerIn,
    Ledger,
    PartUse,
    ReturnIn,
    fifo,
    job_parts_cost,
    labour_cost,
    moving_average,
)
from app.rules.verdict import Refused

Method = Callable[[Iterable[Entry]], Ledger]

# CIMA F1 workbook 2018: buy 200 at 15 and 100 at 18, sell 250, buy 150 at 20.
CIMA: list[Entry] = [
    LayerIn("a", 200, Decimal(15)),
    LayerIn("b", 100, Decimal(18)),
    IssueOut("sale", 250),
    LayerIn("c", 150, Decimal(20)),
]
# ACCA F3 study text: opening 100 at 5; then receipts and issues in turn.
ACCA: list[Entry] = [
    LayerIn("opening", 100, Decimal(5)),
    LayerIn("a", 300, Decimal(6)),
    IssueOut("1", 200),
    LayerIn("b", 500, Decimal(7)),
    IssueOut("2", 200),
    LayerIn("c", 200, Decimal(8)),
    IssueOut("3", 200),
    IssueOut("4", 200),
]


def test_the_cima_example_closes_at_3900_first_in_first_out() -> None:
    assert fifo(CIMA).value == 3900


def test_the_cima_example_closes_at_3800_by_moving_average() -> None:
    assert moving_average(CIMA).value == 3800


def test_the_acca_example_issues_and_closes_as_published() -> None:
    ledger = fifo(ACCA)
    assert [ledger.issue_value(ref) for ref in "1234"] == [1100, 1200, 1400, 1400]
    assert (ledger.quantity, ledger.value) == (300, Decimal(2300))


def test_a_return_goes_back_at_the_cost_it_was_issued_at() -> None:
    ledger = fifo([*CIMA, ReturnIn("sale", 60)])
    # The last 50 of the sale cost 18 each and the 10 before them 15.
    assert ledger.value == 3900 + 50 * 18 + 10 * 15
    assert ledger.issue_value("sale") == 190 * 15
    assert [(layer.lot, layer.quantity) for layer in ledger.layers] == [("a", 10), ("b", 100), ("c", 150)]


def test_a_return_of_a_named_lot_goes_back_into_that_lot() -> None:
    ledger = fifo([*CIMA, ReturnIn("sale", 10, "a")])
    assert ledger.value == 3900 + 10 * 15


def test_a_return_under_moving_average_goes_back_at_the_old_average() -> None:
    ledger = moving_average([*CIMA, ReturnIn("sale", 100)])
    assert ledger.value == 3800 + 100 * 16
    assert ledger.layers[0].unit_cost == Decimal(18)


def test_rounding_the_average_leaves_nothing_behind() -> None:
    ledger = moving_average(
        [LayerIn("a", 2, Decimal(1)), LayerIn("b", 1, Decimal(2)), IssueOut("x", 1), IssueOut("y", 2)]
    )
    assert ledger.issue_value("x") == Decimal("1.3333")
    assert ledger.issue_value("y") == Decimal("2.6667")
    assert (ledger.quantity, ledger.value, ledger.layers) == (0, Decimal(0), ())


@pytest.mark.parametrize("method", [fifo, moving_average])
def test_it_refuses_to_issue_more_than_is_there(method: Method) -> None:
    with pytest.raises(Refused, match="5 short"):
        method([LayerIn("a", 2, Decimal(1)), IssueOut("x", 7)])


@pytest.mark.parametrize("method", [fifo, moving_average])
def test_it_refuses_to_take_back_more_than_went_out(method: Method) -> None:
    with pytest.raises(Refused, match="only 2 went out"):
        method([LayerIn("a", 2, Decimal(1)), IssueOut("x", 2), ReturnIn("x", 3)])
    with pytest.raises(Refused, match="Nothing was issued"):
        method([LayerIn("a", 2, Decimal(1)), ReturnIn("x", 1)])


def test_an_issue_entered_twice_or_of_nothing_is_an_error_of_the_caller() -> None:
    stock = LayerIn("a", 9, Decimal(1))
    with pytest.raises(ValueError, match="twice"):
        fifo([stock, IssueOut("x", 1), IssueOut("x", 1)])
    with pytest.raises(ValueError, match="at least one"):
        fifo([stock, IssueOut("x", 0)])


@st.composite
def histories(draw: st.DrawFn) -> list[Entry]:
    """Draw movements that never take more than is there, nor give back more than went out."""
    entries: list[Entry] = []
    there = 0
    out: dict[str, int] = {}
    for n in range(draw(st.integers(1, 15))):
        kinds = ["in"] + (["out"] if there else []) + (["back"] if any(out.values()) else [])
        kind = draw(st.sampled_from(kinds))
        if kind == "in":
            count = draw(st.integers(1, 50))
            entries.append(LayerIn(str(n), count, draw(st.decimals(0, 99, places=4))))
            there += count
        elif kind == "out":
            count = draw(st.integers(1, there))
            entries.append(IssueOut(str(n), count))
            out[str(n)] = count
            there -= count
        else:
            ref = draw(st.sampled_from([ref for ref, count in out.items() if count]))
            count = draw(st.integers(1, out[ref]))
            entries.append(ReturnIn(ref, count))
            out[ref] -= count
            there += count
    return entries


@pytest.mark.parametrize("method", [fifo, moving_average])
@given(entries=histories())
def test_value_is_neither_made_nor_lost(method: Method, entries: list[Entry]) -> None:
    ledger = method(entries)
    came_in = sum((e.unit_cost * e.quantity for e in entries if isinstance(e, LayerIn)), Decimal(0))
    issued = sum((ledger.issue_value(ref) for ref in ledger.issues), Decimal(0))
    assert ledger.value + issued == came_in
    assert ledger.value >= 0
    assert all(draw.value >= 0 for draws in ledger.issues.values() for draw in draws)


def test_a_job_line_is_rounded_once_after_its_lots_are_added() -> None:
    # 3 × 0.3333 + 1 × 0.0051 = 1.0050 → 1.01; rounded by lot it would be 1.00 + 0.01 = 1.01;
    # 1 × 0.0050 + 1 × 0.0050 = 0.01, where rounding by lot would give 0.02.
    cost = job_parts_cost(
        [
            PartUse("SCREW", 3, Decimal("0.3333")),
            PartUse("SCREW", 1, Decimal("0.0051")),
            PartUse("DOT", 1, Decimal("0.0050")),
            PartUse("DOT", 1, Decimal("0.0050")),
        ],
        "EUR",
    )
    assert [(line.part, line.quantity, str(line.cost)) for line in cost.lines] == [
        ("SCREW", 4, "1.01"),
        ("DOT", 2, "0.01"),
    ]
    assert str(cost.total) == "1.02"


def test_what_damage_added_is_shown_apart() -> None:
    cost = job_parts_cost(
        [
            PartUse("LENS", 1, Decimal(20), planned=False),
            PartUse("LENS", 1, Decimal(20)),
            PartUse("SEAL", 2, Decimal("1.25")),
            PartUse("SEAL", -1, Decimal("1.25")),
        ],
        "EUR",
    )
    assert [(line.part, line.planned) for line in cost.lines] == [
        ("LENS", True),
        ("SEAL", True),
        ("LENS", False),
    ]
    assert (cost.planned, cost.beyond_plan, cost.total) == (Decimal("21.25"), Decimal(20), Decimal("41.25"))


def test_a_job_without_parts_costs_nothing_in_its_currency() -> None:
    assert str(job_parts_cost([], "KWD").total) == "0.000"


@pytest.mark.parametrize(
    ("seconds", "rate", "cost"),
    [(3600, "54", "54.00"), (1, "54", "0.02"), (100, "54.54", "1.52"), (0, "9", "0.00")],
)
def test_labour_is_rounded_once(seconds: int, rate: str, cost: str) -> None:
    # 1 s at 54 an hour is 0.015, half up 0.02; 100 s at 54.54 is exactly 1.515.
    assert str(labour_cost(seconds, Decimal(rate), "EUR")) == cost


def test_negative_bench_time_is_an_error_of_the_caller() -> None:
    with pytest.raises(ValueError, match="not negative"):
        labour_cost(-1, Decimal(1), "EUR")
