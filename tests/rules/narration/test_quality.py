"""The quality of the drafts keeps a floor, a little under what was reached; and the gold itself is sound."""

import pytest

from app.rules.narration import read_source
from tests.rules.narration.benchmark import HALVES, MEASURES, WORD, gold_files, measure, overall

FLOORS = {"building": (0.96, 0.95), "held": (0.93, 0.92), "aside": (0.92, 0.90)}
"""Precision and recall over all measures."""
BARE_FLOORS = {"building": (0.96, 0.94), "held": (0.90, 0.87), "aside": (0.86, 0.88)}
"""The same without any punctuation."""
SIZES = {"building": 16, "held": 8, "aside": 2}


@pytest.mark.parametrize("bare", [False, True], ids=["as-written", "without-punctuation"])
@pytest.mark.parametrize("half", HALVES)
def test_the_drafts_do_not_get_worse(half: str, bare: bool) -> None:
    total = overall(measure(half, bare))
    precision, recall = (BARE_FLOORS if bare else FLOORS)[half]
    assert total.precision >= precision
    assert total.recall >= recall


def test_each_part_has_its_narrations_and_the_large_ones_have_all_measures() -> None:
    for half in HALVES:
        assert len(list(gold_files(half))) == SIZES[half]
    for half in ("building", "held"):
        tallies = measure(half)
        assert all(tallies[name].right + tallies[name].missed >= 8 for name in MEASURES)


@pytest.mark.parametrize("half", HALVES)
def test_gold_words_stand_where_the_gold_says(half: str) -> None:
    for path, gold in gold_files(half):
        words = WORD.findall(read_source(path.name, path.read_bytes()).text)
        for step in gold["steps"]:
            items = [(step["at"], step["begins"])]
            items += [(i["at"], i["words"]) for key in step if isinstance(step[key], list) for i in step[key]]
            for at, said in items:
                wanted = WORD.findall(said)
                assert words[at : at + len(wanted)] == wanted, (path.name, said)
