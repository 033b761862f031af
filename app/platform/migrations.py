"""Alembic from the inside: bring a database to the newest migration, and tell where it stands."""

from alembic import command
from alembic.config import Config
from alembic.runtime.migration import MigrationContext
from alembic.script import ScriptDirectory

from app.platform.db import Database
from app.platform.errors import Refused
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


def behind(db: Database) -> str:
    """Return in words why the database does not stand at the newest migration and what to do; empty when it does."""
    at, head = current_revision(db), head_revision()
    if at == head:
        return ""
    if at is None:
        return "It has no tables yet. Run: countback migrate"
    if at not in _known():
        return f"It stands at migration {at}, newer than this program's {head}. Use the program that made it, or newer."
    return f"It stands at migration {at}, wanted {head}. Run: countback migrate"


def _known() -> set[str]:
    return {script.revision for script in ScriptDirectory.from_config(alembic_config()).walk_revisions()}


def current_revision(db: Database) -> str | None:
    """Return the migration the database stands at, or None for an empty one."""
    with db.engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def upgrade(db: Database) -> None:
    """Bring the database to the newest migration; Refused when it stands at one that this program does not know."""
    at = current_revision(db)
    if at is not None and at not in _known():
        raise Refused(behind(db))
    command.upgrade(alembic_config(db), "head")
