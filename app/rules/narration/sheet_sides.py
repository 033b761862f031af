"""The hazards and the refit of a drafted step, as plain data with what is asked about them."""

import re
from typing import Any, Final

from app.rules.narration.hazards import hazard_of
from app.rules.narration.shapes import DraftFixing, DraftStep, Verb, Words
from app.rules.sheet import FixingKind, ReuseClass, Signal, Symbol

Path = tuple[str | int, ...]
Asked = tuple[Path, Words | None, str]
"""Where below the step, the words it comes from, and what is asked."""

_LONGEST: Final = 2000
_ENDING: Final = re.compile(r"\s*(?:\band )?\bthat['’]?s (?:it|all)\b.*$|\s*\bthanks for watching\b.*$", re.IGNORECASE)
_SOFT: Final = frozenset({FixingKind.SEAL, FixingKind.ADHESIVE})


def hazards_of(step: DraftStep) -> tuple[list[dict[str, Any]], list[Asked]]:
    """Return the step's cautions as hazards; what the words do not say is left out and asked."""
    rows: list[dict[str, Any]] = []
    asked: list[Asked] = []
    for number, note in enumerate(step.cautions):
        read = hazard_of(note, step.text)
        row: dict[str, Any] = {"signal": read.signal.value}
        if read.symbol is not Symbol.GENERAL and read.signal is not Signal.NOTICE:
            row["symbol"] = read.symbol.value
        told = {"hazard": read.hazard, "consequence": read.consequence, "avoidance": read.avoidance}
        rows.append(row | {key: text for key, text in told.items() if text})
        asked += [(("hazards", number, key), note.words, question) for key, question in read.questions]
    return rows, asked


def refit_of(step: DraftStep) -> tuple[dict[str, Any] | None, list[Asked]]:
    """Return the step's refit and what is asked about it; None where nothing goes back.

    What was told stands in the narrator's words. For what was not told the mirrored instruction is proposed, and
    asked about.
    """
    if not step.fixings and not step.frees and step.refit is None:
        return None, []
    told = step.refit
    mirrored = _mirrored(step)
    parts = [*mirrored, *(_sentence(words.text) for words in told.told)] if told else mirrored
    refit: dict[str, Any] = {"title": _title(step), "do": " ".join(parts)[:_LONGEST] or _title(step) + "."}
    asked: list[Asked] = []
    if mirrored:
        whole = "No refit was told for this step." if told is None else "The refit was told in part."
        asked.append((("refit", "do"), step.words, f"{whole} “{' '.join(mirrored)}” is proposed. Is that right?"))
    if told is None:
        return refit, asked
    if told.press_s is not None:
        refit["press_s"] = told.press_s
    if told.cure_s is not None:
        refit["cure_s"] = told.cure_s
    if told.cure_guessed:
        said = told.told[-1]
        asked.append(
            (("refit", "cure_s"), said, f"“{' '.join(said.text.split())}” is taken for this step. Does it cure here?")
        )
    if told.fits:
        refit["fits"] = [{"name": name[:120], "count": 1} for name, _words in told.fits]
        asked += [
            (("refit", "fits", number, "part"), words, f"What is the part number of the new {name}?")
            for number, (name, words) in enumerate(told.fits)
        ]
    for place, value, words in told.torques:
        asked.append(
            (
                ("releases", place, "torque"),
                words,
                f"{value} N·cm was told for the {step.fixings[place].name}. Does the maker's documentation give it?",
            )
        )
    asked += [
        (("releases",), words, f"“{' '.join(words.text.split())}” gives a torque. Which screws is it for?")
        for words in told.loose
    ]
    return refit, asked


def torque_of(step: DraftStep, place: int, source: str) -> dict[str, str] | None:
    """Return the torque told for one fixing of a step, with the narration as its source; None when none was."""
    if step.refit is None:
        return None
    value = next((value for at, value, _words in step.refit.torques if at == place), None)
    return None if value is None else {"value_ncm": str(value), "source": f"Told in {source}"[:120]}


def _title(step: DraftStep) -> str:
    whole = next((unit.name for unit in step.frees), None) or next(
        (f.name for f in step.fixings if f.kind in {FixingKind.COVER, FixingKind.SHIELD}), None
    )
    name = whole or (step.fixings[-1].name if step.fixings else step.title)
    verb = "Connect" if whole is None and step.verb is Verb.RELEASE else "Refit"
    return f"{verb} the {name}"[:120] if whole or step.fixings else f"Refit: {name}"[:120]


def _mirrored(step: DraftStep) -> list[str]:
    """Return the way back of what was not told: what came out last goes in first."""
    told = step.refit
    parts = [] if told and told.unit_told else [f"Put the {unit.name} back in." for unit in reversed(step.frees)]
    answered = told.answered if told else frozenset()
    for place in reversed(range(len(step.fixings))):
        if place not in answered:
            parts.append(_back(step.fixings[place]))
    return parts


def _back(fixing: DraftFixing) -> str:
    new = "new " if fixing.reuse is ReuseClass.SINGLE_USE else ""
    many = fixing.count is not None and fixing.count > 1
    named = fixing.name + ("s" if many and not fixing.name.endswith("s") else "")
    name = f"{fixing.count if many else ''} {new}{named}".strip()
    if fixing.kind is FixingKind.CLIP:
        return f"Press the {name} home."
    if fixing.kind in {FixingKind.CONNECTOR, FixingKind.FLEX, FixingKind.CABLE}:
        return f"Connect the {name}."
    if fixing.kind in _SOFT:
        return f"Lay in the {name}."
    if fixing.kind in {FixingKind.COVER, FixingKind.SHIELD}:
        return f"Put the {name} back on."
    return f"Drive in the {name}."


def _sentence(text: str) -> str:
    plain = _ENDING.sub("", " ".join(text.split())).strip(" ,;:–—-").removesuffix(".")
    return plain[:1].upper() + plain[1:] + "."
