"""The planner, against networkx, a published example, and properties that must always hold."""

from collections import Counter

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.planning import KitUse, Plan, Pocket, ancestors, make_plan
from app.rules.sheet import ReuseClass, Sheet
from app.rules.verdict import Refused
from tests.rules.sheets import fixing, sheet, step, unit

# Assembly-line example in Guéret, Prins & Sevaux, Applications of optimization with Xpress-MP.
DURATIONS = {1: 3, 2: 6, 3: 7, 4: 6, 5: 4, 6: 8, 7: 9, 8: 11, 9: 2, 10: 13, 11: 4, 12: 3}
BEFORE: dict[int, tuple[int, ...]] = {
    2: (1,),
    3: (1,),
    4: (2,),
    5: (2,),
    6: (2, 3),
    7: (3,),
    8: (6,),
    9: (4, 5, 8),
    10: (8, 11),
    11: (7,),
    12: (9, 10),
}


def published_example() -> Sheet:
    steps = [
        step(
            f"s{n}",
            *(f"s{b}" for b in BEFORE.get(n, ())),
            time_s=seconds,
            frees=f"u{n}" if n in (9, 10, 12) else None,
        )
        for n, seconds in DURATIONS.items()
    ]
    return sheet(steps, [unit("u9"), unit("u10"), unit("u12")])


def names(*numbers: int) -> frozenset[str]:
    return frozenset(f"s{n}" for n in numbers)


def graph_of(example: Sheet) -> "nx.DiGraph[str]":
    graph: nx.DiGraph[str] = nx.DiGraph()
    for one in example.steps:
        graph.add_node(one.id)
        graph.add_edges_from((before, one.id) for before in one.after)
    return graph


def test_the_published_example_takes_76_for_everything() -> None:
    plan = make_plan(published_example(), ["u12"])
    assert plan.teardown_s == 76
    assert len(plan.teardown) == 12
    assert plan.left_closed == ()


def test_the_published_example_has_the_published_ancestors() -> None:
    steps = published_example().steps
    assert ancestors(steps, ["s9"]) == names(1, 2, 3, 4, 5, 6, 8)
    assert ancestors(steps, ["s10"]) == names(1, 2, 3, 6, 7, 8, 11)


def test_selective_work_of_the_published_example_is_47() -> None:
    plan = make_plan(published_example(), ["u9"])
    assert plan.teardown_s == 47
    assert frozenset(plan.left_closed) == names(7, 10, 11, 12)


def test_our_precedence_reads_as_the_published_graph_with_its_critical_path_and_orders() -> None:
    graph = graph_of(published_example())
    weighted: nx.DiGraph[str] = nx.DiGraph()
    for before, after in graph.edges:
        weighted.add_edge(before, after, weight=DURATIONS[int(before[1:])])
    assert nx.dag_longest_path_length(weighted) + DURATIONS[12] == 45
    assert sum(1 for _ in nx.all_topological_sorts(graph)) == 1396


def test_a_target_counts_as_an_ancestor_only_when_another_target_needs_it() -> None:
    steps = published_example().steps
    assert "s9" not in ancestors(steps, ["s9"])
    assert "s9" in ancestors(steps, ["s9", "s12"])


def test_it_keeps_the_authors_order_when_nothing_speaks_against_it() -> None:
    example = sheet([step("a"), step("c"), step("b", "a"), step("d", "b", "c", frees="cell")], [unit("cell")])
    assert make_plan(example, ["cell"]).teardown == ("a", "c", "b", "d")


def test_it_stays_with_the_tools_in_hand_when_the_next_step_would_change_them() -> None:
    tools = [{"id": "driver", "name": "Driver"}, {"id": "pick", "name": "Pick"}]
    example = sheet(
        [
            step("a", tools=["driver"]),
            step("b", tools=["pick"]),
            step("hands"),
            step("c", tools=["driver"]),
            step("d", "a", "b", "c", "hands", frees="cell"),
        ],
        [unit("cell")],
        tools=tools,
    )
    assert make_plan(example, ["cell"]).teardown == ("a", "c", "b", "hands", "d")


def test_it_does_not_take_an_unneeded_step_for_the_sake_of_tools() -> None:
    tools = [{"id": "driver", "name": "Driver"}, {"id": "pick", "name": "Pick"}]
    example = sheet(
        [
            step("a", tools=["driver"]),
            step("b", "a", tools=["pick"], frees="cell"),
            step("c", tools=["driver"]),
        ],
        [unit("cell")],
        tools=tools,
    )
    plan = make_plan(example, ["cell"])
    assert plan.teardown == ("a", "b")
    assert plan.left_closed == ("c",)


def kit_example() -> Sheet:
    return sheet(
        [
            step("look", refit=False),
            step(
                "back",
                "look",
                releases=[
                    fixing("long", 4),
                    fixing("patch", 2, reuse="single-use", part="SC-01"),
                    fixing("clip", 6, kind="clip"),
                ],
                refit={"press_s": 20, "cure_s": 900, "fits": [{"part": "WIPE", "name": "Wipe", "count": 1}]},
            ),
            step(
                "cell",
                "back",
                frees="cell",
                releases=[fixing("lid", 1, kind="shield", reuse="inspect")],
                refit={"fits": [{"part": "WIPE", "name": "Wipe", "count": 2}]},
            ),
            step("board", "cell", frees="board", releases=[fixing("short", 3)]),
        ],
        [unit("cell", "CELL-9"), unit("board")],
    )


def test_the_kit_holds_single_use_fixings_refit_parts_and_the_target_only() -> None:
    plan = make_plan(kit_example(), ["cell"])
    assert [(line.part, line.count) for line in plan.kit] == [("SC-01", 2), ("WIPE", 3), ("CELL-9", 1)]
    assert plan.kit[1].uses == (KitUse("back", "fit:0", 1), KitUse("cell", "fit:0", 2))
    assert plan.kit[2].uses[0].key == "cell/unit:cell"


def test_a_unit_taken_out_only_to_reach_another_goes_back_and_is_not_kitted() -> None:
    plan = make_plan(kit_example(), ["board"])
    assert [line.part for line in plan.kit] == ["SC-01", "WIPE", "BOARD"]


def test_loose_reusable_pieces_get_pockets_in_teardown_order() -> None:
    plan = make_plan(kit_example(), ["board"])
    assert plan.pockets == (
        Pocket(1, "back", "long", 4),
        Pocket(2, "cell", "lid", 1),
        Pocket(3, "board", "short", 3),
    )


def test_pressing_is_hands_on_time_and_curing_is_waiting() -> None:
    plan = make_plan(kit_example(), ["cell"])
    assert (plan.teardown_s, plan.refit_s, plan.wait_s) == (30, 10 + 20 + 10, 900)


def test_the_refit_leaves_out_steps_that_have_none() -> None:
    assert make_plan(kit_example(), ["cell"]).refit == ("cell", "back")


def test_each_step_knows_the_targets_that_need_it() -> None:
    plan = make_plan(kit_example(), ["board", "cell"])
    assert plan.targets == ("cell", "board")
    assert dict(plan.needed_by) == {
        "look": ("cell", "board"),
        "back": ("cell", "board"),
        "cell": ("cell", "board"),
        "board": ("board",),
    }


@pytest.mark.parametrize(
    ("targets", "words"),
    [([], "at least one unit"), (["lens"], "no unit “lens”"), (["spare"], "frees the unit “spare”")],
)
def test_it_refuses_targets_it_cannot_reach(targets: list[str], words: str) -> None:
    example = sheet([step("a", frees="cell")], [unit("cell"), unit("spare")])
    with pytest.raises(Refused, match=words) as refusal:
        make_plan(example, targets)
    assert refusal.value.field == "targets"


def test_it_refuses_a_circle_naming_the_steps() -> None:
    example = sheet([step("a", "c"), step("b", "a"), step("c", "b", frees="cell")], [unit("cell")])
    with pytest.raises(Refused, match="a, b, c"):
        make_plan(example, ["cell"])


def test_it_refuses_a_step_that_waits_for_nothing_known() -> None:
    example = sheet([step("a", "ghost", frees="cell")], [unit("cell")])
    with pytest.raises(Refused, match="“ghost”"):
        make_plan(example, ["cell"])


def test_it_refuses_a_single_use_fixing_that_cannot_be_kitted() -> None:
    example = sheet([step("a", frees="cell", releases=[fixing("x", reuse="single-use")])], [unit("cell")])
    with pytest.raises(Refused, match="no part number"):
        make_plan(example, ["cell"])


def test_ancestors_of_an_unknown_step_are_refused() -> None:
    with pytest.raises(Refused, match="“ghost”"):
        ancestors(kit_example().steps, ["ghost"])


def test_a_chain_of_two_thousand_steps_is_planned() -> None:
    chain = [step(f"s{n}", *([f"s{n - 1}"] if n else [])) for n in range(2000)]
    chain[-1]["frees"] = "cell"
    plan = make_plan(sheet(chain, [unit("cell")]), ["cell"])
    assert plan.teardown == tuple(f"s{n}" for n in range(2000))


@st.composite
def sheets_and_targets(draw: st.DrawFn) -> tuple[Sheet, list[str]]:
    """Draw an acyclic sheet whose author's order is shuffled against its precedence, and targets."""
    count = draw(st.integers(1, 14))
    steps = []
    for n in range(count):
        after = draw(st.sets(st.integers(0, n - 1), max_size=3)) if n else set()
        releases = [
            fixing(
                f"f{k}",
                draw(st.integers(1, 5)),
                **draw(
                    st.sampled_from(
                        [
                            {},
                            {"reuse": "inspect", "kind": "cover"},
                            {"reuse": "single-use", "part": "SEAL"},
                            {"reuse": "single-use", "part": "MESH", "kind": "adhesive"},
                        ]
                    )
                ),
            )
            for k in range(draw(st.integers(0, 2)))
        ]
        fits = [{"part": "SEAL", "name": "Seal", "count": 1}] * draw(st.integers(0, 2))
        back: bool | dict[str, object] = {"fits": fits} if releases or fits else draw(st.booleans())
        tools = draw(st.sampled_from([[], ["driver"], ["pick"], ["driver", "pick"]]))
        frees = f"u{n}" if n % 3 == 0 else None
        steps.append(step(f"s{n}", *(f"s{b}" for b in after), releases=releases, refit=back, tools=tools, frees=frees))
    units = [unit(f"u{n}") for n in range(0, count, 3)]
    targets = draw(st.lists(st.sampled_from([u["id"] for u in units]), min_size=1, unique=True))
    return sheet(draw(st.permutations(steps)), units), targets


@given(sheets_and_targets())
def test_every_step_stands_after_what_it_needs(drawn: tuple[Sheet, list[str]]) -> None:
    example, targets = drawn
    teardown = make_plan(example, targets).teardown
    place = {name: index for index, name in enumerate(teardown)}
    assert len(place) == len(teardown)
    assert all(place[before] < place[name] for name in teardown for before in example.step(name).after)


@given(sheets_and_targets())
def test_nothing_unneeded_is_opened_and_nothing_needed_left_out(drawn: tuple[Sheet, list[str]]) -> None:
    example, targets = drawn
    plan = make_plan(example, targets)
    graph = graph_of(example)
    goals = {one.id for one in example.steps if one.frees in targets}
    needed = goals.union(*(nx.ancestors(graph, goal) for goal in goals))
    assert set(plan.teardown) == needed
    assert set(plan.left_closed) == set(graph) - needed
    assert ancestors(example.steps, goals) == set().union(*(nx.ancestors(graph, goal) for goal in goals))
    assert all(plan.needed_by[name] for name in plan.teardown)


@given(sheets_and_targets())
def test_the_refit_mirrors_the_teardown(drawn: tuple[Sheet, list[str]]) -> None:
    example, targets = drawn
    plan = make_plan(example, targets)
    mirrored = tuple(name for name in reversed(plan.teardown) if example.step(name).refit)
    assert plan.refit == mirrored


@given(sheets_and_targets())
def test_the_kit_is_the_sum_of_what_its_steps_use_up(drawn: tuple[Sheet, list[str]]) -> None:
    example, targets = drawn
    plan = make_plan(example, targets)
    wanted: Counter[str] = Counter(target.upper() for target in targets)
    for name in plan.teardown:
        one = example.step(name)
        for item in one.releases:
            if item.reuse is ReuseClass.SINGLE_USE and item.part:
                wanted[item.part] += item.count
        for new in one.refit.fits if one.refit else ():
            wanted[new.part] += new.count
    assert Counter({line.part: line.count for line in plan.kit}) == wanted
    assert all(line.count == sum(use.count for use in line.uses) for line in plan.kit)
    keys = [use.key for line in plan.kit for use in line.uses]
    assert len(keys) == len(set(keys))


@given(sheets_and_targets())
def test_the_same_targets_give_the_same_plan(drawn: tuple[Sheet, list[str]]) -> None:
    example, targets = drawn
    first: Plan = make_plan(example, targets)
    assert first == make_plan(example, list(reversed(targets)))
