"""Alembic from the inside: bring a database to the newest migration, and tell where it stands."""

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from app.platform.db import Database
from app.platform.resources import resource


def alembic_config(db: Database | None = None) -> Config:
    """Return the Alembic configuration; ``db`` is handed to the environment script."""
    config = Config()
    config.set_main_option("script_location", str(resource("migrations")))
    config.attributes["db"] = db
    return config


def head_revision() -> str:
    """Return the newest migration the code knows."""
    head = ScriptDirectory.from_config(alembic_config()).get_current_head()
    return head or "none"


def current_revision(db: Database) -> str | None:
    """Return the migration the database stands at, or None for an empty one."""
    with db.engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def upgrade(db: Database) -> None:
    """Bring the database to the newest migration."""
    command.upgrade(alembic_config(db), "head")
