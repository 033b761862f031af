"""What the check tells an author: each fault in its place, and silence for a sound sheet."""

import time
from itertools import pairwise
from typing import Any

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.planning import check_sheet
from app.rules.precedence import cycles
from app.rules.sheet_check import Finding
from tests.rules.sheets import fixing, sheet, step, unit

REJECT = {"say": "Scrap it."}


def one_step(**more: Any) -> list[dict[str, Any]]:
    return [step("a", frees="cell", **more)]


def only(found: tuple[Finding, ...]) -> Finding:
    assert len(found) == 1, found
    return found[0]


def check(steps: list[dict[str, Any]], units: list[dict[str, Any]] | None = None, **more: Any) -> tuple[Finding, ...]:
    return check_sheet(sheet(steps, units or [unit("cell")], **more), None)


def test_a_sound_sheet_has_no_findings() -> None:
    hazard = {"signal": "NOTICE", "hazard": "Dust.", "consequence": "Specks.", "avoidance": "Blow it off."}
    steps = one_step(
        hazards=[hazard],
        releases=[
            fixing("lid", reuse="inspect", kind="shield"),
            fixing("seal", reuse="single-use", part="SEAL"),
        ],
        inspect=[{"id": "flat", "ask": "Is it flat?", "of": "lid", "on_reject": REJECT}],
    )
    tests = [
        {
            "id": "leak",
            "title": "Leak",
            "do": "Pump.",
            "kind": "reading",
            "unit": "kPa",
            "low": 2,
            "due": {"always": True},
        }
    ]
    made = sheet(steps, [unit("cell")], release_tests=tests)
    assert check_sheet(made, {"SEAL", "CELL"}) == ()


@pytest.mark.parametrize(
    ("steps", "more", "where"),
    [
        ([step("a", frees="cell"), step("a")], {}, ("steps", 1, "id")),
        (one_step(), {"units": [unit("cell"), unit("cell")]}, ("units", 1, "id")),
        (one_step(), {"tools": [{"id": "t", "name": "T"}, {"id": "t", "name": "T"}]}, ("tools", 1, "id")),
        (one_step(releases=[fixing("x"), fixing("x")]), {}, ("steps", 0, "releases", 1, "id")),
    ],
)
def test_it_finds_ids_used_twice(
    steps: list[dict[str, Any]], more: dict[str, Any], where: tuple[str | int, ...]
) -> None:
    units = more.pop("units", None)
    found = only(check(steps, units, **more))
    assert found.where == where
    assert "used twice" in found.message


def test_it_finds_an_inspection_id_used_in_a_step_and_again_in_its_refit() -> None:
    asked = {"id": "look", "ask": "Is it clean?", "on_reject": REJECT}
    found = only(check(one_step(inspect=[asked], refit={"inspect": [asked]})))
    assert found.where == ("steps", 0, "refit", "inspect", 0, "id")
    assert found.step == "a"


def test_it_finds_a_release_test_id_used_twice() -> None:
    test = {"id": "power", "title": "Power", "do": "Switch on.", "due": {"always": True}}
    assert only(check(one_step(), release_tests=[test, test])).where == ("release_tests", 1, "id")


def test_it_names_the_steps_of_a_circle() -> None:
    steps = [step("a", "c"), step("b", "a"), step("c", "b", frees="cell"), step("d", "c")]
    found = only(check(steps))
    assert found.where == ("steps", 0, "after", 0)
    assert "a → b → c → a" in found.message


def test_it_finds_a_step_that_waits_for_itself() -> None:
    assert "waits for itself" in only(check([step("a", "a", frees="cell")])).message


def test_it_finds_two_circles_apart() -> None:
    steps = [step("a", "b"), step("b", "a"), step("c", "d"), step("d", "c", frees="cell")]
    assert [found.step for found in check(steps)] == ["a", "c"]


def test_it_finds_unknown_references() -> None:
    steps = [
        step("a", "ghost", frees="cell", tools=["saw"], refit={"tools": ["glue"]}),
        step("b", "a", frees="lens", inspect=[{"id": "i", "ask": "?", "of": "x", "on_reject": REJECT}]),
    ]
    assert [found.where for found in check(steps)] == [
        ("steps", 0, "after", 0),
        ("steps", 0, "tools", 0),
        ("steps", 0, "refit", "tools", 0),
        ("steps", 1, "frees"),
        ("steps", 1, "inspect", 0, "of"),
    ]


def test_it_finds_a_unit_no_step_frees() -> None:
    assert only(check(one_step(), [unit("cell"), unit("lens")])).where == ("units", 1)


def test_it_finds_a_unit_freed_twice() -> None:
    found = only(check([step("a", frees="cell"), step("b", frees="cell")]))
    assert found.where == ("steps", 1, "frees")
    assert "“a” and “b”" in found.message


def test_it_finds_parts_that_are_not_in_the_catalogue() -> None:
    new = {"part": "WIPE", "name": "Wipe", "count": 1}
    asked = {"id": "i", "ask": "?", "on_reject": {"say": "Scrap it.", "add": [new]}}
    steps = one_step(releases=[fixing("x", part="SC-01")], inspect=[asked], refit={"fits": [new]})
    found = check_sheet(sheet(steps, [unit("cell")]), ["OTHER"])
    assert [one.where for one in found] == [
        ("units", 0, "part"),
        ("steps", 0, "releases", 0, "part"),
        ("steps", 0, "refit", "fits", 0, "part"),
        ("steps", 0, "inspect", 0, "on_reject", "add", 0, "part"),
    ]


def test_it_finds_a_single_use_fixing_without_a_part_number() -> None:
    found = only(check(one_step(releases=[fixing("x", reuse="single-use")])))
    assert found.where == ("steps", 0, "releases", 0, "part")


@pytest.mark.parametrize("more", [{"frees": "cell"}, {"releases": [fixing("x")]}])
def test_it_finds_what_opens_and_never_closes(more: dict[str, Any]) -> None:
    steps = [step("a", refit=False, **more)] + ([] if "frees" in more else [step("b", frees="cell")])
    found = only(check(steps))
    assert found.where == ("steps", 0)
    assert "no refit" in found.message


@pytest.mark.parametrize(
    ("asked", "last"),
    [
        ({"kind": "reading", "low": 1}, "unit"),
        ({"kind": "reading", "unit": "V"}, "low"),
        ({"kind": "reading", "unit": "V", "low": 2, "high": 1}, "low"),
        ({"low": 2}, "kind"),
    ],
)
def test_it_finds_readings_that_cannot_be_judged(asked: dict[str, Any], last: str) -> None:
    inspection = {"id": "i", "ask": "?", "on_reject": REJECT, **asked}
    assert only(check(one_step(inspect=[inspection]))).where == ("steps", 0, "inspect", 0, last)
    release = {"id": "r", "title": "R", "do": "Measure.", "due": {"always": True}, **asked}
    assert only(check(one_step(), release_tests=[release])).where == ("release_tests", 0, last)


@pytest.mark.parametrize(
    ("due", "tail"),
    [
        ({}, ()),
        ({"kinds": ["seal"]}, ()),
        ({"steps": ["ghost"]}, ("steps", 0)),
        ({"exchanged": ["lens"]}, ("exchanged", 0)),
    ],
)
def test_it_finds_release_tests_that_are_never_due(due: dict[str, Any], tail: tuple[str | int, ...]) -> None:
    release = {"id": "r", "title": "R", "do": "Measure.", "due": due}
    assert only(check(one_step(), release_tests=[release])).where == ("release_tests", 0, "due", *tail)


def test_it_finds_an_inspect_fixing_no_inspection_covers() -> None:
    found = only(check(one_step(releases=[fixing("lid", reuse="inspect")])))
    assert found.where == ("steps", 0, "releases", 0, "reuse")


def test_a_circle_of_two_thousand_steps_is_found_soon() -> None:
    ring = [step(f"s{n}", f"s{(n - 1) % 2000}") for n in range(2000)]
    ring[-1]["frees"] = "cell"
    made = sheet(ring, [unit("cell")])
    begun = time.perf_counter()
    found = only(check_sheet(made, None))
    assert time.perf_counter() - begun < 5
    assert "1988 more" in found.message


@given(st.dictionaries(st.integers(0, 9), st.lists(st.integers(0, 9), unique=True, max_size=3)))
def test_circles_are_found_exactly_when_networkx_finds_no_order(links: dict[int, list[int]]) -> None:
    before = {str(n): [str(b) for b in links.get(n, ())] for n in range(10)}
    graph: nx.DiGraph[str] = nx.DiGraph()
    graph.add_nodes_from(before)
    graph.add_edges_from((b, name) for name, names in before.items() for b in names)
    found = cycles(before)
    assert bool(found) is not nx.is_directed_acyclic_graph(graph)
    for circle in found:
        ring = [*circle, circle[0]]
        assert all(graph.has_edge(one, two) for one, two in pairwise(ring))
