"""Settings from the environment, prefix ``COUNTBACK_``; each is documented by its description."""

from decimal import Decimal
from functools import lru_cache
from pathlib import Path
from typing import Annotated
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import Field, field_validator
from pydantic_settings import BaseSettings, SettingsConfigDict

from app.rules.money import minor_units


class Settings(BaseSettings):
    """Everything a site may set. Descriptions are printed by ``countback check --settings``."""

    model_config = SettingsConfigDict(env_prefix="COUNTBACK_", extra="ignore", frozen=True)

    site_name: Annotated[str, Field(max_length=60, description="Name of the workshop, on pages and sheets.")] = (
        "Countback workshop"
    )
    data_dir: Annotated[Path, Field(description="Folder of the SQLite database and the key file.")] = Path("data")
    database_url: Annotated[
        str, Field(description="postgresql+psycopg://… for PostgreSQL; empty for SQLite in the data folder.")
    ] = ""
    host: Annotated[str, Field(description="Address the server listens on.")] = "127.0.0.1"
    port: Annotated[int, Field(ge=0, le=65535, description="Port the server listens on.")] = 8080
    time_zone: Annotated[str, Field(description="The workshop's zone, an IANA name.")] = "Europe/Copenhagen"
    currency: Annotated[str, Field(description="Currency of all money, an ISO 4217 code.")] = "EUR"
    labour_rate: Annotated[Decimal, Field(ge=0, description="Price of one hour of bench time.")] = Decimal("54.00")
    shift_end: Annotated[
        str,
        Field(pattern=r"^([01]\d|2[0-3]):[0-5]\d$", description="Local time at which open bench time ends."),
    ] = "18:00"
    session_hours: Annotated[int, Field(ge=1, le=720, description="Hours a sign-in lasts without use.")] = 12
    secure_cookies: Annotated[
        bool, Field(description="Send cookies over TLS only, under a __Host- name. Needs HTTPS in front.")
    ] = False
    trusted_origins: Annotated[
        str, Field(description="Comma-separated origins that may post forms besides the page's own host.")
    ] = ""
    pool_size: Annotated[int, Field(ge=1, le=100, description="Database connections a process keeps open.")] = 20
    demo: Annotated[bool, Field(description="Demo workshop: shows its sign-in names and codes. Never for work.")] = (
        False
    )
    log_level: Annotated[str, Field(pattern=r"^(debug|info|warning|error)$", description="Least level logged.")] = (
        "info"
    )

    @field_validator("time_zone")
    @classmethod
    def _zone_is_known(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (ZoneInfoNotFoundError, ValueError) as error:
            raise ValueError("not a known time zone; use an IANA name such as Europe/Copenhagen") from error
        return value

    @field_validator("currency")
    @classmethod
    def _currency_is_known(cls, value: str) -> str:
        minor_units(value)
        return value

    @property
    def zone(self) -> ZoneInfo:
        """The workshop's time zone."""
        return ZoneInfo(self.time_zone)

    @property
    def url(self) -> str:
        """SQLAlchemy URL of the database in use."""
        if self.database_url:
            return self.database_url.replace("postgresql://", "postgresql+psycopg://", 1)
        return f"sqlite:///{(self.data_dir / 'countback.db').resolve()}"


@lru_cache(maxsize=1)
def get_settings() -> Settings:
    """Return the settings of this process, read once."""
    return Settings()
