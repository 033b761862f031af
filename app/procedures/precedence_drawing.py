"""The precedence among a procedure's steps as a drawing: layers by depth, arrows only where an order is needed.

Layering is by the longest way from a step without predecessors; a layer too wide for the page goes on in the next
row. Needs that follow from others are left out
(transitive reduction). An arrow over several layers bends at a place kept free for it in each. The order inside
a layer is improved by the barycentre method (Sugiyama, Tagawa and Toda, IEEE Trans. SMC 11, 1981).
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from html import escape

from app.rules.precedence import ancestors, predecessors
from app.rules.sheet import Sheet, Step

NODE_W, NODE_H = 170.0, 44.0
GAP_X, GAP_Y = 14.0, 30.0
BEND_W = 8.0
MARGIN = 8.0
_SWEEPS = 12
_SETTLE_SWEEPS = 9
_MOST_IN_ROW = 5
_LINE = 20

Node = str | tuple[str, str, int]
"""A step by its id, or the bend of an arrow (from, to, layer)."""


@dataclass(frozen=True)
class PrecedenceRow:
    """One step in the table beside the drawing; ``needs`` are step numbers."""

    number: int
    id: str
    title: str
    depth: int
    needs: tuple[int, ...]
    frees: str | None


def depths(steps: Sequence[Step]) -> dict[str, int]:
    """Map each step to its layer: 0 without predecessors, else one more than its deepest predecessor."""
    before = predecessors(steps)
    found: dict[str, int] = {}
    stack = [step.id for step in reversed(steps)]
    while stack:
        name = stack[-1]
        waiting = [b for b in before[name] if b not in found]
        if waiting:
            stack.extend(waiting)
            continue
        stack.pop()
        found[name] = max((found[b] + 1 for b in before[name]), default=0)
    return found


def rows_of(steps: Sequence[Step]) -> dict[str, int]:
    """Map each step to its row in the drawing: its layer, or a later one where a row is full.

    List scheduling with at most ``_MOST_IN_ROW`` steps in a row, shallow steps first.
    """
    before = predecessors(steps)
    depth = depths(steps)
    taken: dict[int, int] = {}
    found: dict[str, int] = {}
    for step in sorted(steps, key=lambda one: depth[one.id]):
        row = max((found[b] + 1 for b in before[step.id]), default=0)
        while taken.get(row, 0) >= _MOST_IN_ROW:
            row += 1
        taken[row] = taken.get(row, 0) + 1
        found[step.id] = row
    return found


def needed_arrows(steps: Sequence[Step]) -> tuple[tuple[str, str], ...]:
    """Return (before, after) pairs without those that follow from the others."""
    before = predecessors(steps)
    arrows = []
    for step in steps:
        names = before[step.id]
        implied = ancestors(steps, names) if len(names) > 1 else frozenset()
        arrows += [(name, step.id) for name in names if name not in implied]
    return tuple(arrows)


def table(sheet: Sheet) -> tuple[PrecedenceRow, ...]:
    """Return the same as rows, in the author's order."""
    number = {step.id: n for n, step in enumerate(sheet.steps, 1)}
    depth = depths(sheet.steps)
    units = {unit.id: unit.name for unit in sheet.units}
    return tuple(
        PrecedenceRow(
            number[step.id],
            step.id,
            step.title,
            depth[step.id] + 1,
            tuple(number[b] for b in step.after if b in number),
            units.get(step.frees) if step.frees else None,
        )
        for step in sheet.steps
    )


def draw(sheet: Sheet) -> str:
    """Return the drawing as SVG text with title and description; its look is in the style sheet."""
    steps = sheet.steps
    depth = rows_of(steps)
    arrows = needed_arrows(steps)
    layers, links = _with_bends(steps, depth, arrows)
    _order(layers, links)
    x = _places(layers, links)
    width = max(x[node] + _width(node) / 2 for layer in layers for node in layer) + MARGIN
    height = len(layers) * (NODE_H + GAP_Y) - GAP_Y + 2 * MARGIN
    drawn = [_arrow(one, depth, x) for one in arrows]
    number = {step.id: n for n, step in enumerate(steps, 1)}
    drawn += [_node(step, number[step.id], x[step.id], _y(depth[step.id])) for step in steps]
    said = (
        f"{len(steps)} steps in {len(layers)} rows. A step may be done when all steps with an arrow to it are "
        "done. The table below says the same."
    )
    return (
        f'<svg class="precedence" role="img" xmlns="http://www.w3.org/2000/svg" '
        f'width="{width:.0f}" height="{height:.0f}" viewBox="0 0 {width:.0f} {height:.0f}">'
        f"<title>Precedence of {escape(sheet.title)}</title><desc>{escape(said)}</desc>{''.join(drawn)}</svg>"
    )


def _width(node: Node) -> float:
    return NODE_W if isinstance(node, str) else BEND_W


def _y(layer: int) -> float:
    return MARGIN + layer * (NODE_H + GAP_Y)


def _with_bends(
    steps: Sequence[Step], depth: Mapping[str, int], arrows: Sequence[tuple[str, str]]
) -> tuple[list[list[Node]], dict[Node, list[Node]]]:
    """Return the layers with a bend wherever an arrow passes a layer, and the neighbours of every node."""
    layers: list[list[Node]] = [[] for _ in range(max(depth.values()) + 1)]
    for step in steps:
        layers[depth[step.id]].append(step.id)
    links: dict[Node, list[Node]] = {step.id: [] for step in steps}
    for start, end in arrows:
        here: Node = start
        for layer in range(depth[start] + 1, depth[end] + 1):
            there: Node = end if layer == depth[end] else (start, end, layer)
            if not isinstance(there, str):
                layers[layer].append(there)
                links[there] = []
            links[here].append(there)
            links[there].append(here)
            here = there
    return layers, links


def _order(layers: list[list[Node]], links: Mapping[Node, Sequence[Node]]) -> None:
    """Sort each layer by the mean place of its neighbours in the layer above, then below, some times over."""
    for sweep in range(_SWEEPS):
        order = range(1, len(layers)) if sweep % 2 == 0 else range(len(layers) - 2, -1, -1)
        for n in order:
            beside = layers[n - 1] if sweep % 2 == 0 else layers[n + 1]
            place = {node: index for index, node in enumerate(beside)}
            here = {node: index for index, node in enumerate(layers[n])}

            def mean(node: Node, place: dict[Node, int] = place, here: dict[Node, int] = here) -> float:
                near = [place[other] for other in links[node] if other in place]
                return sum(near) / len(near) if near else float(here[node])

            layers[n].sort(key=mean)


def _places(layers: Sequence[Sequence[Node]], links: Mapping[Node, Sequence[Node]]) -> dict[Node, float]:
    """Return the middle of every node: near its neighbours, never over the next one in its layer."""
    x: dict[Node, float] = {}
    for layer in layers:
        edge = 0.0
        for node in layer:
            x[node] = edge + _width(node) / 2
            edge += _width(node) + GAP_X
    row = {node: index for index, layer in enumerate(layers) for node in layer}
    for sweep in range(_SETTLE_SWEEPS):
        # The last sweep goes down, so that a chain of single steps hangs straight.
        down = sweep % 2 == 0
        for layer in layers if down else reversed(layers):
            wish = dict(x)
            for node in layer:
                near = [x[other] for other in links[node] if (row[other] < row[node]) == down]
                wish[node] = sum(near) / len(near) if near else x[node]
            _settle(layer, wish, x)
    left = min(x[node] - _width(node) / 2 for layer in layers for node in layer)
    return {node: at - left + MARGIN for node, at in x.items()}


def _settle(layer: Sequence[Node], wish: Mapping[Node, float], x: dict[Node, float]) -> None:
    """Put a layer's nodes at their wished places as far as they keep their order and distance.

    Neighbours that would overlap move as one block to the mean of their wishes (pool adjacent violators).
    """
    blocks: list[tuple[float, int, list[Node]]] = []
    offset: dict[Node, float] = {}
    edge = 0.0
    for node in layer:
        offset[node] = edge + _width(node) / 2
        edge += _width(node) + GAP_X
        total, count, nodes = wish[node] - offset[node], 1, [node]
        while blocks and blocks[-1][0] / blocks[-1][1] > total / count:
            other, many, earlier = blocks.pop()
            total, count, nodes = total + other, count + many, earlier + nodes
        blocks.append((total, count, nodes))
    for total, count, nodes in blocks:
        for node in nodes:
            x[node] = total / count + offset[node]


def _arrow(arrow: tuple[str, str], depth: Mapping[str, int], x: Mapping[Node, float]) -> str:
    start, end = arrow
    first, last = depth[start], depth[end]
    at = x[start]
    path = [f"M{at:.1f} {_y(first) + NODE_H:.1f}"]
    for layer in range(first + 1, last + 1):
        node: Node = end if layer == last else (start, end, layer)
        to, top, bottom = x[node], _y(layer), _y(layer - 1) + NODE_H
        middle = (top + bottom) / 2
        path.append(f"C{at:.1f} {middle:.1f} {to:.1f} {middle:.1f} {to:.1f} {top - (5 if layer == last else 0):.1f}")
        if layer != last:
            path.append(f"V{top + NODE_H:.1f}")
        at = to
    tip = _y(last)
    head = f"M{at - 4.5:.1f} {tip - 8:.1f}L{at:.1f} {tip - 1:.1f}L{at + 4.5:.1f} {tip - 8:.1f}Z"
    return f'<path class="need" d="{"".join(path)}"/><path class="need-head" d="{head}"/>'


def _node(step: Step, number: int, x: float, y: float) -> str:
    left = x - NODE_W / 2
    kind = "node frees" if step.frees else "node"
    lines = _wrapped(step.title)
    first = y + NODE_H / 2 + (5 if len(lines) == 1 else -3)
    words = "".join(
        f'<text x="{left + 40:.1f}" y="{first + 16 * n:.1f}">{escape(line)}</text>' for n, line in enumerate(lines)
    )
    return (
        f'<g class="{kind}">'
        f'<rect x="{left:.1f}" y="{y:.1f}" width="{NODE_W:.0f}" height="{NODE_H:.0f}" rx="5"/>'
        f'<text class="node-no" x="{left + 19:.1f}" y="{y + NODE_H / 2 + 5:.1f}">{number}</text>{words}</g>'
    )


def _wrapped(title: str) -> list[str]:
    """Break a title into at most two lines; what is too long ends in an ellipsis."""
    lines = [""]
    for word in title.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > _LINE:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    if len(lines) > 2:
        lines = [lines[0], f"{lines[1][: _LINE - 1].rstrip()}…"]
    return [line if len(line) <= _LINE + 2 else f"{line[:_LINE]}…" for line in lines]
