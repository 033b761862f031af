"""Ease of repair: depth and classes from a procedure, and the index worked by hand."""

from dataclasses import replace
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.ease_of_repair import (
    PART_WEIGHTS,
    Facts,
    FastenerClass,
    PriorityPart,
    depth_score,
    grade,
    repair_index,
    unit_ease,
    units_ease,
)
from app.rules.sheet import Tool
from app.rules.tool_classes import ToolAccess, usual_access
from app.rules.verdict import Refused
from tests.rules.sheets import fixing, sheet, step, unit

EXAMPLE = sheet(
    [
        step("off", refit=False),
        step("back", "off", tools=["driver"], releases=[fixing("screws", 10)]),
        step("seal", "back", tools=["pick", "plate"], releases=[fixing("seal", reuse="single-use", part="SEAL")]),
        step("cell", "seal", frees="cell"),
        step("lens", "off", frees="camera", releases=[fixing("ring", kind="cover", reuse="inspect")]),
    ],
    [unit("cell"), unit("camera")],
    tools=[
        {"id": "driver", "name": "Torque driver", "size": "T5"},
        {"id": "pick", "name": "Thin picks"},
        {"id": "plate", "name": "Warm plate"},
    ],
)
FACTS = Facts(
    parts={"cell": PriorityPart.BATTERY, "camera": PriorityPart.REAR_CAMERA},
    spare_parts=Decimal(5),
    updates=Decimal(3),
    information=Decimal(4),
)


# EU 2023/1669, Annex IV, point 5; the table is known from a secondary text.
@pytest.mark.parametrize(
    ("depth", "score"), [(0, 5), (2, 5), (3, 4), (5, 4), (6, 3), (10, 3), (11, 2), (15, 2), (16, 1), (99, 1)]
)
def test_depth_scores_are_those_of_the_table(depth: int, score: int) -> None:
    assert depth_score(depth) == score


# EU 2023/1669: the classes of the index.
@pytest.mark.parametrize(
    ("index", "expected"),
    [("5.00", "A"), ("4.00", "A"), ("3.99", "B"), ("3.35", "B"), ("3.34", "C"), ("2.55", "C"), ("2.54", "D"),
     ("1.75", "D"), ("1.74", "E"), ("1.00", "E")],
)  # fmt: skip
def test_classes_begin_at_their_limits(index: str, expected: str) -> None:
    assert grade(Decimal(index)) == expected


def test_the_weights_of_the_parts_add_up_to_one() -> None:
    assert sum(PART_WEIGHTS.values()) == 1


def test_a_units_depth_counts_work_steps_and_changes_of_tool_within_one() -> None:
    found = unit_ease(EXAMPLE, "cell", FACTS)
    # off counts for nothing, back for one, seal for two tools, cell for one.
    assert (found.steps, found.depth, found.depth_score) == (4, 4, 4)
    assert found.fixings == {FastenerClass.REUSABLE: 10, FastenerClass.REMOVABLE: 1, FastenerClass.NEITHER: 0}
    assert found.tools == {"driver": ToolAccess.BASIC, "pick": ToolAccess.BASIC, "plate": ToolAccess.MARKET}
    assert (found.fastener_score, found.tool_score, found.tool_class) == (1, 1, "C")


def test_what_the_sheet_cannot_know_can_be_said() -> None:
    said = replace(FACTS, tools={"plate": ToolAccess.WITH_DEVICE}, resupplied=frozenset({"SEAL"}))
    found = unit_ease(EXAMPLE, "cell", said)
    assert (found.fastener_score, found.tool_score, found.tool_class) == (3, 3, "A")
    harmed = unit_ease(EXAMPLE, "cell", replace(said, neither=frozenset({("seal", "seal")})))
    assert harmed.fixings[FastenerClass.NEITHER] == 1
    assert harmed.fastener_score == 1


def test_a_unit_without_tools_or_fixings_scores_full_for_them() -> None:
    bare = sheet([step("lid", frees="cell")], [unit("cell")])
    found = unit_ease(bare, "cell")
    assert (found.depth, found.depth_score, found.fastener_score, found.tool_score) == (1, 5, 5, 5)
    assert found.tool_class == "A"


def test_the_index_worked_by_hand_is_provisional_with_its_bounds() -> None:
    found = repair_index(EXAMPLE, FACTS)
    # Battery .30: depth 4, fasteners 1, tools 1. Rear camera .05: depth 1 step → 5, inspected ring 1, no tool 5.
    # Depth (.30·4 + .05·5)/.35 = 4.142857; fasteners 1; tools (.30 + .25)/.35 = 1.571429.
    assert (found.depth, found.fasteners, found.tools) == (Decimal("4.14"), Decimal("1.00"), Decimal("1.57"))
    # .25·4.142857 + .15·(1 + 1.571429 + 5 + 3 + 4) = 1.035714 + 2.185714 = 3.221429.
    assert (found.index, found.grade, found.provisional) == (Decimal("3.22"), "C", True)
    assert len(found.missing) == 7
    # Missing .65 at 1: .25·2.10 + .15·(1.00 + 1.20 + 12) = 2.655; at 5: .25·4.70 + .15·(3.60 + 3.80 + 12) = 4.085.
    assert (found.low, found.high) == (Decimal("2.66"), Decimal("4.09"))
    assert "no declaration" in found.limits.replace("\n", " ")


def test_two_units_for_one_part_give_it_the_poorer_scores() -> None:
    found = repair_index(EXAMPLE, replace(FACTS, parts=dict.fromkeys(("cell", "camera"), PriorityPart.REAR_CAMERA)))
    assert [(one.units, one.depth, one.tools) for one in found.parts] == [(("cell", "camera"), 4, 1)]


def test_facts_must_be_scores_and_name_a_part() -> None:
    with pytest.raises(Refused, match="from 1 to 5") as refusal:
        replace(FACTS, updates=Decimal(0))
    assert refusal.value.field == "updates"
    with pytest.raises(Refused, match="at least one unit"):
        repair_index(EXAMPLE, replace(FACTS, parts={}))
    with pytest.raises(Refused, match="“lens”"):
        repair_index(EXAMPLE, replace(FACTS, parts={"lens": PriorityPart.DISPLAY}))
    with pytest.raises(ValueError, match="from 1 to 5"):
        grade(Decimal("0.9"))


def test_all_units_that_can_be_reached_are_listed() -> None:
    assert [one.unit for one in units_ease(EXAMPLE)] == ["cell", "camera"]


# EN 45554:2020, classes of tools, from memory.
def test_tools_have_the_classes_of_the_standard() -> None:
    assert [access.en_class for access in ToolAccess] == ["A", "A", "A", "B", "C", "D", "E"]


@pytest.mark.parametrize(
    ("name", "size", "access"),
    [
        ("Torque driver", "T4", ToolAccess.BASIC),
        ("Driver", "PH00", ToolAccess.BASIC),
        ("Driver", "PH 1", ToolAccess.BASIC),
        ("Flat-tip tweezers", None, ToolAccess.BASIC),
        ("Nylon blade", None, ToolAccess.BASIC),
        ("Warm plate", None, ToolAccess.MARKET),
        ("Press frame", None, ToolAccess.MARKET),
    ],
)
def test_the_usual_way_to_a_tool_is_read_from_its_size_and_name(
    name: str, size: str | None, access: ToolAccess
) -> None:
    assert usual_access(Tool(id="tool", name=name, size=size)) is access


@given(st.lists(st.decimals(1, 5, places=1), min_size=3, max_size=3))
def test_the_index_lies_between_its_bounds_and_within_the_scale(scores: list[Decimal]) -> None:
    spare, updates, information = scores
    found = repair_index(EXAMPLE, replace(FACTS, spare_parts=spare, updates=updates, information=information))
    assert 1 <= found.low <= found.index <= found.high <= 5
