"""Alembic environment: runs on the database that the app hands in, or on the one the settings name."""

from typing import Any

from alembic import context
from sqlalchemy import text

from app.platform.db import Database, make_database
from app.platform.settings import get_settings
from app.tables import metadata


def _render_item(kind: str, item: Any, autogen_context: Any) -> Any:
    """Write plain SQLAlchemy types into migrations: they import nothing of the app."""
    if kind != "type":
        return False
    name = type(item).__name__
    if name == "AutoString":
        return f"sa.String(length={item.length})"
    if name == "UTCDateTime":
        return "sa.DateTime(timezone=True)"
    if name == "Scaled":
        return "sa.BigInteger()"
    if name == "JSON":
        autogen_context.imports.add("from sqlalchemy.dialects import postgresql")
        return "sa.JSON(none_as_null=True).with_variant(postgresql.JSONB(none_as_null=True), 'postgresql')"
    return False


def _configure(connection: Any, *, sqlite: bool) -> None:
    context.configure(
        connection=connection,
        target_metadata=metadata,
        render_as_batch=sqlite,
        compare_type=True,
        render_item=_render_item,
        compare_server_default=True,
        transaction_per_migration=False,
    )


def run() -> None:
    """Run the migrations. SQLite's foreign keys are off meanwhile: batch changes would cascade to children."""
    db: Database = context.config.attributes.get("db") or make_database(get_settings())
    with db.engine.connect() as connection:
        if db.is_sqlite:
            driver = connection.connection.dbapi_connection
            assert driver is not None
            driver.execute("PRAGMA foreign_keys=OFF")
            assert driver.execute("PRAGMA foreign_keys").fetchone()[0] == 0
        try:
            connection = connection.execution_options(countback_write=True)
            _configure(connection, sqlite=db.is_sqlite)
            with context.begin_transaction():
                context.run_migrations()
            if connection.in_transaction():
                connection.commit()
            if db.is_sqlite:
                broken = connection.execute(text("PRAGMA foreign_key_check")).fetchall()
                assert not broken, f"foreign keys broken by the migration: {broken[:5]}"
                connection.rollback()
        finally:
            if db.is_sqlite:
                driver.execute("PRAGMA foreign_keys=ON")


run()
