"""Sheets of labels: they fit on their paper, and every label has its place."""

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from app.rules.label_sheets import SHEETS, LabelSheet, label_sheet, lay_out
from app.rules.verdict import Refused

CSS = (Path(__file__).parents[2] / "static/css/labels.css").read_text(encoding="utf-8")
# ISO 216 A4 and the Letter of ANSI/ASME Y14.1 (8.5 × 11 in), in mm (from memory).
PAPER = {"a4": (210, 297), "letter": (215.9, 279.4)}


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda s: s.key)
def test_the_labels_fit_on_the_paper(sheet: LabelSheet) -> None:
    assert sheet.left + sheet.columns * sheet.label_w + (sheet.columns - 1) * sheet.gap_x <= sheet.page_w
    assert sheet.top + sheet.rows * sheet.label_h + (sheet.rows - 1) * sheet.gap_y <= sheet.page_h
    paper = PAPER.get(sheet.key.split("-")[0])
    assert paper in (None, (sheet.page_w, sheet.page_h))


@pytest.mark.parametrize("sheet", SHEETS, ids=lambda s: s.key)
def test_the_style_sheet_has_the_same_figures(sheet: LabelSheet) -> None:
    rule = re.search(rf"\.labels-{sheet.key} \.label-page {{(.*?)}}", CSS)
    assert rule is not None
    mm = [f"{value:g}mm" for value in (sheet.page_w, sheet.page_h, sheet.label_w, sheet.label_h)]
    for words in (
        f"width: {mm[0]}; height: {mm[1]};",
        f"repeat({sheet.columns}, {mm[2]})",
        f"grid-auto-rows: {mm[3]};",
        f"padding: {sheet.top:g}mm 0 0 {sheet.left:g}mm;",
        f"gap: {sheet.gap_y:g}mm {sheet.gap_x:g}mm;",
    ):
        assert words in rule[1]
    assert f"@page labels-{sheet.key} {{ size: {mm[0]} {mm[1]}; margin: 0; }}" in CSS


@given(st.integers(0, 130), st.sampled_from(SHEETS), st.data())
def test_every_label_stands_once_after_the_used_places(many: int, sheet: LabelSheet, data: st.DataObject) -> None:
    start = data.draw(st.integers(1, sheet.places))
    sheets = lay_out(range(many), sheet, start)
    flat = [label for each in sheets for label in each]
    assert [label for label in flat if label is not None] == list(range(many))
    assert flat[: start - 1] == ([None] * (start - 1) if many else [])
    assert all(len(each) == sheet.places for each in sheets[:-1])


def test_a_sheet_has_no_label_beyond_its_last() -> None:
    with pytest.raises(Refused, match="one of 1 to 24"):
        lay_out([1], label_sheet("a4-24"), 25)
    assert label_sheet("nothing of the kind") is SHEETS[0]
