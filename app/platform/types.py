"""Column types that behave the same on SQLite and PostgreSQL."""

from decimal import Decimal
from enum import StrEnum
from typing import Any

from sqlalchemy import JSON, BigInteger, Enum, Integer
from sqlalchemy.dialects.postgresql import JSONB
from sqlalchemy.engine import Dialect
from sqlalchemy.types import TypeDecorator
from sqlmodel import SQLModel

# Stands before the first model: every model file imports from here.
SQLModel.metadata.naming_convention = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_N_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

# A SQLite rowid alias must be INTEGER; PostgreSQL ids are 64 bits so that a million jobs' events fit.
BigId = BigInteger().with_variant(Integer(), "sqlite")

Json = JSON(none_as_null=True).with_variant(JSONB(none_as_null=True), "postgresql")


class Scaled(TypeDecorator[Decimal]):
    """Exact decimal stored as a scaled integer: Decimal would become REAL on SQLite.

    ``places`` is the number of decimals kept; a value with more is refused, never rounded in silence.
    """

    impl = BigInteger
    cache_ok = True

    def __init__(self, places: int = 4) -> None:
        super().__init__()
        self.places = places

    def process_bind_param(self, value: Decimal | None, dialect: Dialect) -> int | None:
        """Scale to an integer; ValueError when the value has more decimals than are kept."""
        if value is None:
            return None
        scaled = Decimal(value).scaleb(self.places)
        if scaled != scaled.to_integral_value():
            raise ValueError(f"{value} has more than {self.places} decimals")
        return int(scaled)

    def process_result_value(self, value: int | None, dialect: Dialect) -> Decimal | None:
        """Scale back to a Decimal with exactly ``places`` decimals."""
        return None if value is None else Decimal(int(value)).scaleb(-self.places)


Money4 = Scaled(4)


def enum_type(cls: type[StrEnum], name: str) -> Any:
    """Return a checked VARCHAR column type for a string enum, stored by value, the same on both databases."""
    return Enum(
        cls,
        name=name,
        native_enum=False,
        create_constraint=True,
        length=24,
        values_callable=lambda e: [member.value for member in e],
        validate_strings=True,
    )
