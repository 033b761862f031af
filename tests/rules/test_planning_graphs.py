"""The planner on random procedures of up to 2,000 steps, against networkx. ``--long`` draws many and large ones."""

import random
from functools import lru_cache

import networkx as nx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from app.rules.planning import Plan, make_plan
from app.rules.precedence import ancestors, cycles, predecessors
from app.rules.sheet import Sheet, Step, Unit
from app.rules.verdict import Refused
from tests.rules.graphs import random_sheet

SHORT, LONG = 12, 300


@lru_cache(maxsize=8)
def graph_of(example: tuple[tuple[str, tuple[str, ...]], ...]) -> "nx.DiGraph[str]":
    graph: nx.DiGraph[str] = nx.DiGraph()
    for name, after in example:
        graph.add_node(name)
        graph.add_edges_from((before, name) for before in after)
    return graph


def agrees_with_networkx(example: Sheet, targets: list[str]) -> Plan:
    """Check a plan against an independent graph library; return it."""
    graph = graph_of(tuple((one.id, one.after) for one in example.steps))
    plan = make_plan(example, targets)
    goals = {one.frees: one.id for one in reversed(example.steps) if one.frees}
    reach = {unit: nx.ancestors(graph, goals[unit]) | {goals[unit]} for unit in plan.targets}
    needed = set().union(*reach.values())
    assert set(plan.teardown) == needed
    assert len(plan.teardown) == len(needed)
    assert set(plan.left_closed) == set(graph) - needed
    assert set(plan.targets) == set(targets)
    place = {name: n for n, name in enumerate(plan.teardown)}
    part = graph.subgraph(needed)
    assert all(place[before] < place[after] for before, after in part.edges)
    by_id = {one.id: one for one in example.steps}
    assert plan.refit == tuple(name for name in reversed(plan.teardown) if by_id[name].refit)
    assert all(plan.needed_by[name] == tuple(u for u in plan.targets if name in reach[u]) for name in plan.teardown)
    assert plan.teardown_s == sum(by_id[name].time_s for name in needed)
    goal = goals[plan.targets[0]]
    assert ancestors(example.steps, [goal]) == frozenset(nx.ancestors(graph, goal))
    return plan


def check(seed: int, steps: int, wide: int, count: int) -> None:
    chance = random.Random(seed)
    example = random_sheet(chance, steps, wide)
    units = [one.id for one in example.units]
    agrees_with_networkx(example, chance.sample(units, min(count, len(units))))


@settings(max_examples=SHORT, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2**32), st.integers(1, 2000), st.integers(1, 6), st.integers(1, 5))
def test_plans_of_random_graphs_agree_with_networkx(seed: int, steps: int, wide: int, count: int) -> None:
    check(seed, steps, wide, count)


def test_many_large_random_graphs_agree_with_networkx(pytestconfig: pytest.Config) -> None:
    """One large graph in the short profile; with ``--long`` some hundred, half of them of the full 2,000 steps."""
    if not pytestconfig.getoption("--long"):
        check(11, 2000, 4, 5)
        return
    chance = random.Random(5)
    for run in range(LONG):
        steps = 2000 if run % 2 else chance.randint(1, 2000)
        check(chance.randrange(2**32), steps, chance.randint(1, 8), chance.randint(1, 8))


@settings(max_examples=SHORT, suppress_health_check=[HealthCheck.too_slow])
@given(st.integers(0, 2**32), st.integers(3, 2000))
def test_a_circle_in_a_random_graph_is_found_and_refused(seed: int, steps: int) -> None:
    chance = random.Random(seed)
    example = random_sheet(chance, steps, 3)
    listed = list(example.steps)
    graph = graph_of(tuple((one.id, one.after) for one in listed))
    start = chance.choice(listed)
    below = sorted(nx.descendants(graph, start.id)) or [start.id]
    closes = chance.choice(below)
    turned = [one.model_copy(update={"after": (*one.after, closes)}) if one is start else one for one in listed]
    circles = cycles(predecessors(turned))
    assert circles
    bad = graph.copy()
    bad.add_edge(closes, start.id)
    for circle in circles:
        assert all(bad.has_edge(a, b) for a, b in zip(circle, (*circle[1:], circle[0]), strict=True))
    with pytest.raises(Refused, match=r"wait for each other|“"):
        make_plan(example.model_copy(update={"steps": tuple(turned)}), [example.units[0].id])
    assert not cycles(predecessors(listed))


def test_the_graphs_are_what_they_say() -> None:
    example = random_sheet(random.Random(3), 2000, 4)
    assert len(example.steps) == 2000
    assert all(isinstance(one, Step) for one in example.steps)
    assert all(isinstance(one, Unit) for one in example.units)
    assert len({one.frees for one in example.steps if one.frees}) == len(example.units)
