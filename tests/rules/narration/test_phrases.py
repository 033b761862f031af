"""What people say at the bench, one phrase at a time."""

import pytest

from tests.rules.narration.reading import drafted, freed, only_step, released, scrapped, sizes


@pytest.mark.parametrize(
    ("said", "size"),
    [
        ("T5", "T5"),
        ("T-5", "T5"),
        ("T 5", "T5"),
        ("TX5", "T5"),
        ("TX 5", "T5"),
        ("tee five", "T5"),
        ("t five", "T5"),
        ("torx 5", "T5"),
        ("Torx T5", "T5"),
        ("torx number five", "T5"),
        ("star five", "T5"),
        ("number five hexalobular", "T5"),
        ("size 5 torx", "T5"),
        ("hexalobular five", "T5"),
        ("tee twenty", "T20"),
        ("T25", "T25"),
        ("torx twenty five", "T25"),
        ("PH0", "PH0"),
        ("PH 0", "PH0"),
        ("PH-00", "PH00"),
        ("P-H zero", "PH0"),
        ("p h two", "PH2"),
        ("phillips zero", "PH0"),
        ("Phillips number one", "PH1"),
        ("phillips double zero", "PH00"),
        ("cross-head double-oh", "PH00"),
        ("cross head zero", "PH0"),
        ("philips double oh", "PH00"),
        ("phillips triple zero", "PH000"),
        ("number two phillips", "PH2"),
        ("PH000", "PH000"),
        ("Phillips #1", "PH1"),
        ("cross-head size 1", "PH1"),
        ("a Phillips head zero", "PH0"),
    ],
)
def test_a_driver_size_is_known_however_it_is_said(said: str, size: str) -> None:
    assert sizes(f"Undo the two screws with a {said} driver.") == [size]
    assert sizes(f"now undo the two screws with your {said} and then lift the lid") == [size]
    assert released(f"Undo the two screws ({said}).") == [("screw", 2)]


@pytest.mark.parametrize(
    ("said", "count"),
    [
        ("four screws", 4),
        ("4 screws", 4),
        ("4x screws", 4),
        ("4 x M2 screws", 4),
        ("half a dozen screws", 6),
        ("a dozen screws", 12),
        ("a pair of screws", 2),
        ("both screws", 2),
        ("the remaining two screws", 2),
        ("all six screws", 6),
        ("the last screw", 1),
        ("the other three screws", 3),
        ("twenty-two screws", 22),
        ("twenty two screws", 22),
        ("the screw", 1),
        ("a single screw", 1),
        ("three little black screws", 3),
        ("three T5 screws", 3),
        ("three of the screws", 3),
        ("a set of four screws", 4),
        ("screws (5)", 5),
        ("all four of the screws", 4),
        ("the five 3 mm screws", 5),
        ("seven captive screws", 7),
        ("one screw", 1),
        ("two pairs of screws", 4),
        ("the two M1.6 x 4 screws", 2),
    ],
)
def test_a_count_is_known_however_it_is_said(said: str, count: int) -> None:
    assert released(f"Remove {said} from the frame.") == [("screw", count)]
    assert released(f"okay so next you want to take out {said} with the driver and then") == [("screw", count)]


@pytest.mark.parametrize(
    "said", ["the screws", "several screws", "a few screws", "some screws", "two or three screws", "2-3 screws"]
)
def test_a_count_that_was_not_said_is_asked_and_not_made_up(said: str) -> None:
    (fixing,) = only_step(f"Undo {said} along the edge.").fixings
    assert fixing.count is None
    assert not fixing.sure
    assert fixing.question == "How many screws?"


@pytest.mark.parametrize("said", ["about eight clips", "roughly eight clips", "like eight clips"])
def test_a_rough_count_is_kept_and_asked(said: str) -> None:
    fixing = only_step(f"Lever off the cover, there's {said} in there.").fixings[-1]
    assert (fixing.count, fixing.sure) == (8, False)
    assert "How many" in (fixing.question or "")


@pytest.mark.parametrize(
    ("text", "items"),
    [
        ("Peel off the seal. Throw it away.", ["seal"]),
        ("Peel off the seal and bin it.", ["seal"]),
        ("Peel off the perimeter seal. It must be renewed.", ["perimeter seal"]),
        ("Undo the four screws. Discard them, they have a locking patch.", ["screws"]),
        ("Undo the four screws and lift the lid. The screws must not be reused.", ["screws"]),
        ("Remove the gasket (single use).", ["gasket"]),
        ("Peel off the tape. You'll need a fresh one.", ["tape"]),
        ("Pull the two pull tabs. Do not reuse them.", ["pull tabs"]),
        ("Lift the cover off and peel the gasket. Fit a new gasket.", ["gasket"]),
        ("take the o ring off and chuck it", ["ring"]),
        ("Undo three clips and peel back the foil. Toss the foil.", ["foil"]),
        ("Unclip the shield lid. It bends, so it is scrap.", ["shield lid"]),
        ("Remove the screws. They are discarded.", ["screws"]),
        ("Undo the two long screws and the short screw. The short screw is single use.", ["short screw"]),
        ("Take out the membrane; that goes in the bin.", ["membrane"]),
        ("Peel off the gasket. Never reuse the gasket.", ["gasket"]),
    ],
)
def test_single_use_wording_is_bound_to_its_item(text: str, items: list[str]) -> None:
    assert [name.removeprefix("o ") for name in scrapped(text)] == items


@pytest.mark.parametrize(
    "text",
    [
        "Undo the two screws. Don't throw them away, they go back in.",
        "Undo the four screws and keep them together.",
        "Peel off the seal. If it is torn, replace it.",
        "Lift off the cover. Do not discard it.",
        "Undo the screws and put them in the tray.",
    ],
)
def test_nothing_is_scrapped_without_a_word(text: str) -> None:
    assert scrapped(text) == []


@pytest.mark.parametrize(
    "text",
    [
        "Unplug the fan. Do not remove the two lower screws.",
        "Unplug the fan. Leave the two lower screws in place.",
        "Unplug the fan. Don't touch the two brass screws.",
        "Unplug the fan. Never loosen the three screws in the middle.",
        "Unplug the fan. There is no need to undo the two lower screws.",
        "Unplug the fan without removing the two lower screws.",
        "unplug the fan but leave the two screws alone",
        "unplug the fan don't undo the two screws at the top",
        "Unplug the fan. You don't have to take out the two screws beside it.",
    ],
)
def test_what_stays_in_is_no_fixing(text: str) -> None:
    assert [kind for kind, _ in released(text) if kind == "screw"] == []


@pytest.mark.parametrize(
    "said",
    [
        "Take care not to bend the flex.",
        "Careful, the flex is short.",
        "Mind the flex.",
        "Be careful with the flex.",
        "Do not pull on the wires.",
        "Watch out for the flex.",
        "Never lever against the cell.",
        "Caution: sharp edges.",
        "Don't force it.",
        "Attention: hot.",
        "Avoid touching the lens.",
        "Make sure not to bend the pins.",
    ],
)
def test_a_caution_is_known(said: str) -> None:
    step = only_step(f"Undo the two screws. {said}")
    assert [note.text for note in step.cautions] == [said]
    assert step.inspections == ()


@pytest.mark.parametrize(
    "said",
    [
        "Check that the groove is clean.",
        "Make sure the pins are straight.",
        "Look for cracks.",
        "Inspect the lens for scratches.",
        "Verify that it moves freely.",
        "Have a look at the contacts.",
    ],
)
def test_an_inspection_is_known(said: str) -> None:
    step = only_step(f"Lift off the cover. {said}")
    assert [note.text for note in step.inspections] == [said]
    assert step.cautions == ()


@pytest.mark.parametrize(
    ("text", "units"),
    [
        ("Lift out the cell.", ["cell"]),
        ("The board comes away.", ["board"]),
        ("Take the main board out.", ["main board"]),
        ("Remove the camera.", ["camera"]),
        ("Undo the screw. The fan lifts straight out.", ["fan"]),
        ("pull the speaker out and set it aside", ["speaker"]),
        ("Unplug the battery.", []),
        ("The display can now be removed.", ["display"]),
        ("Slide out the battery pack.", ["battery pack"]),
        ("Disconnect the camera connector.", []),
        ("Undo the two screws holding the speaker.", []),
        ("Ease the pump out of its holder.", ["pump"]),
    ],
)
def test_the_unit_a_step_frees_is_known(text: str, units: list[str]) -> None:
    assert freed(text) == units


@pytest.mark.parametrize(
    ("text", "fixings"),
    [
        ("Undo the two screws and three clips.", [("screw", 2), ("clip", 3)]),
        ("Undo the two screws and lift off the bracket.", [("screw", 2), ("cover", 1)]),
        ("There are four screws in the back. Take them out.", [("screw", 4)]),
        ("You'll see four screws here. Undo all four.", [("screw", 4)]),
        ("Unclip the aerial cable and unplug the two connectors.", [("cable", 1), ("connector", 2)]),
        ("Open the latch and draw out the display flex.", [("flex", 1)]),
        ("Lift off the shield can.", [("shield", 1)]),
        ("Peel the thermal pad off the chip.", [("adhesive", 1)]),
        ("Lift the bracket over the battery connector.", [("cover", 1)]),
        ("Undo the screws. There are six of them.", [("screw", 6)]),
        ("Remove the rubber plug from each screw hole.", [("seal", 1)]),
        ("Undo the five screws, T5, around the rim. Keep the screws in a tray.", [("screw", 5)]),
        ("Free the three clips along the left edge.", [("clip", 3)]),
        ("Release the two tabs at the top and swing the door open.", [("clip", 2)]),
        ("The four screws at the corners have to come out.", [("screw", 4)]),
        ("The three screws can be removed now.", [("screw", 3)]),
        ("Disconnect the ribbon cable.", [("flex", 1)]),
    ],
)
def test_fixings_are_known_with_kind_and_count(text: str, fixings: list[tuple[str, int | None]]) -> None:
    assert released(text) == fixings


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("Free the three clips along the left edge.", "along the left edge"),
        ("Undo the two screws at the bottom of the frame with a T5.", "at the bottom of the frame"),
        ("Undo the four screws, one in each corner.", "one in each corner"),
        ("undo the two screws next to the port and then lift the lid", "next to the port"),
        ("Undo the two screws.", None),
    ],
)
def test_the_place_of_a_fixing_is_kept(text: str, place: str | None) -> None:
    assert drafted(text).steps[0].fixings[0].place == place


def test_a_misheard_word_is_asked_about() -> None:
    (fixing,) = only_step("Unplug the two conectors.").fixings
    assert (fixing.kind.value, fixing.count, fixing.sure) == ("connector", 2, False)
    assert fixing.question == "Is “conectors” meant as a connector?"


def test_a_size_that_no_driver_has_is_asked_about() -> None:
    (driver,) = only_step("Undo the two screws with a T13 driver.").drivers
    assert (driver.size, driver.sure) == ("T13", False)


def test_a_thing_of_unknown_sort_that_is_lifted_out_is_asked_about() -> None:
    (unit,) = only_step("Lift out the gimbal.").frees
    assert (unit.name, unit.sure) == ("gimbal", False)


@pytest.mark.parametrize(
    ("text", "count"),
    [
        ("Undo the six screws. Lift off the lid.", 2),
        ("Undo the six screws and lift off the lid.", 1),
        ("undo the six screws then lift off the lid and then unplug the fan", 3),
        ("Undo the six screws. They are all the same length. Keep them together.", 1),
        ("Peel off the seal. Pull it slowly. Throw it away.", 1),
        ("Hello and welcome. Today we open the meter. First undo the two screws. Next, lift the lid.", 2),
        ("1. Undo 2 screws\n2. Lift lid\n3. Unplug fan", 3),
        ("- Undo 2 screws\n- Lift off lid\n- Unplug fan lead", 3),
        ("Undo the two screws at\nthe bottom edge of the\nframe. Lift the lid.", 2),
    ],
)
def test_steps_begin_where_something_new_is_done(text: str, count: int) -> None:
    steps = drafted(text).steps
    assert len(steps) == count, [step.text for step in steps]


def test_a_count_before_a_driver_with_its_size_is_no_size() -> None:
    said = "Take out the four Torx T6 screws round the rim."
    assert sizes(said) == ["T6"]
    assert released(said) == [("screw", 4)]
