"""The demo workshop's staff and how they sign in. Used only where the demo setting is on."""

import csv
import hashlib
from functools import lru_cache

from app.people.models import Role
from app.people.secrets import check_secret
from app.platform.errors import Refused
from app.platform.resources import resource

_WORDS = (
    "anchor",
    "barrel",
    "candle",
    "dipper",
    "ember",
    "ferry",
    "gravel",
    "harbour",
    "island",
    "jetty",
    "kettle",
    "lantern",
    "meadow",
    "nettle",
    "oar",
    "pebble",
    "quilt",
    "rope",
    "sail",
    "timber",
)


@lru_cache(maxsize=1)
def demo_sign_ins() -> tuple[tuple[str, Role, str], ...]:
    """Return name, role and secret of the demo staff, the same on every machine, in the order of their file."""
    with (resource("seed_data") / "staff.csv").open(encoding="utf-8", newline="") as file:
        rows = [(row["name"].strip(), Role(row["role"].strip())) for row in csv.DictReader(file)]
    return tuple((name, role, _secret(name, role)) for name, role in rows)


def _secret(name: str, role: Role) -> str:
    """Derive an acceptable secret from the name: a PIN for technicians, three words and a number for the others."""
    for turn in range(100):
        digest = hashlib.sha256(f"countback demo {turn} {name}".encode()).digest()
        number = int.from_bytes(digest[:8], "big")
        if role is Role.TECHNICIAN:
            secret = f"{number % 1_000_000:06d}"
        else:
            words = [_WORDS[byte % len(_WORDS)] for byte in digest[8:11]]
            secret = f"{' '.join(words)} {number % 90 + 10}"
        try:
            return check_secret(role, secret)
        except Refused:
            continue
    raise AssertionError(f"no demo secret for {name}")
