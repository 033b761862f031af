"""What the service stands on: database version, durability settings, migration head, a trial write."""

from dataclasses import dataclass
from typing import Any

from sqlalchemy import text
from sqlalchemy.exc import SQLAlchemyError

from app.platform.db import Database
from app.platform.migrations import behind, current_revision
from app.platform.settings import Settings


@dataclass(frozen=True)
class Readiness:
    """Whether the service can take work, and the faults in words. ``warnings`` do not stop it."""

    database: str
    migration: str
    faults: tuple[str, ...]
    warnings: tuple[str, ...]

    @property
    def ready(self) -> bool:
        """No fault was found."""
        return not self.faults

    def as_json(self) -> dict[str, Any]:
        """Return the plain form that /readyz answers with."""
        return {
            "status": "ready" if self.ready else "not ready",
            "database": self.database,
            "migration": self.migration,
            "faults": list(self.faults),
            "warnings": list(self.warnings),
        }


def readiness(db: Database, settings: Settings) -> Readiness:
    """Check the database; never raises for one that does not answer."""
    faults: list[str] = []
    warnings: list[str] = []
    version, migration = "unknown", "unknown"
    try:
        version = db.server_version()
        warnings = db.setting_faults()
        migration = current_revision(db) or "none"
        late = behind(db)
        if late:
            faults.append(f"The database is not at the newest migration. {late}")
        else:
            _trial_write(db)
    except SQLAlchemyError as error:
        faults.append(
            "The disk is full: the database does not take writes. Free some space."
            if db.out_of_space(error)
            else f"The database does not take writes: {_kind(error)}."
        )
    return Readiness(version, migration, tuple(faults), tuple(warnings))


def _kind(error: SQLAlchemyError) -> str:
    """Return what kind of error it is. Whoever asks may be anybody: the driver's words, with addresses, stay inside."""
    if "readonly database" in str(getattr(error, "orig", "")):
        return "its file or folder may not be written to. Check whose it is"
    return error.__class__.__name__


def _trial_write(db: Database) -> None:
    """Write and take back one row: a full disk or a read-only database shows here, not at the next tick."""
    with db.write() as session:
        session.connection().execute(text("INSERT INTO heartbeat (id) VALUES (1) ON CONFLICT DO NOTHING"))
        session.connection().execute(text("UPDATE heartbeat SET beats = beats + 1 WHERE id = 1"))
