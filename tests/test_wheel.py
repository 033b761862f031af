"""What an installed wheel brings along: everything the program reads at run time."""

import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from tests.code import ROOT

pytestmark = [pytest.mark.house, pytest.mark.slow]

BUILD = "import sys; from hatchling.build import build_wheel; print(build_wheel(sys.argv[1]))"


def test_a_wheel_carries_all_it_needs(tmp_path: Path) -> None:
    """Templates, static files with the vendor's, migrations, seed data; no tests."""
    pytest.importorskip("hatchling", reason="hatchling builds the wheel")
    command = [sys.executable, "-c", BUILD, str(tmp_path)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-3000:]
    wheel = tmp_path / done.stdout.split()[-1]
    with zipfile.ZipFile(wheel) as archive:
        names = archive.namelist()
    for wanted in (
        "app/main.py",
        "app/cli/__init__.py",
        "app/demo/history.py",
        "app/_bundled/templates/base.html",
        "app/_bundled/static/css/base.css",
        "app/_bundled/static/vendor/htmx.min.js",
        "app/_bundled/migrations/env.py",
        "app/_bundled/seed_data/parts.csv",
        "app/_bundled/seed_data/procedures/skarv-h2.yaml",
    ):
        assert wanted in names
    assert any(name.startswith("app/_bundled/migrations/versions/0001") for name in names)
    assert not any(name.startswith("tests/") or "node_modules" in name for name in names)
    for folder in ("templates", "seed_data", "migrations", "static/css", "static/js", "static/img"):
        for path in (ROOT / folder).rglob("*"):
            if path.is_file() and "__pycache__" not in path.parts:
                assert f"app/_bundled/{path.relative_to(ROOT).as_posix()}" in names
