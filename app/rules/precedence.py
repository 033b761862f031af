"""Precedence among steps: what comes before what, and whether a circle makes an order impossible.

All walks are iterative, so a procedure of 2,000 steps in one chain is as safe as one of twenty.
"""

from collections import deque
from collections.abc import Collection, Iterable, Mapping, Sequence

from app.rules.sheet import Step
from app.rules.verdict import Refused


def predecessors(steps: Iterable[Step]) -> dict[str, tuple[str, ...]]:
    """Map each step id to the known steps it names in ``after``, without repeats, in the author's order.

    References to steps that do not exist are left out: reporting them is the sheet check's work.
    """
    listed = tuple(steps)
    known = {step.id for step in listed}
    return {step.id: tuple(dict.fromkeys(name for name in step.after if name in known)) for step in listed}


def ancestors(steps: Iterable[Step], targets: Collection[str]) -> frozenset[str]:
    """Return every step that must come before any of the target steps, directly or through others.

    A target step itself is in the answer only when another target needs it. The steps a plan needs
    are therefore ``ancestors(steps, targets) | set(targets)``. Raises Refused for an unknown step.
    """
    return ancestors_in(predecessors(steps), targets)


def ancestors_in(before: Mapping[str, Sequence[str]], targets: Collection[str]) -> frozenset[str]:
    """Return what ``ancestors`` does, from ``predecessors`` that are known already."""
    found: set[str] = set()
    waiting: deque[str] = deque()
    for target in targets:
        if target not in before:
            raise Refused(f"There is no step “{target}” in this procedure.")
        waiting.append(target)
    while waiting:
        for name in before[waiting.popleft()]:
            if name not in found:
                found.add(name)
                waiting.append(name)
    return frozenset(found)


def cycles(before: Mapping[str, Sequence[str]], at_most: int = 20) -> tuple[tuple[str, ...], ...]:
    """Return circles of steps that wait for each other, each as ids in the order they would be done.

    Circles that share a step are reported one at a time, as mending the first usually mends the rest.
    The answer is empty exactly when an order exists; it stops at ``at_most`` circles. Method: Kahn,
    Topological sorting of large networks, CACM 5 (1962), then a walk against the arrows through what
    Kahn's method leaves over.
    """
    left = _leftover(before)
    place_in_sheet = {name: index for index, name in enumerate(before)}
    found: list[tuple[str, ...]] = []
    while left and len(found) < at_most:
        trail: list[str] = []
        place: dict[str, int] = {}
        here = next(name for name in before if name in left)
        while here not in place:
            place[here] = len(trail)
            trail.append(here)
            here = next(name for name in before[here] if name in left)
        circle = trail[place[here] :]
        circle.reverse()
        first = circle.index(min(circle, key=lambda name: place_in_sheet[name]))
        found.append(tuple(circle[first:] + circle[:first]))
        gone = set(circle)
        left = _leftover({name: [b for b in before[name] if b in left] for name in left if name not in gone})
    return tuple(found)


def _leftover(before: Mapping[str, Sequence[str]]) -> set[str]:
    """Take away, again and again, what waits for nothing; what stays is in a circle or behind one."""
    waits = {name: sum(1 for b in names if b in before) for name, names in before.items()}
    followers: dict[str, list[str]] = {name: [] for name in before}
    for name, names in before.items():
        for b in names:
            if b in followers:
                followers[b].append(name)
    ready = deque(name for name, count in waits.items() if count == 0)
    left = set(before)
    while ready:
        name = ready.popleft()
        left.discard(name)
        for follower in followers[name]:
            waits[follower] -= 1
            if waits[follower] == 0:
                ready.append(follower)
    return left
