"""The source code as the house-rule tests read it."""

import ast
import subprocess
from collections.abc import Iterator
from functools import lru_cache
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
ROOMS = ("platform", "people", "stores", "procedures", "jobs", "review")


def sources(*folders: str) -> Iterator[Path]:
    """Yield the Python files of our own under some folders of the project."""
    for folder in folders:
        for path in sorted((ROOT / folder).rglob("*.py")):
            if not {"__pycache__", "node_modules", "vendor"} & set(path.parts):
                yield path


@lru_cache(maxsize=2000)
def tree(path: Path) -> ast.Module:
    """Return a file's syntax tree."""
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def name_of(path: Path) -> str:
    """Return a file's path as the project knows it."""
    return path.relative_to(ROOT).as_posix()


def in_git() -> bool:
    """Whether this is a checkout whose files git knows."""
    return (ROOT / ".git").exists()


def tracked() -> list[Path]:
    """Return the files that are in the repository or would join it."""
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    return [path for name in done.stdout.split("\0") if name and (path := ROOT / name).is_file()]
