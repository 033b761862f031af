"""Lots that were scanned at a refit step: they are what goes in, so they are used before any other lot in hand."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from app.rules.bench import LotInHand, wanted
from app.rules.counting import BenchState, Item
from app.rules.scan_codes import ScanKind, parse
from app.rules.verdict import Refused

InHand = Mapping[str, Sequence[LotInHand]]


class Scanned(NamedTuple):
    """A lot's label as it was scanned: part number and lot code."""

    part: str
    lot: str


def read_scans(codes: Sequence[str]) -> tuple[Scanned, ...]:
    """Return the lots that label codes name, each once, in the order they were scanned.

    Raises Refused for a code that is none of ours, was misread, or is not on a lot.
    """
    found = []
    for text in codes:
        code = parse(text, "scanned")
        if code.kind is not ScanKind.LOT:
            raise Refused("That label is not on a lot. Scan the label of the part that goes in.", "scanned")
        found.append(Scanned(code.part, code.lot))
    return tuple(dict.fromkeys(found))


def new_parts(items: Mapping[str, Item], state: BenchState, step_id: str) -> dict[str, int]:
    """Return how many new pieces of each part number a refit step takes, as the count stands."""
    found: dict[str, int] = {}
    for key, item in items.items():
        part = state.new_part.get(key) or item.part
        if item.step == step_id and part and (new := wanted(item, state.items[key])[1]):
            found[part] = found.get(part, 0) + new
    return found


def lots_first(
    items: Mapping[str, Item], state: BenchState, step_id: str, in_hand: InHand, scanned: Sequence[tuple[str, str]]
) -> InHand:
    """Return the lots in hand in the order this tick uses them: of each scanned lot one piece at least, then the rest.

    A step that cannot be ticked anyway is left to ``bench.tick_up`` to refuse. Raises Refused when a scanned part
    does not go in here, its lot is not in hand, or more lots were scanned than pieces go in: nothing is ticked.
    """
    if not scanned or step_id not in state.refit or step_id in state.up:
        return in_hand
    needs = new_parts(items, state, step_id)
    lots_of: dict[str, list[Scanned]] = {}
    for part, lot in dict.fromkeys((part, lot) for part, lot in scanned):
        lots_of.setdefault(_meant_for(part, lot, needs, in_hand), []).append(Scanned(part, lot))
    return {**in_hand, **{part: _ordered(part, lots, needs, in_hand) for part, lots in lots_of.items()}}


def _meant_for(part: str, code: str, needs: Mapping[str, int], in_hand: InHand) -> str:
    """Return the part that a scanned lot goes in for: its own, or the one that it stands in for."""
    if part in needs:
        return part
    stands_in = (w for w in needs for lot in in_hand.get(w, ()) if (lot.part, lot.code) == (part, code))
    return next(stands_in, part)


def _ordered(part: str, lots: Sequence[Scanned], needs: Mapping[str, int], in_hand: InHand) -> list[LotInHand]:
    if part not in needs:
        raise Refused(f"{part} does not go in at this step. Nothing was ticked.", "scanned")
    here = {Scanned(lot.part or part, lot.code): lot for lot in in_hand.get(part, ()) if lot.free > 0}
    for code in lots:
        if code not in here:
            with_job = ", ".join(lot.lot for lot in here) or "none"
            raise Refused(
                f"Lot {code.lot} of {code.part} is not in this job's hands (in hand: {with_job}). "
                "Take the piece that was handed out, or ask stores to hand this one out.",
                "scanned",
            )
    if len(lots) > needs[part]:
        goes = "1 piece goes" if needs[part] == 1 else f"{needs[part]} pieces go"
        raise Refused(
            f"{len(lots)} lots of {part} were scanned, but {goes} in. Scan only what goes in.",
            "scanned",
        )
    more = needs[part] - len(lots)
    found = []
    for code in lots:
        beyond = min(more, here[code].free - 1)
        more -= beyond
        found.append(replace(here[code], free=1 + beyond))
    return found + [lot for code, lot in here.items() if code not in lots]
