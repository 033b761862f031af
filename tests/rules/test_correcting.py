"""Correcting a booking, and two open jobs with one serial."""

import pytest

from app.rules.correcting import Change, check_correction, check_same_serial, correction_words
from app.rules.entry_words import ENTRY_WORDS, entry_words, plain_change
from app.rules.verdict import Refused

BEFORE = {"serial": "FR-1", "owner_ref": "Bridge"}
WHY = "Read off the label again"


def test_only_what_differs_is_a_change() -> None:
    found = check_correction(
        "planned", BEFORE, {"serial": "FR-7", "owner_ref": "Bridge"}, WHY, mine=True, supervisor=False
    )
    assert found == (Change("serial", "FR-1", "FR-7"),)


@pytest.mark.parametrize(
    ("stage", "after", "reason", "mine", "said"),
    [
        ("closed", {"serial": "FR-7"}, WHY, True, "sealed"),
        ("returned unrepaired", {"serial": "FR-7"}, WHY, True, "sealed"),
        ("planned", {"serial": "FR-7"}, WHY, False, "booked the device in"),
        ("planned", BEFORE, WHY, True, "Nothing differs"),
        ("planned", {"serial": "FR-7"}, "Wrong", True, "few words"),
    ],
)
def test_it_is_refused_with_the_reason(stage: str, after: dict[str, str], reason: str, mine: bool, said: str) -> None:
    with pytest.raises(Refused, match=said):
        check_correction(stage, BEFORE, after, reason, mine=mine, supervisor=False)


def test_a_supervisor_corrects_what_others_booked_in() -> None:
    assert check_correction("refit", BEFORE, {"owner_ref": "Galley"}, WHY, mine=False, supervisor=True)


def test_an_open_job_with_the_serial_is_asked_about_until_it_is_said_why() -> None:
    check_same_serial((), "")
    check_same_serial(("J000004",), "shared label")
    with pytest.raises(Refused, match="Job J000004 is open with this serial") as refusal:
        check_same_serial(("J000004",), "no idea")
    assert refusal.value.field == "another_device"
    with pytest.raises(Refused, match="Jobs J000004, J000009 are open"):
        check_same_serial(("J000004", "J000009"), "")


def test_a_correction_names_both_values() -> None:
    data = {"changes": [["owner_ref", "Bridge", "Galley"]], "reason": "The mate rang."}
    assert correction_words(data) == "Owner corrected to Galley; it was written as Bridge. The mate rang."
    assert correction_words({}) == "Booking corrected."


def test_entries_are_told_in_plain_words_and_older_notes_too() -> None:
    assert entry_words("takeover") == "Taken over"
    assert entry_words("tick", "Lift the lid") == "Step ticked: Lift the lid"
    assert plain_change("takeover, Ines Aldvik") == "Taken over, Ines Aldvik"
    assert plain_change("hold ended (lid)") == "Hold ended (lid)"
    assert plain_change("tick (lid), Tomo") == "Step ticked (lid), Tomo"
    assert all(plain_change(entry_words(kind, "Lift")) == entry_words(kind, "Lift") for kind in ENTRY_WORDS)
