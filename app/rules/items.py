"""The items of a job: what a step takes out or fits, how much of it is where, and what an entry changes of that.

Items are named ``step/fixing``, ``step/unit:name`` and ``step/fit:n`` (n from 0).
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields

from app.rules.sheet import ReuseClass, Sheet, Step, WasteStream
from app.rules.verdict import Refused

Effect = Mapping[str, Mapping[str, int]]


@dataclass(frozen=True, slots=True)
class ItemCount:
    """Counts of one item, in pieces.

    ``baseline`` belongs in the device, ``absent`` was missing on arrival, ``out`` came out, ``planned`` and
    ``damaged`` were scrapped, ``refitted`` originals went back, ``new`` ones went in, ``spoiled`` new ones
    were spoilt in fitting, ``lost`` cannot be found.
    """

    baseline: int = 0
    absent: int = 0
    out: int = 0
    planned: int = 0
    damaged: int = 0
    refitted: int = 0
    new: int = 0
    spoiled: int = 0
    lost: int = 0

    @property
    def scrapped(self) -> int:
        """Originals scrapped, planned or damaged."""
        return self.planned + self.damaged

    @property
    def waiting(self) -> int:
        """Originals that are out, usable and not back yet."""
        return self.out - self.scrapped - self.refitted - self.lost

    @property
    def missing(self) -> int:
        """Places in the device that are still empty at the end."""
        return self.baseline - self.refitted - self.new

    def fault(self) -> str | None:
        """Return what is impossible about these counts, or None."""
        if min(getattr(self, name) for name in FIELDS) < 0:
            return "a count would fall below zero"
        if self.out + self.absent > self.baseline:
            return "more would be out than belongs in the device"
        if self.scrapped + self.refitted + self.lost > self.out:
            return "more would be accounted for than came out"
        if self.refitted + self.new > self.baseline:
            return "more would be fitted than there are places"
        return None


FIELDS = tuple(f.name for f in fields(ItemCount))


@dataclass(frozen=True, slots=True)
class Item:
    """What an item is: where it comes from and how it counts; ``places`` are numbered on the drawing, 0 for none."""

    key: str
    step: str
    name: str
    kind: str
    baseline: int
    reuse: ReuseClass
    part: str | None
    waste: WasteStream
    target: bool = False
    places: int = 0


def items_of(sheet: Sheet, steps: Iterable[str], targets: Iterable[str]) -> dict[str, Item]:
    """Return the items that the given steps take out or fit, in step order, by key."""
    wanted = set(targets)
    chosen = set(steps)
    found: dict[str, Item] = {}
    for step in sheet.steps:
        if step.id in chosen:
            for item in _items_of_step(sheet, step, wanted):
                found[item.key] = item
    return found


def _items_of_step(sheet: Sheet, step: Step, targets: set[str]) -> list[Item]:
    found = [
        Item(
            key=f"{step.id}/{f.id}",
            step=step.id,
            name=f.name,
            kind=f.kind.value,
            baseline=f.count,
            reuse=f.reuse,
            part=f.part or _part_from_inspection(step, f.id),
            waste=f.waste,
            places=len(f.places),
        )
        for f in step.releases
    ]
    if step.frees:
        unit = next(u for u in sheet.units if u.id == step.frees)
        found.append(
            Item(
                key=f"{step.id}/unit:{unit.id}",
                step=step.id,
                name=unit.name,
                kind="unit",
                baseline=1,
                reuse=ReuseClass.SINGLE_USE if unit.id in targets else ReuseClass.REUSABLE,
                part=unit.part,
                waste=unit.waste,
                target=unit.id in targets,
            )
        )
    if step.refit:
        found += [
            Item(
                key=f"{step.id}/fit:{n}",
                step=step.id,
                name=fit.name,
                kind="fit",
                baseline=fit.count,
                reuse=ReuseClass.SINGLE_USE,
                part=fit.part,
                waste=WasteStream.RESIDUAL,
            )
            for n, fit in enumerate(step.refit.fits)
        ]
    return found


def _part_from_inspection(step: Step, fixing: str) -> str | None:
    for inspection in (*step.inspect, *(step.refit.inspect if step.refit else ())):
        if inspection.of == fixing and inspection.on_reject.add:
            return inspection.on_reject.add[0].part
    return None


def turned_sign(effect: Effect) -> dict[str, dict[str, int]]:
    """Return the effect that takes ``effect`` back."""
    return {key: {name: -n for name, n in change.items()} for key, change in effect.items()}


def with_effect(items: Mapping[str, ItemCount], effect: Effect) -> dict[str, ItemCount]:
    """Add an effect to the counts; Refused when the outcome is impossible."""
    found = dict(items)
    for key, change in effect.items():
        if key not in found:
            raise Refused(f"{key} is not part of this job's plan.")
        before = found[key]
        count = ItemCount(*(getattr(before, name) + change.get(name, 0) for name in FIELDS))
        fault = count.fault()
        if fault:
            raise Refused(f"That does not add up: {fault}. Check what was counted, or take the last entry back first.")
        found[key] = count
    return found
