"""The rules of the house, held against the code itself."""

import ast
import re
from collections.abc import Iterator
from enum import StrEnum
from importlib import import_module
from pathlib import Path

import pytest

from tests.code import ROOMS, ROOT, in_git, name_of, sources, tracked, tree

pytestmark = pytest.mark.house

LONGEST_FILE = 400
LONGEST_FUNCTION = 60
# What is longer for now. An entry may shrink or go; nothing joins without a good reason.
LONGER_FILES: dict[str, int] = {}
LONGER_FUNCTIONS: dict[str, int] = {}

TOP_LEVEL = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "app", "migrations", "templates", "static", "tests", "seed_data",
}  # fmt: skip


def _calls(path: Path) -> Iterator[tuple[int, str]]:
    """Yield line and dotted name of every call in a file."""
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Call):
            yield node.lineno, ast.unparse(node.func)


def _in_app_but(*rooms: str) -> Iterator[Path]:
    for path in sources("app"):
        if path.relative_to(ROOT / "app").parts[0] not in rooms:
            yield path


def test_only_the_platform_commits() -> None:
    """An action that commits would leave half a page's work behind when the next one refuses."""
    found = [
        f"{name_of(path)}:{line}"
        for path in _in_app_but("platform")
        for line, call in _calls(path)
        if call.endswith((".commit", ".begin_nested"))
    ]
    assert found == []


def test_only_the_platform_reads_the_clock() -> None:
    """Time is passed in everywhere else, so that it can be played in tests and in the demo."""
    banned = re.compile(r"(datetime|date)\.(now|utcnow|today)|time\.(time|time_ns|monotonic)")
    found = [
        f"{name_of(path)}:{line} {call}"
        for path in _in_app_but("platform")
        for line, call in _calls(path)
        if banned.fullmatch(call)
    ]
    assert found == []


def test_nothing_creates_tables_beside_the_migrations() -> None:
    """What is tested is what users get."""
    found = [
        f"{name_of(path)}:{line}"
        for path in sources("app", "migrations", "tests")
        for line, call in _calls(path)
        if call.endswith(".create_all")
    ]
    assert found == []


def test_chance_has_a_place_only_in_the_demo() -> None:
    """Ids and secrets come from the secrets module."""
    found = [name_of(path) for path in _in_app_but("demo") for module in _imports(path) if module[0] == "random"]
    assert found == []


def _imports(path: Path) -> Iterator[tuple[str, str]]:
    """Yield (module, name) of every import of a file; the name is empty for a plain import."""
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Import):
            yield from ((alias.name, "") for alias in node.names)
        elif isinstance(node, ast.ImportFrom) and node.module:
            yield from ((node.module, alias.name) for alias in node.names)


def test_a_rooms_models_and_routes_are_its_own() -> None:
    """Other rooms ask its queries and actions. Its enumerations are words that everybody may use."""
    found = []
    for path in sources("app"):
        own = path.relative_to(ROOT / "app").parts[0]
        if name_of(path) in ("app/tables.py", "app/main.py"):
            continue
        for module, name in _imports(path):
            parts = module.split(".")
            if len(parts) < 3 or parts[0] != "app" or parts[1] == own or parts[1] not in ROOMS:
                continue
            if parts[2] == "routes" or (parts[2] == "models" and not _is_enumeration(module, name)):
                found.append(f"{name_of(path)} imports {name} of {module}")
    assert found == []


def _is_enumeration(module: str, name: str) -> bool:
    found = getattr(import_module(module), name, None)
    return isinstance(found, type) and issubclass(found, StrEnum)


def test_model_files_keep_their_annotations() -> None:
    """Annotations as text would hide the column types from the table models."""
    found = [name_of(p) for p in sources("app") if p.name == "models.py" and "__future__" in dict(_imports(p))]
    assert found == []


def test_no_drawer_for_everything() -> None:
    """A name like that says nothing about what is inside."""
    names = {"utils", "util", "helpers", "misc"}
    found = [name_of(p) for p in sources("app", "tests") if names & {p.stem, *p.relative_to(ROOT).parts}]
    assert found == []


def test_files_stay_short() -> None:
    """Past the limit a file becomes a folder, one file an action."""
    lengths = {name_of(p): len(p.read_text(encoding="utf-8").splitlines()) for p in sources("app")}
    found = {name: n for name, n in lengths.items() if n > LONGER_FILES.get(name, LONGEST_FILE)}
    assert found == {}
    stale = {name: lengths.get(name) for name in LONGER_FILES if lengths.get(name, 0) <= LONGEST_FILE}
    assert stale == {}, "these are short now: take them off the list"


def test_functions_stay_short() -> None:
    """A function fits on a screen."""
    lengths = {}
    for path in sources("app"):
        for node in ast.walk(tree(path)):
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                key = f"{name_of(path)}:{node.name}"
                lengths[key] = (node.end_lineno or node.lineno) - node.lineno + 1
    found = {key: n for key, n in lengths.items() if n > LONGER_FUNCTIONS.get(key, LONGEST_FUNCTION)}
    assert found == {}
    assert set(LONGER_FUNCTIONS) <= {key for key, n in lengths.items() if n > LONGEST_FUNCTION}


def test_public_things_say_what_they_are_for() -> None:
    """Modules, dataclasses and public functions of the app carry a docstring."""
    found = []
    for path in sources("app"):
        module = tree(path)
        if path.stat().st_size and ast.get_docstring(module) is None:
            found.append(name_of(path))
        for node in module.body:
            if not isinstance(node, ast.FunctionDef | ast.ClassDef) or node.name.startswith("_"):
                continue
            if isinstance(node, ast.ClassDef) and not any("dataclass" in ast.unparse(d) for d in node.decorator_list):
                continue
            if ast.get_docstring(node) is None:
                found.append(f"{name_of(path)}:{node.name}")
    assert found == []


@pytest.mark.skipif(not in_git(), reason="no git checkout")
def test_the_top_level_is_fixed() -> None:
    """A newcomer finds the same few folders; dot files may join."""
    found = {path.relative_to(ROOT).parts[0] for path in tracked()}
    assert {name for name in found if not name.startswith(".")} == TOP_LEVEL


@pytest.mark.skipif(not in_git(), reason="no git checkout")
def test_no_file_names_a_place_on_somebodys_machine() -> None:
    """Absolute paths of one machine work on no other."""
    banned = re.compile(r"(?<![\w.])/(work|root|home/\w+|Users/\w+|tmp/\w+)/")
    found = []
    for path in tracked():
        if path.suffix in {".woff2", ".png", ".jpg", ".ico"}:
            continue
        for number, line in enumerate(path.read_text(encoding="utf-8", errors="replace").splitlines(), 1):
            if banned.search(line) and path != Path(__file__):
                found.append(f"{name_of(path)}:{number}: {line.strip()[:80]}")
    assert found == []


def test_the_lock_file_has_hashes_and_no_addresses() -> None:
    """Where the packages come from is the machine's own setting; what they are is fixed."""
    text = (ROOT / "static" / "package-lock.json").read_text(encoding="utf-8")
    assert '"resolved"' not in text
    assert "://" not in text
    assert text.count('"integrity"') >= 3


def test_third_party_files_are_not_committed() -> None:
    """The vendor folder is filled by the build."""
    ignored = (ROOT / ".gitignore").read_text(encoding="utf-8").split()
    assert {"static/vendor/", "node_modules/"} <= set(ignored)
