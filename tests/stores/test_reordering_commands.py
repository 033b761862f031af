"""``countback reorder`` and ``countback simulate``, run as people run them."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from tests.test_cli import refuses, works

pytestmark = pytest.mark.slow


def test_given_demand_is_replayed_under_three_policies(tmp_path: Path) -> None:
    first = date(2023, 1, 2)
    rows = ["part,day,quantity"]
    for day in range(0, 1300, 3):
        rows.append(f"SEAL-1,{first + timedelta(days=day)},{1 + day % 2}")
    file = tmp_path / "demand.csv"
    file.write_text("\n".join(rows), encoding="utf-8")
    said = works("simulate", "--demand", str(file), folder=tmp_path)
    for words in ("demand.csv: 1 parts", "This policy", "Fixed card", "When empty", "exact optimum"):
        assert words in said, said
    file.write_text("part,day,quantity\nSEAL-1,yesterday,1\n", encoding="utf-8")
    assert "Row 2: part, day" in refuses("simulate", "--demand", str(file), folder=tmp_path)
    file.write_text("part,day,quantity\nSEAL-1,2026-01-05,1\n", encoding="utf-8")
    assert "at least two years" in refuses("simulate", "--demand", str(file), folder=tmp_path)


def test_all_parts_are_computed_anew_by_a_command(tmp_path: Path) -> None:
    works("migrate", folder=tmp_path)
    assert "0 parts computed" in works("reorder", folder=tmp_path)
