"""Migrations: they build what the models say, on both databases, and they can be taken back."""

import re
import warnings
from typing import Any

import pytest
from alembic import command
from sqlalchemy import CheckConstraint, create_engine, inspect
from sqlalchemy.dialects import sqlite
from sqlalchemy.engine import Engine
from sqlalchemy.exc import SAWarning

from app.platform.db import Database
from app.platform.migrations import alembic_config, current_revision, head_revision, upgrade
from app.tables import metadata

_QUOTED = re.compile(r"'((?:[^']|'')*)'")


def test_the_migrated_tables_are_those_of_the_models(db: Database) -> None:
    """Tables, columns, types, defaults, indexes and keys; alembic's own comparison."""
    assert current_revision(db) == head_revision()
    command.check(alembic_config(db))


def _wanted_checks() -> dict[str, dict[str, str]]:
    """Return the models' named CHECK constraints as SQLite text, by table."""
    found: dict[str, dict[str, str]] = {}
    for table in metadata.sorted_tables:
        for constraint in table.constraints:
            if isinstance(constraint, CheckConstraint):
                text = constraint.sqltext.compile(dialect=sqlite.dialect(), compile_kwargs={"literal_binds": True})
                found.setdefault(table.name, {})[_full_name(table.name, constraint)] = str(text)
    return found


def _full_name(table: str, constraint: CheckConstraint) -> str:
    name = str(constraint.name)
    return name if name.startswith("ck_") else f"ck_{table}_{name}"


def _stored_checks(engine: Engine) -> dict[str, dict[str, str]]:
    inspector = inspect(engine)
    found: dict[str, dict[str, str]] = {}
    for table in metadata.tables:
        checks: list[Any] = inspector.get_check_constraints(table)
        for check in checks:
            found.setdefault(table, {})[str(check["name"])] = str(check["sqltext"])
    return found


def test_the_migrated_checks_are_those_of_the_models(db: Database) -> None:
    """Alembic does not see a new member of an enumeration or a changed CHECK; this does."""
    wanted, stored = _wanted_checks(), _stored_checks(db.engine)
    assert {t: sorted(c) for t, c in stored.items()} == {t: sorted(c) for t, c in wanted.items()}
    for table, checks in wanted.items():
        for name, text in checks.items():
            assert set(_QUOTED.findall(stored[table][name])) == set(_QUOTED.findall(text)), f"{table}.{name}"
            if db.is_sqlite:
                assert _plain(stored[table][name]) == _plain(text.replace(f"{table}.", "")), f"{table}.{name}"


def _plain(text: str) -> str:
    return re.sub(r"[\s\"()]", "", text).casefold()


def _structure(db: Database) -> dict[str, Any]:
    engine = create_engine(db.engine.url) if not db.is_sqlite else db.engine
    inspector = inspect(engine)
    found = {
        table: (
            sorted((c["name"], str(c["type"]), c["nullable"]) for c in inspector.get_columns(table)),
            sorted(
                (i["name"] or "", tuple(i["column_names"]), bool(i["unique"])) for i in inspector.get_indexes(table)
            ),
            sorted(str(c["name"]) for c in inspector.get_check_constraints(table)),
            sorted(str(f["name"]) for f in inspector.get_foreign_keys(table)),
        )
        for table in sorted(inspector.get_table_names())
        if table != "alembic_version"
    }
    if not db.is_sqlite:
        engine.dispose()
    return found


def test_the_migrations_go_down_and_up_again(db: Database) -> None:
    """Down to nothing, and up to exactly what was there."""
    with warnings.catch_warnings():
        # SQLite's reflection warns about index expressions it cannot read; they are compared by name.
        warnings.simplefilter("ignore", SAWarning)
        before = _structure(db)
        command.downgrade(alembic_config(db), "base")
        assert _structure(db) == {}
        upgrade(db)
        assert _structure(db) == before


def test_an_upgrade_of_the_newest_changes_nothing(db: Database) -> None:
    """A second run is quiet."""
    upgrade(db)
    assert current_revision(db) == head_revision()


@pytest.mark.parametrize("name", ["job", "bench_event", "movement", "submission"])
def test_the_facts_have_their_tables(name: str) -> None:
    """The tables that everything else is derived from are known to the migrations."""
    assert name in metadata.tables
