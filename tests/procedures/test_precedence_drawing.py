"""The drawn precedence: layers, needed arrows, one box a step, nothing over another."""

import re
from xml.etree.ElementTree import fromstring

import networkx as nx
from hypothesis import given, settings
from hypothesis import strategies as st

from app.procedures import precedence_drawing as drawing
from app.procedures.document import read_sheet
from tests.procedures.examples import PARTS, SHEET
from tests.rules.sheets import sheet, step, unit


def _random(pairs: list[tuple[int, int]], count: int):  # type: ignore[no-untyped-def]
    after: dict[int, set[str]] = {n: set() for n in range(count)}
    for a, b in pairs:
        low, high = sorted((a % count, b % count))
        if low != high:
            after[high].add(f"s{low}")
    steps = [step(f"s{n}", *sorted(after[n])) for n in range(count)]
    steps[-1]["frees"] = "u"
    return sheet(steps, [unit("u")])


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 39), st.integers(0, 39)), max_size=90), st.integers(min_value=1, max_value=40))
def test_any_precedence_is_drawn_without_one_box_over_another(pairs: list[tuple[int, int]], count: int) -> None:
    one = _random(pairs, count)
    root = fromstring(drawing.draw(one))
    boxes = [(float(r.get("x", 0)), float(r.get("y", 0))) for r in root.iter("{http://www.w3.org/2000/svg}rect")]
    assert len(boxes) == count
    for n, (x, y) in enumerate(boxes):
        for other_x, other_y in boxes[n + 1 :]:
            assert y != other_y or abs(x - other_x) >= drawing.NODE_W
    width, height = (float(v) for v in str(root.get("viewBox")).split()[2:])
    assert all(0 <= x <= width - drawing.NODE_W and 0 <= y <= height - drawing.NODE_H for x, y in boxes)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 24), st.integers(0, 24)), max_size=60), st.integers(min_value=1, max_value=25))
def test_arrows_and_layers_agree_with_networkx(pairs: list[tuple[int, int]], count: int) -> None:
    one = _random(pairs, count)
    graph = nx.DiGraph()
    graph.add_nodes_from(s.id for s in one.steps)
    graph.add_edges_from((b, s.id) for s in one.steps for b in s.after)
    assert set(drawing.needed_arrows(one.steps)) == set(nx.transitive_reduction(graph).edges)
    layers = {name: n for n, names in enumerate(nx.topological_generations(graph)) for name in names}
    assert drawing.depths(one.steps) == layers
    rows = drawing.rows_of(one.steps)
    assert all(rows[b] < rows[s.id] for s in one.steps for b in s.after)


def test_it_has_a_title_a_description_and_no_markup_from_the_sheet() -> None:
    one = read_sheet("x", SHEET.replace("title: Take off the lid", "title: Lid <b> & more"), PARTS)
    svg = drawing.draw(one)
    assert "<b>" not in svg
    assert svg.index("<title>Precedence of Test radio") < svg.index("<desc>2 steps in 2 rows")
    assert re.search(r'class="node frees"', svg)


def test_the_table_says_the_same() -> None:
    rows = drawing.table(read_sheet("x", SHEET, PARTS))
    assert [(r.number, r.depth, r.needs, r.frees) for r in rows] == [(1, 1, (), None), (2, 2, (1,), "Board")]
