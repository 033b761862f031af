"""Fixtures of the jobs tests."""

import pytest

from app.platform.db import Database
from tests.jobs.front import open_workshop


@pytest.fixture
def front(db: Database) -> Database:
    """A database with the front office's small workshop in it."""
    open_workshop(db)
    return db
