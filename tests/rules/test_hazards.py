"""Signal words after ANSI Z535.4, colours by WCAG's arithmetic, cautions with their figures."""

import pytest

from app.rules.hazards import BENCH_CAUTIONS, COMES_FIRST, SIGNAL_WORDS, contrast, sort_hazards
from app.rules.sheet import Hazard, Signal, Symbol


def hazard(signal: Signal, what: str = "Dust.") -> Hazard:
    return Hazard(signal=signal, hazard=what, consequence="Specks.", avoidance="Blow it off.")


def test_the_contrast_formula_gives_the_published_figures() -> None:
    # WCAG 2.2: black on white is 21; #767676 is the lightest grey that passes 4.5 on white.
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert contrast("#FFFFFF", "#767676") == pytest.approx(4.542, abs=0.001)
    assert contrast("#777777", "#FFFFFF") == pytest.approx(4.478, abs=0.001)
    assert contrast("#FFFFFF", "#FF8000") == pytest.approx(2.52, abs=0.01)
    assert contrast("#000000", "#FF8000") == pytest.approx(8.34, abs=0.01)


@pytest.mark.parametrize("signal", list(Signal))
def test_every_signal_word_can_be_read_on_its_panel(signal: Signal) -> None:
    word = SIGNAL_WORDS[signal]
    assert word.word == signal.value
    assert contrast(word.panel, word.text) >= 4.5


def test_signal_words_have_the_standards_colours_and_symbols() -> None:
    assert [SIGNAL_WORDS[signal].colour for signal in Signal] == ["red", "orange", "yellow", "blue"]
    assert [SIGNAL_WORDS[signal].alert_symbol for signal in Signal] == [True, True, True, False]
    assert SIGNAL_WORDS[Signal.WARNING].text == "#000000"


def test_signal_words_say_will_could_and_no_injury() -> None:
    starts = ["Will kill", "Could kill", "Could cause a minor", "No injury"]
    assert all(SIGNAL_WORDS[s].meaning.startswith(w) for s, w in zip(Signal, starts, strict=True))


def test_the_gravest_hazard_comes_first_and_equal_ones_keep_their_order() -> None:
    mixed = [
        hazard(Signal.NOTICE),
        hazard(Signal.CAUTION, "One."),
        hazard(Signal.DANGER),
        hazard(Signal.CAUTION, "Two."),
        hazard(Signal.WARNING),
    ]
    ordered = sort_hazards(mixed)
    assert [one.signal for one in ordered] == ["DANGER", "WARNING", "CAUTION", "CAUTION", "NOTICE"]
    assert [one.hazard for one in ordered[2:4]] == ["One.", "Two."]


def test_there_is_a_caution_for_every_usual_hazard() -> None:
    shown = {caution.hazard.symbol for caution in BENCH_CAUTIONS}
    assert shown == set(Symbol) - {Symbol.GENERAL}
    assert all(caution.source for caution in BENCH_CAUTIONS)


def test_cautions_give_the_figures_of_their_sources() -> None:
    said = {caution.hazard.symbol: " ".join(caution.rules) for caution in BENCH_CAUTIONS}
    # ANSI/ESD S20.20 and IEC 61340-5-1, strictly less than.
    assert "less than 3.5 × 10⁷ Ω" in said[Symbol.STATIC]
    assert "less than 1.0 × 10⁹ Ω, and less than 100 V" in said[Symbol.STATIC]
    # UN 3480 by air; ADR special provision 376; 49 CFR 173.185(f).
    for figure in ("30 %", "UN 3480", "special provision 376", "49 CFR 173.185(f)", "never by air"):
        assert figure in said[Symbol.CELL]


def test_cell_cautions_name_their_stop_signs_and_forbid_levering() -> None:
    (cell,) = (caution for caution in BENCH_CAUTIONS if caution.hazard.symbol is Symbol.CELL)
    assert {"swollen", "hot", "leaking"} <= set(cell.stop_signs)
    assert "Never lever on a cell" in cell.hazard.avoidance
    assert "come before" in COMES_FIRST


@pytest.mark.parametrize("colour", ["red", "#FFF", "FF80000"])
def test_it_refuses_colours_it_cannot_read(colour: str) -> None:
    with pytest.raises(ValueError, match="#RRGGBB"):
        contrast(colour, "#FFFFFF")
