"""Quotes worked by hand, in currencies of two, none and three decimals, and options beside the first."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.expected_time import ExpectedTime
from app.rules.planning import KitLine, KitUse, Plan, make_plan
from app.rules.quote_options import KitChange, options
from app.rules.quoting import PartPrice, Rates, planned_scrap, quote, worth_repairing
from app.rules.sheet import WasteStream
from app.rules.verdict import Refused
from tests.rules.sheets import fixing, sheet, step, unit

D = Decimal
KIT = (
    KitLine("SEAL", 3, (KitUse("back", "seal", 3),)),
    KitLine("CELL", 1, (KitUse("cell", "unit:cell", 1),)),
)
PRICES = {
    "SEAL": PartPrice("Perimeter seal", D("1.115")),
    "CELL": PartPrice("Cell pack", D("24.90")),
    "DISPLAY": PartPrice("Display", D("80")),
}


def rates(currency: str = "EUR", **more: D | dict[WasteStream, D]) -> Rates:
    return Rates(currency, D("54"), **more)  # type: ignore[arg-type]


def test_a_quote_rounds_each_line_half_up_and_adds_the_rounded_lines() -> None:
    found = quote(
        KIT,
        2000,
        {WasteStream.CELL: 1, WasteStream.RESIDUAL: 3},
        PRICES,
        rates(margin_parts=D("0.2"), margin_labour=D("0.1"), waste={WasteStream.CELL: D("1.5")}, tax=D("0.25")),
    )
    # 1.115 × 3 × 1.2 = 4.014; 24.90 × 1.2 = 29.88; 2000 s × 54/3600 × 1.1 = 33.00; the seal's stream has no fee.
    assert [(line.kind, line.amount) for line in found.lines] == [
        ("part", D("4.01")),
        ("part", D("29.88")),
        ("labour", D("33.00")),
        ("waste", D("1.50")),
        ("tax", D("17.10")),
    ]
    # Net 68.39, tax 17.0975.
    assert (found.parts, found.labour, found.waste, found.net) == (D("33.89"), D("33.00"), D("1.50"), D("68.39"))
    assert (found.tax, found.total, found.unpriced) == (D("17.10"), D("85.49"), ())
    assert found.lines[-1].text == "Tax 25 %"


@pytest.mark.parametrize(
    ("currency", "amounts"),
    # Minor units of ISO 4217: none for JPY, three for KWD. 3 × 1.115 = 3.345; 1000 s at 54 an hour = 15.
    [("JPY", ["3", "25", "15"]), ("KWD", ["3.345", "24.900", "15.000"]), ("EUR", ["3.35", "24.90", "15.00"])],
)
def test_the_currencys_minor_unit_rounds_a_line(currency: str, amounts: list[str]) -> None:
    found = quote(KIT, 1000, {}, PRICES, rates(currency))
    assert [str(line.amount) for line in found.lines] == amounts
    assert found.tax == 0


def test_a_part_without_a_price_is_named_and_not_given_away_in_silence() -> None:
    found = quote(KIT, 0, {}, {"SEAL": PRICES["SEAL"]}, rates())
    assert found.unpriced == ("CELL",)
    assert found.parts == D("3.35")


def test_settings_below_nothing_are_refused() -> None:
    with pytest.raises(Refused, match="0 or more"):
        rates(tax=D("-0.1"))
    with pytest.raises(ValueError, match="ISO 4217"):
        rates("euro")
    with pytest.raises(ValueError, match="not negative"):
        quote(KIT, -1, {}, PRICES, rates())


def test_a_repair_beyond_its_share_of_the_value_is_said_to_be() -> None:
    over = worth_repairing(D("85.49"), D("120"), D("0.6"), "EUR")
    assert (over.limit, over.beyond) == (D("72.00"), True)
    assert over.words == (
        "Beyond economic repair: the quote of 85.49 EUR is 13.49 EUR over the limit of 72.00 EUR, which is 60 % of "
        "the device's value of 120.00 EUR. Tell the owner before anything is opened."
    )
    assert worth_repairing(D("72.00"), D("120"), D("0.6"), "EUR").beyond is False
    assert worth_repairing(D("72"), None, D("0.6"), "EUR").limit is None
    with pytest.raises(Refused, match="value and a share"):
        worth_repairing(D(1), D(-1), D("0.6"), "EUR")


EXAMPLE = sheet(
    [
        step("back", time_s=100, releases=[fixing("seal", reuse="single-use", part="SEAL")], refit={"time_s": 200}),
        step("cell", "back", time_s=50, frees="cell", refit={"time_s": 50}),
        step("frame", "back", time_s=150, frees="display", refit={"time_s": 250}),
    ],
    [unit("cell"), unit("display")],
)


def standard(plan: Plan) -> ExpectedTime:
    seconds = plan.teardown_s + plan.refit_s
    return ExpectedTime(seconds, seconds, 0, "standard")


def test_an_option_counts_shared_steps_once_and_stands_beside_the_first() -> None:
    first, both = options(EXAMPLE, [["display"], ["display", "cell"]], standard, PRICES, rates())
    assert first.quote.total == D("81.12") + D("10.50")  # 80 + 1.115 → 1.12; 700 s at 54 an hour.
    assert (first.more_steps, first.more_s) == ((), 0)
    assert first.more_cost == 0
    assert both.targets == ("cell", "display")
    assert both.more_steps == ("cell",)
    assert both.more_kit == (KitChange("CELL", 1),)
    assert both.more_s == 100
    assert both.more_cost == D("24.90") + D("1.50")
    assert both.shared_steps == ("back",)
    # On visits of their own the back is opened twice: a seal and 300 s more.
    assert both.saved == D("1.12") + D("4.50")
    assert both.apart_cost == both.quote.total + both.saved


def test_an_option_that_does_less_says_what_stays_closed() -> None:
    _both, cell = options(EXAMPLE, [["cell", "display"], ["cell"]], standard, PRICES, rates())
    assert cell.fewer_steps == ("frame",)
    assert cell.more_kit == (KitChange("DISPLAY", -1),)
    assert cell.more_s == -400


def test_options_must_differ_and_be_there() -> None:
    with pytest.raises(Refused, match="same units"):
        options(EXAMPLE, [["cell", "display"], ["display", "cell"]], standard, PRICES, rates())
    with pytest.raises(Refused, match="at least one option"):
        options(EXAMPLE, [], standard, PRICES, rates())
    with pytest.raises(Refused, match="no unit “lens”"):
        options(EXAMPLE, [["lens"]], standard, PRICES, rates())


def test_scrap_is_what_the_new_parts_replace() -> None:
    assert planned_scrap(EXAMPLE, make_plan(EXAMPLE, ["cell"])) == {WasteStream.RESIDUAL: 1, WasteStream.ELECTRONIC: 1}


@given(
    st.lists(st.tuples(st.decimals(0, 999, places=4), st.integers(1, 50)), max_size=8),
    st.integers(0, 100_000),
    st.decimals(0, 1, places=3),
    st.sampled_from(["EUR", "JPY", "KWD"]),
)
def test_the_total_is_the_sum_of_the_lines_as_printed(
    parts: list[tuple[D, int]], seconds: int, tax: D, currency: str
) -> None:
    kit = [KitLine(f"P{n}", count, ()) for n, (_price, count) in enumerate(parts)]
    prices = {f"P{n}": PartPrice("Part", price) for n, (price, _count) in enumerate(parts)}
    found = quote(kit, seconds, {}, prices, rates(currency, margin_parts=D("0.15"), tax=tax))
    assert sum(line.amount for line in found.lines) == found.total
    assert found.net + found.tax == found.total
