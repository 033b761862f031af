"""README.md and DEVELOPERS.md, held against the code."""

import re
import tomllib
from typing import Any

import pytest

from app.people.models import Role
from app.platform.settings import Settings
from tests.code import ROOMS, ROOT, name_of, sources

pytestmark = pytest.mark.house

README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8") if (ROOT / "DEVELOPERS.md").exists() else ""


def _section(text: str, heading: str) -> str:
    found = re.search(rf"^## {re.escape(heading)}\n(.*?)(?=^## |\Z)", text, re.MULTILINE | re.DOTALL)
    assert found, f"no section {heading!r}"
    return found.group(1)


def _only_line(heading: str) -> str:
    blocks = re.findall(r"^```sh\n(.*?)^```", _section(README, heading), re.MULTILINE | re.DOTALL)
    assert len(blocks) == 1
    lines = blocks[0].strip().splitlines()
    assert len(lines) == 1
    return str(lines[0])


def test_the_readme_opens_with_what_it_is_for() -> None:
    """One paragraph after the title, before anything else."""
    title, paragraph = README.split("\n\n")[:2]
    assert title == "# Countback"
    assert paragraph.startswith("Countback is")
    assert "\n" not in paragraph


def test_run_is_one_line() -> None:
    """It makes the environment, installs, and starts the demo."""
    line = _only_line("Run")
    assert line.startswith("python3 -m venv .venv && ")
    assert "-e ." in line
    assert line.endswith("countback demo")


def test_the_test_is_one_line_and_ci_runs_it() -> None:
    """The whole suite; the script reads the line from the README."""
    line = _only_line("Test")
    assert line.startswith("python3 -m venv .venv && ")
    assert "'.[test]'" in line
    assert "pytest" in line
    script = ROOT / ".ci" / "run"
    assert script.stat().st_mode & 0o111
    assert "COUNTBACK_REQUIRE_BROWSER=1" in script.read_text(encoding="utf-8")


def test_the_readme_lists_every_setting() -> None:
    """By its name in the environment, and none that is not there."""
    named = set(re.findall(r"^\| `(COUNTBACK_\w+)`", _section(README, "Settings"), re.MULTILINE))
    assert named == {f"COUNTBACK_{name.upper()}" for name in Settings.model_fields}


def test_every_setting_says_what_it_is_for() -> None:
    """The command prints it."""
    assert [name for name, field in Settings.model_fields.items() if not field.description] == []


def _tree() -> dict[str, str]:
    """Return the annotated tree of DEVELOPERS.md: path and note."""
    block = re.search(r"^```text\n(.*?)^```", _section(DEVELOPERS, "The tree"), re.MULTILINE | re.DOTALL)
    assert block
    found: dict[str, str] = {}
    above = ""
    for line in block.group(1).splitlines():
        match = re.fullmatch(r"(\s*)(\S+)\s{2,}(\S.*)", line)
        assert match, f"no note in: {line}"
        indent, name, note = match.groups()
        path = f"{above}{name}" if indent else name
        if not indent:
            above = name if name.endswith("/") else ""
        found[path] = note
    return found


def test_the_tree_is_that_of_the_project() -> None:
    """Every path in it exists, and every room and folder of the app is in it."""
    tree = _tree()
    assert [path for path in tree if not (ROOT / path).exists()] == []
    inside = {p.name + ("/" if p.is_dir() else "") for p in (ROOT / "app").iterdir() if p.name not in _HIDDEN}
    assert {path.removeprefix("app/") for path in tree if path.startswith("app/") and path != "app/"} == inside
    assert {f"app/{room}/" for room in ROOMS} <= set(tree)


_HIDDEN = {"__pycache__", "__init__.py", "_bundled"}


def test_the_glossary_has_the_words_of_the_trade() -> None:
    """Those that code, pages and tests use."""
    glossary = _section(DEVELOPERS, "Glossary")
    for word in ("job", "target", "fixing", "tray pocket", "closing count", "discard", "hold", "kit", "movement"):
        assert re.search(rf"\*\*{word}\*\*|, \*\*{word}\*\*", glossary), word


def test_the_roles_are_those_of_the_code() -> None:
    """Named as they are stored."""
    named = set(re.findall(r"^- `(\w+)`", _section(DEVELOPERS, "Roles"), re.MULTILINE))
    assert named == {role.value for role in Role}


def test_how_to_add_things_is_told() -> None:
    """An action, a room, a migration, a setting."""
    for thing in ("an action", "a room", "a migration", "a setting"):
        assert f"### Add {thing}" in DEVELOPERS


def test_the_house_rules_name_tests_that_exist() -> None:
    """Each rule says which test runs it."""
    named = set(re.findall(r"`(test_\w+)`", DEVELOPERS))
    assert named
    known = {
        match for path in sources("tests") for match in re.findall(r"def (test_\w+)", path.read_text(encoding="utf-8"))
    }
    assert named - known - {path.stem for path in sources("tests")} == set()


def test_every_direct_dependency_is_pinned_or_bounded() -> None:
    """Each has a version that is known to work."""
    project: dict[str, Any] = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    loose = [d for d in project["dependencies"] if not re.search(r"[=><]", d.split(";")[0])]
    assert loose == []


def test_no_document_names_a_missing_file() -> None:
    """Paths in back-quotes that look like ours exist."""
    for name, text in (("README.md", README), ("DEVELOPERS.md", DEVELOPERS)):
        for path in re.findall(r"`((?:app|tests|templates|static|migrations|seed_data)/[\w/.-]*\w)`", text):
            assert (ROOT / path).exists(), f"{name} names {path}"
    assert name_of(ROOT / "README.md") == "README.md"
