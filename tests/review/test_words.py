"""What the record says of each kind of entry."""

from typing import Any

import pytest

from app.review.words import words
from tests.review.workshop import small_sheet

SHEET = small_sheet()
NAMES = {1: "Ines Aldvik", 2: "Tomo Brandsma", 4: "Ruth Okonjo-Lind"}

CASES: tuple[tuple[str, dict[str, Any], str], ...] = (
    ("booked", {"fault": "Does not charge", "photos": 2}, "Booked in. Does not charge. 2 photos taken."),
    ("safe", {"cell": "sound"}, "Made safe: cautions read, wrist strap and mat tested. Cell sound."),
    (
        "corrected",
        {"changes": [["serial", "DK-71", "DK-77"]], "reason": "Read off the label again"},
        "Serial corrected to DK-77; it was written as DK-71. Read off the label again.",
    ),
    (
        "planned",
        {"targets": ["cell"], "teardown": ["back", "cell"], "refit": ["cell", "back"], "pass_no": 1},
        "Planned: exchange Cell pack, 2 steps down and 2 up.",
    ),
    (
        "planned",
        {"targets": ["cell"], "teardown": ["back"], "refit": ["back"], "pass_no": 2},
        "Pass 2. Planned: exchange Cell pack, 1 step down and 1 up.",
    ),
    (
        "extended",
        {"targets": ["cell"], "teardown": ["back"], "refit": ["back"], "added": ["back", "cell"], "again": [],
         "dropped": ["flex"], "by": "the mate", "means": "by telephone", "amount": "12.00", "currency": "EUR"},
        "Planned again from where it stood: exchange Cell pack. 2 steps added and 1 step dropped. "
        "the mate agreed to 12.00 EUR more, by telephone.",
    ),
    ("revised", {"from": 1, "to": 2}, "Moved from revision 1 of the procedure to revision 2."),
    (
        "promised",
        {"on": "2026-03-20", "instead_of": "2026-03-18", "reason": "Owner is at sea", "causes": []},
        "Promised for Friday 20 March 2026, and not for Wednesday 18 March 2026 any more. Owner is at sea.",
    ),
    ("quoted", {"amount": "84.00", "currency": "EUR", "note": ""}, "Quoted 84.00 EUR."),
    ("approved", {"by": "the mate", "means": "by telephone"}, "Quote approved by the mate, by telephone."),
    ("declined", {"by": "the mate", "reason": "Too dear"}, "Quote declined by the mate. Too dear."),
    ("kit issued", {"lots": [["D-310", 7, "L1", 1, []]]}, "Kit handed out: 1 × D-310 (lot L1)."),
    (
        "kit returned",
        {"back": [["D-310", 7, "L1", 1, []]], "reason": "Torn"},
        "Back on the shelf, not used: 1 × D-310 (lot L1). Torn.",
    ),
    (
        "alternate taken",
        {"wanted": "D-310", "alternate": "D-311", "planned": 1, "added": 1, "reason": "None on the shelf"},
        "2 × D-311 taken in place of D-310. None on the shelf.",
    ),
    (
        "alternate given up",
        {"wanted": "D-310", "alternate": "D-311", "planned": -1, "added": 0},
        "1 × D-311 given up: back to D-310.",
    ),
    ("hold", {"hold": "safety", "reason": "Cell swollen."}, "On hold (safety): Cell swollen."),
    ("hold ended", {"hold": "safety", "reason": "New cell is in"}, "Hold ended (safety): New cell is in."),
    ("returned", {"reason": "Board is corroded"}, "Returned unrepaired: Board is corroded."),
    ("opened", {}, "Opened at the bench."),
    ("paused", {"reason": "lunch"}, "Paused: lunch."),
    ("paused", {"reason": ""}, "Paused."),
    (
        "takeover",
        {"from": 1, "recount_due": True},
        "Took over from Ines Aldvik. A recount of the tray was due.",
    ),
    ("recount", {"counted": {"1": 4}, "effect": {}}, "Recounted the tray: 4 in pocket 1. All there."),
    (
        "recount",
        {"counted": {"1": 3}, "effect": {"back/screws": {"lost": 1}}},
        "Recounted the tray: 3 in pocket 1. Short: 1 × Back screw, reported lost.",
    ),
    (
        "tick",
        {"side": "down", "step": "back", "effect": {"back/screws": {"out": 4}, "back/seal": {"out": 1, "planned": 1}}},
        "Teardown: Lift the back. 4 × Back screw out; 1 × Rim seal out and scrapped.",
    ),
    (
        "tick",
        {
            "side": "up", "step": "back", "effect": {"back/screws": {"refitted": 3, "new": 1}, "back/seal": {"new": 1}},
            "fitted": [["back/seal", "D-310", 7, "L1", 1, "S9"]], "timer": "press", "old_serial": "OLD1",
        },
        "Refit: Close the back. Back screw: 3 back and 1 new; 1 × Rim seal new. "
        "From stock: 1 × D-310 (lot L1, serial S9). Serial taken out: OLD1. A press time began.",
    ),
    (
        "place",
        {"item": "back/screws", "place": 3, "side": "down", "on": True},
        "Counted out: place 3 of “Back screw”.",
    ),
    (
        "place",
        {"item": "back/seal", "place": 1, "side": "up", "on": True, "fitted": [["back/seal", "D-020", 7, "L7", 1, ""]]},
        "Counted back: place 1 of “Rim seal”. New: 1 × D-020 (lot L7).",
    ),
    (
        "place",
        {"item": "back/screws", "place": 3, "side": "up", "on": False},
        "Took back: place 3 of “Back screw” counted back.",
    ),
    ("turned", {}, "Teardown done; the refit began."),
    (
        "also",
        {"of": "tick", "side": "down", "step": "back", "sent": {}, "words": "Ticked already."},
        "Also reported: Teardown tick of “Lift the back”. It changed no count.",
    ),
    (
        "question",
        {"of": "tick", "side": "up", "step": "back", "sent": {"rejects": ["back/flush"]}, "reason": "It is paused."},
        "Question: Refit tick of “Close the back”, with 1 failed inspection. It is paused. It changed no count.",
    ),
    (
        "question",
        {"of": "report", "sent": {"report": "damage", "item": "back/screws", "count": 2}, "reason": "It is closed."},
        "Question: Report of trouble (damaged): 2 × Back screw. It is closed. It changed no count.",
    ),
    ("question", {"of": "pause", "sent": {"reason": "Break"}}, "Question: Pause: Break. It changed no count."),
    ("set aside", {"reason": "Tapped by mistake"}, "Question set aside. Tapped by mistake."),
    ("photo", {"step": "back", "caption": "Head stripped"}, "Photo taken at “Lift the back”. Head stripped."),
    ("undo", {"side": "down", "step": "back"}, "Took back the teardown tick of “Lift the back”."),
    ("undo", {"side": "up", "step": "back"}, "Took back the refit tick of “Close the back”."),
    ("undo", {"side": "turn"}, "Took back the turn to the refit."),
    ("undo", {"report": "lost"}, "Took back the report of a loss."),
    (
        "damage",
        {"item": "back/screws", "count": 2, "needs": {"D-010": 2}, "note": "Heads stripped"},
        "Reported damaged: 2 × Back screw. Added to the kit: 2 × D-010. Heads stripped.",
    ),
    ("absent", {"item": "back/screws", "count": 1}, "Missing on arrival: 1 × Back screw."),
    ("lost", {"item": "back/screws", "count": 1}, "Reported lost: 1 × Back screw."),
    ("spoiled", {"item": "cell/unit:cell", "count": 1}, "Spoilt in fitting: 1 × Cell pack."),
    ("leftover", {"leftover": 1, "note": ""}, "1 piece left over on the bench."),
    (
        "reject",
        {"reject": "back/flush", "say": "Take it off again.", "needs": {}},
        "Inspection failed: Is the back flush all round? Take it off again.",
    ),
    (
        "count",
        {"rows": {"back/screws": [4, 0, 4, 4, 0, 0, 0], "back/seal": [1, 0, 1, 0, 1, 1, 0]}},
        "Closing count signed: 5 places in 2 items, and it balances.",
    ),
    (
        "override",
        {"scope": "final", "supervisor": 4, "reason": "Screw fell overboard", "problems": ["1 Back screw is lost."]},
        "Count at the end overridden by Ruth Okonjo-Lind: Screw fell overboard. 1 Back screw is lost.",
    ),
    (
        "test",
        {"test": "charge", "passed": True, "words": "900 mA is within limits.", "reading": "900", "second": 2},
        "Release test passed: Charges. 900 mA is within limits. Second person: Tomo Brandsma.",
    ),
    ("test", {"test": "charge", "passed": False, "reading": None}, "Release test failed: Charges."),
    ("reopened", {"test": "charge"}, "Opened again for a new plan, after “Charges” failed."),
    ("closed", {"returned": [[7, 2]]}, "Closed. 2 unused parts were returned to stock."),
    ("closed", {"returned": []}, "Closed."),
)  # fmt: skip


@pytest.mark.parametrize(("kind", "data", "said"), CASES)
def test_each_kind_of_entry_is_told_in_plain_words(kind: str, data: dict[str, Any], said: str) -> None:
    assert words(kind, data, SHEET, NAMES) == said


def test_every_kind_that_is_told_has_a_case() -> None:
    from app.review.words import _TELLERS

    assert set(_TELLERS) == {kind for kind, _data, _said in CASES}


@pytest.mark.parametrize("kind", sorted({kind for kind, _data, _said in CASES} | {"something new"}))
def test_an_entry_without_its_data_is_still_told(kind: str) -> None:
    said = words(kind, {}, SHEET, {})
    assert said
    assert said.endswith(".")
