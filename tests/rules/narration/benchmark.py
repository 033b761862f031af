"""How well narrations are read: precision and recall against gold annotations made by hand.

Run ``python -m tests.rules.narration.benchmark``. ``--misses`` names what was missed in the building part, ``--bare``
takes all punctuation and capitals out before and cuts the captions anywhere. Each narration under ``spoken`` has a
gold file: ``building`` ones are for tuning; ``held`` and ``aside`` ones were kept out of it, and only sums are printed
for them. The ``aside`` ones were written, with their gold, before the reader saw them.

How the gold is set: a step is one act on one thing, told in a sentence of its own or after a word of order (then,
next, after that); “undo two screws and lift the plate” is one step. A sentence that shows what is undone (“there are
two screws here”) begins its step; checks, cautions and scrapping belong to the step before them; “the board comes
away” belongs to the step that freed it unless a word of order leads it in. A cover that comes off is a fixing with
count 1; what only folds open is none. Chatter before the first act is no step.
"""

import random
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from app.rules.narration import Draft, draft_from, read_source
from app.rules.narration.captions import Cue, joined
from app.rules.narration.shapes import DraftStep, Source, SourceKind, Words
from app.rules.sheet import ReuseClass

HALVES = ("building", "held", "aside")
SPOKEN = Path(__file__).parent / "spoken"
MEASURES = ("counts", "scrapped", "drivers", "tools", "cautions", "inspections", "boundaries", "frees")
NEAR = 12
"""Words by which the place of an item may differ from the gold one: “all four” stands for a thing named before."""
LEAD = 4
"""Words by which the beginning of a step may differ: “and then you can …”."""
_NUMBERED = re.compile(r"^\d+\. \w", re.MULTILINE)
"""Notes with numbers before the lines are not speech."""
WORD = re.compile(r"[^\W_]+(?:['’][^\W_]+)*")


@dataclass
class Tally:
    """Right, wrong and missed items of one measure."""

    right: int = 0
    wrong: int = 0
    missed: int = 0
    notes: list[str] = field(default_factory=list)

    @property
    def precision(self) -> float:
        return self.right / (self.right + self.wrong) if self.right + self.wrong else 1.0

    @property
    def recall(self) -> float:
        return self.right / (self.right + self.missed) if self.right + self.missed else 1.0


Item = tuple[int, Any, str]
"""Place in words of the source, what must agree, and how it reads."""


def gold_files(half: str) -> Iterator[tuple[Path, dict[str, Any]]]:
    """Yield the narrations of one half with their gold."""
    for path in sorted(SPOKEN.glob("*.gold.yaml")):
        gold = yaml.safe_load(path.read_text(encoding="utf-8"))
        if gold["half"] == half:
            yield next(p for p in SPOKEN.glob(path.name.removesuffix(".gold.yaml") + ".*") if p != path), gold


def _gold_items(gold: dict[str, Any]) -> dict[str, list[Item]]:
    items: dict[str, list[Item]] = {measure: [] for measure in MEASURES}
    for step in gold["steps"]:
        items["boundaries"].append((step["at"], None, step["begins"]))
        for fixing in step.get("fixings", ()):
            items["counts"].append((fixing["at"], (fixing["kind"], fixing["count"]), fixing["words"]))
            if fixing.get("scrap"):
                items["scrapped"].append((fixing["at"], fixing["kind"], fixing["words"]))
        for driver in step.get("drivers", ()):
            items["drivers"].append((driver["at"], driver["code"], driver["words"]))
        for measure in ("tools", "cautions", "inspections", "frees"):
            items[measure] += [(item["at"], None, item["words"]) for item in step.get(measure, ())]
    return items


def _draft_items(draft: Draft) -> dict[str, list[Item]]:
    starts = [match.start() for match in WORD.finditer(draft.source.text)]
    number = {start: index for index, start in enumerate(starts)}

    def at(words: Words) -> int:
        return next((number[k] for k in range(words.start, words.end) if k in number), 0)

    items: dict[str, list[Item]] = {measure: [] for measure in MEASURES}
    for step in draft.steps:
        items["boundaries"].append((at(step.words), None, step.text[:60]))
        for fixing in step.fixings:
            items["counts"].append((at(fixing.words), (fixing.kind.value, fixing.count), fixing.words.text))
            if fixing.reuse is ReuseClass.SINGLE_USE:
                items["scrapped"].append((at(fixing.words), fixing.kind.value, fixing.words.text))
        _plain_items(step, items, at)
    return items


def _plain_items(step: DraftStep, items: dict[str, list[Item]], at: Any) -> None:
    items["drivers"] += [(at(tool.words), tool.size, tool.words.text) for tool in step.drivers]
    items["tools"] += [(at(tool.words), None, tool.words.text) for tool in step.tools]
    items["cautions"] += [(at(note.words), None, note.words.text) for note in step.cautions]
    items["inspections"] += [(at(note.words), None, note.words.text) for note in step.inspections]
    items["frees"] += [(at(unit.words), None, unit.words.text) for unit in step.frees]


def compare(name: str, gold: list[Item], found: list[Item], near: int, tally: Tally) -> None:
    """Match items that agree, nearest first, each once."""
    pairs = sorted(
        (abs(g[0] - f[0]), i, j)
        for i, g in enumerate(gold)
        for j, f in enumerate(found)
        if g[1] == f[1] and abs(g[0] - f[0]) <= near
    )
    left, right = set(range(len(gold))), set(range(len(found)))
    for _, i, j in pairs:
        if i in left and j in right:
            left.discard(i)
            right.discard(j)
            tally.right += 1
    tally.missed += len(left)
    tally.wrong += len(right)
    tally.notes += [f"{name}: missed {gold[i][1:]} at {gold[i][0]}" for i in sorted(left)]
    tally.notes += [f"{name}: wrong {found[j][1:]} at {found[j][0]}" for j in sorted(right)]


def unmarked(source: Source, seed: int = 7) -> Source:
    """Return the same words as captions without punctuation or capitals, cut anywhere."""
    words = WORD.findall(source.text.casefold())
    draw, cues, at = random.Random(seed), [], 0
    while at < len(words):
        size = draw.randint(3, 9)
        cues.append(Cue(at * 0.4, (at + size) * 0.4, " ".join(words[at : at + size])))
        at += size
    return joined(source.name, SourceKind.WEBVTT, cues, ())


def measure(half: str, bare: bool = False) -> dict[str, Tally]:
    """Return the tally of every measure over one half; ``bare`` takes every mark of punctuation out before."""
    tallies = {name: Tally() for name in MEASURES}
    for path, gold in gold_files(half):
        source = read_source(path.name, path.read_bytes())
        if bare and _NUMBERED.search(source.text):
            continue
        draft = draft_from(unmarked(source) if bare else source)
        wanted, found = _gold_items(gold), _draft_items(draft)
        for name in MEASURES:
            near = LEAD if name == "boundaries" else NEAR
            compare(path.stem, wanted[name], found[name], near, tallies[name])
    return tallies


def overall(tallies: dict[str, Tally]) -> Tally:
    """Return the sum of all measures."""
    return Tally(*(sum(getattr(tally, part) for tally in tallies.values()) for part in ("right", "wrong", "missed")))


def main() -> None:
    """Print both halves."""
    halves = ["building"] if "--building" in sys.argv else list(HALVES)
    bare = "--bare" in sys.argv
    for half in halves:
        tallies = measure(half, bare)
        print(f"{half}: {len(list(gold_files(half)))} narrations{', without punctuation' if bare else ''}")
        for name, tally in [*tallies.items(), ("all", overall(tallies))]:
            print(
                f"  {name:12} precision {tally.precision:.3f}  recall {tally.recall:.3f}  "
                f"right {tally.right:3} wrong {tally.wrong:3} missed {tally.missed:3}"
            )
        if "--misses" in sys.argv and half == "building":
            print("\n".join(note for name, tally in tallies.items() for note in (f"-- {name}", *tally.notes)))


if __name__ == "__main__":
    main()
