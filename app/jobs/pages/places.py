"""Places on the drawing of a job's step: what each bears, in words too, and what a tap on it says."""

from collections.abc import Mapping
from dataclasses import dataclass, replace

from markupsafe import Markup
from sqlmodel import Session

from app.jobs.queries.bench import items_for
from app.procedures import queries as procedures
from app.procedures.places import PlacedSpot, placed_spots, view_box
from app.rules.counting import BenchState, Item, ItemCount, places_left
from app.rules.place_layout import Box, Spot
from app.rules.places import words as place_words
from app.rules.sheet import ReuseClass, Sheet, Step
from app.rules.taps import NONE, Mark, Taps, marks

WORDS: Mapping[Mark, str] = {
    "open": "to be counted",
    "out": "out",
    "struck": "scrapped",
    "back": "back",
    "absent": "absent on arrival",
}


@dataclass(frozen=True)
class PlaceView:
    """One place, the same for the drawing and the list.

    ``id`` names its form. ``on`` is what a tap says: counted, or taken back. ``can`` is false where a tap would only be
    refused. ``after`` is the mark it bears after that tap; ``name`` is its name without its state. ``button`` is
    whether the list has a large button for it: always where the one on the drawing is smaller than a thumb.
    """

    id: str
    item: str
    number: int
    label: str
    name: str
    mark: Mark
    words: str
    on: bool
    can: bool
    after: Mark
    after_words: str
    spot: Spot
    button: bool = True


@dataclass(frozen=True)
class PlacesView:
    """All places of a step on one side; ``box`` is the drawing's view box, as its attribute has it."""

    box: str
    side: str
    step: str
    spots: tuple[PlaceView, ...]

    def with_room(self, *, dense: bool) -> "PlacesView":
        """Return the same with buttons in the list only where they are needed, if the step is ``dense``."""
        needed = {spot.item for spot in self.spots if spot.spot.close} if dense else {s.item for s in self.spots}
        return replace(self, spots=tuple(replace(s, button=s.item in needed) for s in self.spots))

    def of(self, key: str) -> tuple[PlaceView, ...]:
        """Return the places of one item."""
        return tuple(spot for spot in self.spots if spot.item == key)


def places_view(
    step: Step, side: str, items: Mapping[str, Item], state: BenchState, drawing: str | None
) -> PlacesView | None:
    """Build the places of a step as they stand; None where it has none, or no drawing to show them on."""
    box = view_box(drawing)
    if box is None or step.picture is None or not any(f.places for f in step.releases):
        return None
    counts = {f.id: _count(items, state, f"{step.id}/{f.id}", f.count) for f in step.releases}
    borne = {f.id: marks(counts[f.id], _taps(state, f"{step.id}/{f.id}")) for f in step.releases if f.places}
    spots = []
    for placed in placed_spots(step, box, borne):
        key = f"{step.id}/{placed.fixing}"
        if key in items:
            spots.append(_view(placed, items[key], counts[placed.fixing], _taps(state, key), side))
    return PlacesView(_attribute(box), side, step.id, tuple(spots))


@dataclass(frozen=True)
class LeftOver:
    """A step of which places are not back, with its drawing: what is left over belongs there."""

    step_no: int
    step_id: str
    title: str
    words: tuple[str, ...]
    drawing: Markup
    places: PlacesView


def left_over(session: Session, revision_id: int, sheet: Sheet, state: BenchState) -> tuple[LeftOver, ...]:
    """Return the steps that were counted back place by place and have places that are not back, in plan order."""
    items = items_for(revision_id, sheet, state)
    svgs = procedures.step_svgs(session, revision_id)
    found = []
    for number, step_id in enumerate(state.teardown, start=1):
        words: list[str] = []
        for item in (i for i in items.values() if i.step == step_id):
            left = places_left(item, state.items[item.key], _taps(state, item.key))
            words += [f"{place_words(item, n)} is not back" for n in left]
        step = sheet.step(step_id)
        drawing = svgs.get(step.picture or "")
        view = places_view(step, "up", items, state, drawing) if words else None
        if drawing and view:
            title = step.refit.title if step.refit else step.title
            found.append(LeftOver(number, step_id, title, tuple(words), drawing, view))
    return tuple(found)


def _taps(state: BenchState, key: str) -> Taps:
    return state.places.get(key, NONE)


def _count(items: Mapping[str, Item], state: BenchState, key: str, pieces: int) -> ItemCount:
    return state.items.get(key, ItemCount(baseline=items[key].baseline if key in items else pieces))


def _attribute(box: Box) -> str:
    return " ".join(f"{value:g}" for value in box)


def _view(placed: PlacedSpot, item: Item, count: ItemCount, taps: Taps, side: str) -> PlaceView:
    n, mark = placed.number, placed.mark
    on = n not in taps.of(side)
    if side == "up":
        can = not on or (mark != "back" and count.missing > 0)
        after: Mark = "back" if on else "struck" if item.reuse is ReuseClass.SINGLE_USE else "out"
    else:
        free = count.baseline - count.out - count.absent
        can = n not in taps.struck if not on else mark in ("open", "absent") and free > 0
        after = "open" if not on else "struck" if item.reuse is ReuseClass.SINGLE_USE else "out"
    name = f"Place {n} of {placed.of}, {placed.name}"
    if placed.label != str(n):
        name = f"{placed.label}: place {n} of {placed.of}, {placed.name}"
    return PlaceView(
        id=f"place-{placed.fixing}-{n}",
        item=item.key,
        number=n,
        label=placed.label,
        name=name,
        mark=mark,
        words=f"{name}, {WORDS[mark]}",
        on=on,
        can=can,
        after=after,
        after_words=f"{name}, {WORDS[after]}",
        spot=placed.spot,
    )
