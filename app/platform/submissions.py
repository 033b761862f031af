"""Exactly once: a write is claimed by its id and a hash of its content before anything else happens."""

import hashlib
import json
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from functools import lru_cache
from typing import Annotated, Any
from uuid import UUID

from pydantic import Field
from sqlalchemy import update
from sqlalchemy.dialects import postgresql, sqlite
from sqlmodel import Session, col, select

from app.platform.errors import AlreadyDone, Conflict, Refused
from app.platform.models import Submission

SubmissionId = Annotated[
    str,
    Field(
        pattern=r"^[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12}$",
        description="UUIDv7 made by the caller; the same again gives the first outcome.",
        json_schema_extra={"format": "uuid"},
        examples=["019aca3a-cad0-72de-9e46-d6b3d1dfe5c9"],
    ),
]
"""The id that every write of the API carries."""


def canonical(content: Any) -> bytes:
    """Return the canonical JSON (RFC 8785) of plain content: strings, whole numbers, booleans, none, lists, maps.

    The standard library's encoder gives the same bytes as RFC 8785 as long as keys are ASCII and there are no
    fractions, and is ten times as fast as a canonicaliser in Python; a test compares it with one. Decimals,
    dates and other values are written as text, bytes as their SHA-256. Floats have no place in it: their spelling
    differs from the standard's.
    """
    text = _ENCODER.encode(content)
    return text.encode()


def _as_text(value: Any) -> str:
    if isinstance(value, bytes):
        return hashlib.sha256(value).hexdigest()
    return str(value)


_ENCODER = json.JSONEncoder(
    sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False, check_circular=False, default=_as_text
)


def content_hash(content: Any) -> str:
    """Return the SHA-256 hex digest of the canonical JSON of ``content``."""
    return hashlib.sha256(canonical(content)).hexdigest()


def valid_id(value: str) -> str:
    """Return the id in its normal form; Refused when it is not a UUID."""
    try:
        return str(UUID(value))
    except ValueError as error:
        raise Refused("This form has lost its number. Reload the page and send it again.") from error


@lru_cache(maxsize=64)
def _insert_once_statement(dialect: str, table: Any) -> Any:
    make = postgresql.insert if dialect == "postgresql" else sqlite.insert
    # RETURNING tells an inserted row from a skipped one on both databases; rowcount does not.
    return make(table).on_conflict_do_nothing().returning(*table.__table__.primary_key.columns)


def insert_once(session: Session, table: Any, values: Mapping[str, Any]) -> bool:
    """Insert a row unless its key is there; True when it was inserted. Waits for a rival writer on PostgreSQL."""
    statement = _insert_once_statement(session.get_bind().dialect.name, table)
    return session.connection().execute(statement, values).first() is not None


def claim(session: Session, submission_id: str, content: Any, who: int | None, at: datetime) -> str:
    """Claim a submission before acting on it; returns the normal form of the id.

    Raises AlreadyDone with the first outcome when the same content was stored before, and Conflict when the
    same id came with other content.
    """
    key = valid_id(submission_id)
    digest = content_hash(content)
    row = {"id": key, "content_hash": digest, "person_id": who, "location": "", "created_at": at}
    if insert_once(session, Submission, row):
        return key
    known = session.exec(select(Submission).where(col(Submission.id) == key)).one()
    if known.content_hash != digest:
        raise Conflict(
            "This form was already sent with other content, and that was stored. "
            "Reload the page to see it, then make the change again."
        )
    raise AlreadyDone(known.location)


@dataclass
class Outcome:
    """Where the outcome of a write is shown; its ``name`` is the last part of that address."""

    location: str = ""

    def settle(self, session: Session, submission_id: str, location: str) -> None:
        """Note where the outcome of a claimed submission is shown."""
        self.location = location
        settle(session, submission_id, location)

    @property
    def name(self) -> str:
        """What the outcome is called, such as an order's number."""
        return self.location.rpartition("/")[2]


@contextmanager
def first_outcome() -> Iterator[Outcome]:
    """Let a write of the API be sent again: what was stored before is not stored twice, and its outcome is known.

    Stands outside ``db.write()``. Pages need it not: their repeat is led to the first outcome by a redirect, which a
    program that has posted does not expect.
    """
    found = Outcome()
    try:
        yield found
    except AlreadyDone as done:
        found.location = done.location


def settle(session: Session, submission_id: str, location: str) -> None:
    """Note where the outcome of a claimed submission is shown."""
    session.connection().execute(
        update(Submission).where(col(Submission.id) == submission_id).values(location=location)
    )
