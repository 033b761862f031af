"""Hazards in words and colours: signal words, their order, and the usual cautions of the bench.

The tool shows cautions; it decides nothing about safety for people. The maker's current service
documentation, local codes and licensed practice come first.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from types import MappingProxyType
from typing import Final

from app.rules.sheet import Hazard, Signal, Symbol

COMES_FIRST: Final = (
    "The maker's current service documentation, local codes and licensed practice come before this page."
)
"""Stands on every job page and printed sheet."""


@dataclass(frozen=True, slots=True)
class SignalWord:
    """What a signal word means and how its panel looks. ``rank`` is 0 for the gravest.

    Colours are sRGB hex; ``text`` on ``panel`` has a contrast of at least 4.5 to 1 (WCAG 2.2,
    1.4.3). ``alert_symbol`` says whether the safety alert symbol (the triangle) stands beside it.
    """

    word: str
    rank: int
    meaning: str
    colour: str
    panel: str
    text: str
    alert_symbol: bool


SIGNAL_WORDS: Final = MappingProxyType(
    {
        # Meanings and colour names: ANSI Z535.4 and Z535.6; ISO 3864-2 has the same three grades.
        # The hex values are ours, near the named safety colours. White on the orange would be only
        # 2.52 to 1, so its text is black.
        Signal.DANGER: SignalWord(
            "DANGER", 0, "Will kill or seriously injure if not avoided.", "red", "#B50E1C", "#FFFFFF", True
        ),
        Signal.WARNING: SignalWord(
            "WARNING",
            1,
            "Could kill or seriously injure if not avoided.",
            "orange",
            "#FF8000",
            "#000000",
            True,
        ),
        Signal.CAUTION: SignalWord(
            "CAUTION",
            2,
            "Could cause a minor or moderate injury if not avoided.",
            "yellow",
            "#FFD100",
            "#000000",
            True,
        ),
        Signal.NOTICE: SignalWord(
            "NOTICE",
            3,
            "No injury; the device or the work could be damaged.",
            "blue",
            "#00529B",
            "#FFFFFF",
            False,
        ),
    }
)


def sort_hazards(hazards: Iterable[Hazard]) -> tuple[Hazard, ...]:
    """Return the hazards with the gravest signal word first; equal ones keep the author's order."""
    return tuple(sorted(hazards, key=lambda hazard: SIGNAL_WORDS[hazard.signal].rank))


def contrast(first: str, second: str) -> float:
    """Return the contrast ratio, 1 to 21, of two sRGB colours written ``#RRGGBB``.

    Source: WCAG 2.2, relative luminance and contrast ratio. Raises ValueError for another notation.
    """
    lighter, darker = sorted((_luminance(first), _luminance(second)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def _luminance(colour: str) -> float:
    if len(colour) != 7 or not colour.startswith("#"):
        raise ValueError(f"{colour!r} is not a colour written #RRGGBB")
    channels = (int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5))
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


@dataclass(frozen=True, slots=True)
class BenchCaution:
    """A caution that holds at every bench, whatever the procedure; ``source`` gives its figures.

    ``stop_signs`` are what one sees, smells or feels when the work must stop; empty where there
    are none to look for. ``rules`` are further sentences, one a line.
    """

    title: str
    hazard: Hazard
    stop_signs: tuple[str, ...]
    rules: tuple[str, ...]
    source: str


def _hazard(signal: Signal, symbol: Symbol, hazard: str, consequence: str, avoidance: str) -> Hazard:
    return Hazard(signal=signal, symbol=symbol, hazard=hazard, consequence=consequence, avoidance=avoidance)


BENCH_CAUTIONS: Final = (
    BenchCaution(
        "Lithium cells",
        _hazard(
            Signal.WARNING,
            Symbol.CELL,
            "A lithium cell that is bent, pierced, crushed or overheated can burn without warning.",
            "It could burn you seriously, and its smoke is poisonous.",
            "Never lever on a cell or against it. Keep metal edges and heat away; pull tabs flat and slowly.",
        ),
        (
            "swollen",
            "dented or pierced",
            "hot",
            "leaking",
            "a sweet or solvent-like smell",
            "hissing or smoke",
        ),
        (
            "At a stop sign, stop: put the job on a safety hold and take the device to its safe place.",
            "Smoke or flame: leave it, warn the others, get out, and call the fire service.",
            "A damaged or defective cell is quarantined: never back to stock, never by air.",
            "By road, damaged or defective cells go under ADR special provision 376 or 49 CFR 173.185(f).",
            "Sound cells sent by air on their own (UN 3480) are at most 30 % charged.",
        ),
        "UN 3480 charge limit of the rules for air transport; ADR special provision 376; 49 CFR 173.185(f); "
        "stop signs and handling: common bench practice",
    ),
    BenchCaution(
        "Static electricity",
        _hazard(
            Signal.NOTICE,
            Symbol.STATIC,
            "A static discharge too small to feel can harm a board.",
            "The device may fail now or weeks later.",
            "Wear the wrist strap when seated, test it before work, and keep boards on the mat.",
        ),
        (),
        (
            "Wrist strap and wearer: less than 3.5 × 10⁷ Ω.",
            "Footwear and floor with the wearer: less than 1.0 × 10⁹ Ω, and less than 100 V on the body.",
            "Take the strap off before work on anything connected to the mains.",
        ),
        "Resistances and voltage: ANSI/ESD S20.20 and IEC 61340-5-1; handling: common bench practice",
    ),
    BenchCaution(
        "Glass",
        _hazard(
            Signal.CAUTION,
            Symbol.GLASS,
            "Display and back glass splinters when it is bent or already cracked.",
            "Splinters could cut hands and eyes.",
            "Tape over cracked glass, wear eye protection, lift evenly, and never flex the panel.",
        ),
        (),
        ("Splinters go into a closed rigid box, not into a bag.",),
        "Common bench practice",
    ),
    BenchCaution(
        "Heat",
        _hazard(
            Signal.CAUTION,
            Symbol.HEAT,
            "Heating plates, hot air and irons stay hot after they are switched off.",
            "They could burn skin; too much heat also harms the cell and the display.",
            "Use the temperature the procedure gives and no more, and park tools in their stands.",
        ),
        (),
        ("Do not heat over a cell unless the procedure says so and gives the limit.",),
        "Common bench practice",
    ),
    BenchCaution(
        "Solvents",
        _hazard(
            Signal.WARNING,
            Symbol.SOLVENT,
            "Isopropyl alcohol and adhesive removers burn, and so do their vapours.",
            "A spark or a hot tool could set them alight; vapours could make you dizzy.",
            "Use drops, not puddles; ventilate; close the bottle; keep heat and sparks away until it is dry.",
        ),
        (),
        ("Read the product's safety data sheet, and wear the gloves it names.",),
        "The product's safety data sheet",
    ),
    BenchCaution(
        "Sharp tools",
        _hazard(
            Signal.CAUTION,
            Symbol.SHARP,
            "Blades, picks and the edges of shields slip.",
            "They could cut or stab the hand that holds the device.",
            "Work away from the holding hand, support the device in its fixture, and cap blades.",
        ),
        (),
        (),
        "Common bench practice",
    ),
    BenchCaution(
        "Eyes",
        _hazard(
            Signal.CAUTION,
            Symbol.EYE,
            "Clips, springs, splinters and drops of solvent fly.",
            "They could injure an eye.",
            "Wear eye protection while you open, lever, press or blow out.",
        ),
        (),
        (),
        "Common bench practice",
    ),
)
"""The usual cautions, in the order they are shown: what injures most first, then by the work."""

INGRESS_NOTE: Final = (
    "An ingress rating (IP code, IEC 60529) no longer holds once the device has been opened, "
    "until it has been tested again."
)
"""Common practice; shown where a sealed device is released."""
