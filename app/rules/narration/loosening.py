"""Where the narrated order may be looser: a step that has nothing to do with the one before it."""

import re
from dataclasses import replace
from typing import Final

from app.rules.narration.shapes import DraftStep, Verb
from app.rules.narration.wordlist import words

_WORD: Final = re.compile(r"[^\W\d_]{3,}")
_COMMON: Final = words(
    "the and with from that this then now next out off two three four five six screws screw clips clip "
    "driver undo take lift remove unplug check make sure under over along left right upper lower one each "
    "you can them they all"
)


def loosened(steps: tuple[DraftStep, ...]) -> tuple[DraftStep, ...]:
    """Return the steps, with a reason where one may not need the step before; the order itself stays as narrated."""
    done: list[DraftStep] = []
    for step in steps:
        reason = _reason(done[-1], step) if done else None
        done.append(replace(step, loosen=reason) if reason else step)
    return tuple(done)


def _reason(before: DraftStep, step: DraftStep) -> str | None:
    # What is opened, levered or lifted uncovers what follows; nothing can be said against that order.
    if before.verb in {Verb.OPEN, Verb.LEVER, Verb.LIFT_OUT, Verb.INSPECT, Verb.APPLY} or step.verb in {
        Verb.LIFT_OUT,
        Verb.OPEN,
        Verb.LEVER,
    }:
        return None
    if _things(before) & _things(step):
        return None
    return f"It shares no item, unit or place with “{before.title}”, so it may not need that step first."


def _things(step: DraftStep) -> frozenset[str]:
    said = [step.title, *(fixing.name for fixing in step.fixings), *(unit.name for unit in step.frees)]
    said += [fixing.place for fixing in step.fixings if fixing.place]
    return frozenset(word.casefold().removesuffix("s") for text in said for word in _WORD.findall(text)) - _COMMON
