"""The tools of the house: import contracts, lint, format, types. Each runs whole, as a test."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

from tests.code import ROOT

pytestmark = [pytest.mark.house, pytest.mark.slow, pytest.mark.xdist_group("tools")]

BIN = Path(sys.executable).parent


def _runs(*command: str) -> None:
    environment = {**os.environ, "NO_COLOR": "1"}
    done = subprocess.run(command, cwd=ROOT, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{' '.join(command)}\n{done.stdout[-6000:]}\n{done.stderr[-3000:]}"


def test_the_rooms_keep_their_import_contracts() -> None:
    """Layers of rooms, layers inside a room, pure rules, a review that only reads."""
    _runs(str(BIN / "lint-imports"), "--no-cache")


def test_the_code_is_free_of_lint() -> None:
    """As set in pyproject.toml."""
    _runs(str(BIN / "ruff"), "check", "--no-cache", ".")


def test_the_code_is_formatted() -> None:
    """As set in pyproject.toml."""
    _runs(str(BIN / "ruff"), "format", "--no-cache", "--check", ".")


def test_the_types_hold() -> None:
    """Strictly, app and tests."""
    _runs(str(BIN / "mypy"), "--strict")
