"""Imports all models so that Alembic sees every table; nothing else imports this module."""

from sqlmodel import SQLModel

import app.jobs.models
import app.people.models
import app.platform.models
import app.procedures.models
import app.stores.models  # noqa: F401

metadata = SQLModel.metadata
