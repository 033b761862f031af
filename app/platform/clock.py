"""The one place that reads the clock and makes time-ordered ids."""

import secrets
import time
from datetime import UTC, datetime
from uuid import UUID


def now() -> datetime:
    """Return the current instant, aware, in UTC."""
    return datetime.now(UTC)


def uuid7(at: datetime | None = None) -> str:
    """Return a UUIDv7 (RFC 9562, 5.7): 48 bits of Unix milliseconds, then random bits."""
    millis = time.time_ns() // 1_000_000 if at is None else int(at.timestamp() * 1000)
    value = (millis & (1 << 48) - 1) << 80 | 0x7 << 76 | secrets.randbits(12) << 64 | 0b10 << 62 | secrets.randbits(62)
    return str(UUID(int=value))
