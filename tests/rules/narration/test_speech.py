"""Speech that was written down without punctuation, and words as people say them at the bench."""

import pytest

from tests.rules.narration.reading import drafted, freed, released, scrapped, sizes


def begins(text: str) -> list[str]:
    """Return the first three words of each step, told as captions without punctuation."""
    body = f"WEBVTT\n\n00:00:01.000 --> 00:01:00.000\n{text}\n"
    return [" ".join(step.words.text.split()[:3]) for step in drafted(body, "a.vtt").steps]


@pytest.mark.parametrize(
    ("text", "starts"),
    [
        ("undo the two screws mind the flex lift off the lid", ["undo the two", "lift off the"]),
        ("take care not to slip insert a nylon wedge and lift off the lid", ["insert a nylon"]),
        ("lift off the lid the board is held by three screws undo those", ["lift off the", "the board is"]),
        ("undo the screw check that it is not bent unplug the fan connector", ["undo the screw", "unplug the fan"]),
        ("undo two screws these screws strip easily warm the edge of the lid", ["undo two screws", "warm the edge"]),
        ("unplug the fan connector with the lid folded over undo two screws", ["unplug the fan", "with the lid"]),
        ("lift off the lid inside is the gasket pull it out", ["lift off the", "inside is the"]),
        ("insert a suction cup raise the lid and undo one screw", ["insert a suction"]),
    ],
)
def test_a_step_begins_where_something_new_is_told(text: str, starts: list[str]) -> None:
    assert begins(text) == starts


def test_things_are_counted_as_people_say_them() -> None:
    assert released("Undo six pieces of screw.") == [("screw", 6)]
    assert released("Take out two rows of screws.") != [("screw", 2)]
    assert released("Lift off the lid. That's held by clips, there's five of em.") == [("cover", 1), ("clip", 5)]


def test_what_is_kept_in_a_tray_is_not_scrapped() -> None:
    assert scrapped("Undo the three screws and toss em in my little tray.") == []
    assert scrapped("Undo the three screws and toss em.") == ["screws"]
    assert scrapped("Pull out the gasket and throw it in the bin.") == ["gasket"]


def test_verbs_of_the_bench_are_known() -> None:
    assert released("Zip out the two screws. Rip out the gasket.") == [("screw", 2), ("seal", 1)]
    assert released("Cut the adhesive with a thin card.") == [("adhesive", 1)]
    assert sizes("Undo the two screws with a P2 driver.") == ["P2"]


def test_what_is_only_raised_a_little_is_not_free() -> None:
    assert freed("Raise the glass slightly. Lift out the board.") == ["board"]


def test_a_lever_that_locks_is_part_of_its_connector() -> None:
    (step,) = drafted("Release the locking lever and withdraw the display cable.").steps
    assert [(f.kind.value, f.count) for f in step.fixings] == [("cable", 1)]


def test_a_request_not_to_do_something_is_a_caution() -> None:
    (step,) = drafted("Unplug the aerial cable but please not bend the cable.").steps
    assert [note.text for note in step.cautions] == ["Not bend the cable."]
    (step,) = drafted("Unplug the aerial cable. Notice: the label tears.").steps
    assert [note.text for note in step.cautions] == ["Notice: the label tears."]


def test_remove_and_discard_is_a_step_of_its_own() -> None:
    first, second = drafted("Lift off the lid. It is held by ten snaps. Remove and discard the O-ring.").steps
    assert [(f.kind.value, f.count) for f in first.fixings] == [("cover", 1), ("clip", 10)]
    assert [(f.kind.value, f.reuse and f.reuse.value) for f in second.fixings] == [("seal", "single-use")]


def test_what_stands_behind_the_colon_of_a_caution_is_no_step() -> None:
    (step,) = drafted("Caution: Disconnect the charger before opening the unit. Undo the two screws.").steps
    assert [(f.kind.value, f.count) for f in step.fixings] == [("screw", 2)]
    assert [note.text for note in step.cautions] == ["Caution: Disconnect the charger before opening the unit."]


def test_a_thing_with_an_unknown_name_is_unplugged_and_asked_about() -> None:
    (step,) = drafted("Disconnect the zorb from the board.").steps
    assert [(f.name, f.sure) for f in step.fixings] == [("zorb", False)]


def test_it_is_what_the_sentence_is_about() -> None:
    starts = begins("draw out the ribbon the cell is in a holder slide it out with a plastic stick")
    assert starts[1:] == ["the cell is"]
    assert freed("The cell is in a holder. Slide it out.") == ["cell"]
