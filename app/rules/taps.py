"""Places of an item that were counted one by one: which entry counted which place, and the mark each place bears.

Counts are kept in pieces; this keeps only what a tap on a place adds to them: where. The marks follow from both, so
that the picture never shows more or fewer pieces than the count.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Literal

from app.rules.items import ItemCount

Mark = Literal["open", "out", "struck", "back", "absent"]
Places = Mapping[str, "Taps"]


@dataclass(frozen=True, slots=True)
class Taps:
    """Places of one item that were counted singly, from 1, in the order it was done: place → id of the entry.

    ``out`` were counted out at the teardown, ``back`` at the refit; ``struck`` came out so and were reported broken.
    """

    out: Mapping[int, str] = field(default_factory=dict)
    back: Mapping[int, str] = field(default_factory=dict)
    struck: Mapping[int, str] = field(default_factory=dict)

    def of(self, side: str) -> Mapping[int, str]:
        """Return the places counted on a side, down or up."""
        return self.back if side == "up" else self.out

    def to_json(self) -> list[list[list[Any]]]:
        """Return plain JSON data, in order."""
        return [[[place, entry] for place, entry in kept.items()] for kept in (self.out, self.back, self.struck)]

    @classmethod
    def from_json(cls, data: Iterable[Iterable[Iterable[Any]]]) -> "Taps":
        """Rebuild from ``to_json`` data."""
        return cls(*({int(place): str(entry) for place, entry in kept} for kept in data))


NONE = Taps()


def with_tap(places: Places, key: str, side: str, place: int, entry: str) -> dict[str, Taps]:
    """Add a place that an entry counted on a side."""
    taps = places.get(key, NONE)
    more = {**taps.of(side), place: entry}
    found = Taps(taps.out, more, taps.struck) if side == "up" else Taps(more, taps.back, taps.struck)
    return {**places, key: found}


def without(places: Places, entry: str | None) -> dict[str, Taps]:
    """Take away what an entry said about places; items of which nothing is left are dropped."""
    found = {}
    for key, taps in places.items():
        left = Taps(*({p: e for p, e in kept.items() if e != entry} for kept in (taps.out, taps.back, taps.struck)))
        if left != NONE:
            found[key] = left
    return found


def with_broken(places: Places, effect: Mapping[str, Mapping[str, int]], entry: str) -> dict[str, Taps]:
    """Strike the places that a report of damage concerns, where it concerns pieces that were counted out singly.

    A report names pieces, not places: the places tapped last are taken, as what breaks is what is in the hand.
    """
    found = dict(places)
    for key, change in effect.items():
        taps, inward = places.get(key), change.get("damaged", 0) - change.get("out", 0)
        if taps is None or inward < 1:
            continue
        loose = [place for place in taps.out if place not in taps.struck and place not in taps.back]
        struck = {**taps.struck, **dict.fromkeys(loose[-inward:], entry)}
        found[key] = Taps(taps.out, taps.back, struck)
    return found


def marks(count: ItemCount, taps: Taps = NONE) -> tuple[Mark, ...]:
    """Return the mark of each place of an item, in the order of the places.

    So many of each mark as the count has pieces; a place that was tapped bears what was tapped. Where only pieces are
    known, the first places are taken for what came out and the last for what was scrapped or absent.
    """
    total = count.baseline
    filled = min(count.refitted + count.new, total)
    struck = min(max(count.scrapped - count.new, 0), total - filled)
    lifted = min(max(count.out - count.refitted - count.scrapped, 0), total - filled - struck)
    absent = min(count.absent, total - filled - struck - lifted)
    found: dict[int, Mark] = {}

    def take(mark: Mark, wanted: int, *orders: Iterable[int]) -> None:
        for place in (place for order in orders for place in order):
            if wanted < 1:
                return
            if place not in found:
                found[place] = mark
                wanted -= 1

    upward, downward = range(1, total + 1), range(total, 0, -1)
    untapped = [place for place in downward if place not in taps.out]
    take("back", filled, taps.back, upward)
    planned = min(count.planned, struck)
    take("struck", planned, taps.out, upward)
    take("struck", struck - planned, taps.struck, untapped, reversed(tuple(taps.out)))
    take("out", lifted, taps.out, upward)
    take("absent", absent, untapped, downward)
    return tuple(found.get(place, "open") for place in upward)
