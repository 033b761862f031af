"""What the rig's tests share: a site on each database in turn, a ledger, and the check at the end."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import pytest

from app.platform.db import Database
from tests.faults.agreement import Agreement, compare, project_faults
from tests.faults.ledger import Ledger
from tests.faults.served import Nursery, Served, environment


@dataclass
class Rig:
    """A database with the cast, the folder of its site, the server that is not started yet, and the ledger."""

    db: Database
    folder: Path
    server: Served
    ledger: Ledger

    @property
    def database_url(self) -> str:
        """The URL of a PostgreSQL database; empty for the SQLite file in the folder."""
        return "" if self.db.is_sqlite else self.db.url

    def by_command(self) -> None:
        """Have the server started as people start it: by the ``countback serve`` command."""
        self.server = Served(self.folder, self.database_url)

    def agrees(self, alone: bool = True) -> Agreement:
        """Hold the database, once nothing waits, against the ledger, the project's check and SQLite's own."""
        found = compare(self.db, self.ledger, True, alone)
        assert found.lost == []
        assert found.doubled == []
        assert found.other == []
        assert project_faults(self.db) == []
        return found


@pytest.fixture(scope="session")
def nursery(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Nursery]:
    """A process that has the app imported and starts servers in a fraction of the time."""
    folder = tmp_path_factory.mktemp("nursery")
    made = Nursery(environment(folder), folder / "nursery.log")
    yield made
    made.close()


@contextmanager
def _site(db: Database, folder: Path, nursery: Nursery) -> Iterator[Rig]:
    made = Rig(db, folder, Served(folder, "" if db.is_sqlite else db.url, nursery), Ledger(folder / "ledger.jsonl"))
    yield made
    made.server.stop()
    made.ledger.close()


@pytest.fixture
def rig(db: Database, tmp_path: Path, nursery: Nursery) -> Iterator[Rig]:
    """A site that is served by a process of its own; its SQLite file is the test's ``countback.db``."""
    with _site(db, tmp_path, nursery) as made:
        yield made


@pytest.fixture
def sqlite_rig(sqlite_template: Path, tmp_path: Path, nursery: Nursery) -> Iterator[Rig]:
    """The same on SQLite alone, for what does not depend on the database."""
    path = tmp_path / "countback.db"
    shutil.copyfile(sqlite_template, path)
    db = Database(f"sqlite:///{path}")
    with _site(db, tmp_path, nursery) as made:
        yield made
    db.dispose()
