"""The quality of the drafts keeps a floor, a little under what was reached; and the gold itself is sound."""

import pytest

from app.rules.narration import read_source
from tests.rules.narration.benchmark import MEASURES, WORD, gold_files, measure, overall

FLOORS = {"building": (0.98, 0.98), "held": (0.93, 0.89)}
"""Precision and recall over all measures."""


@pytest.mark.parametrize("half", ["building", "held"])
def test_the_drafts_do_not_get_worse(half: str) -> None:
    total = overall(measure(half))
    precision, recall = FLOORS[half]
    assert total.precision >= precision
    assert total.recall >= recall


def test_each_half_has_eight_narrations_and_all_measures() -> None:
    for half in ("building", "held"):
        assert len(list(gold_files(half))) == 8
        tallies = measure(half)
        assert all(tallies[name].right + tallies[name].missed >= 8 for name in MEASURES)


@pytest.mark.parametrize("half", ["building", "held"])
def test_gold_words_stand_where_the_gold_says(half: str) -> None:
    for path, gold in gold_files(half):
        words = WORD.findall(read_source(path.name, path.read_bytes()).text)
        for step in gold["steps"]:
            items = [(step["at"], step["begins"])]
            items += [(i["at"], i["words"]) for key in step if isinstance(step[key], list) for i in step[key]]
            for at, said in items:
                wanted = WORD.findall(said)
                assert words[at : at + len(wanted)] == wanted, (path.name, said)
