"""Fixtures of the stores tests."""

import pytest

from app.platform.db import Database
from tests.stores.shop import stock_shop


@pytest.fixture
def shop(db: Database) -> Database:
    """A database with the small standing catalogue and empty shelves."""
    with db.write() as session:
        stock_shop(session)
    return db
