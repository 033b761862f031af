"""Passphrases and PINs: what is acceptable, how they are hashed and checked (Argon2id)."""

import hashlib
import hmac
import secrets as random_source
from itertools import pairwise

from argon2 import PasswordHasher
from argon2.exceptions import InvalidHashError, VerificationError

from app.people.models import Role
from app.platform.errors import Refused

# OWASP's least setting for Argon2id: 19 MiB, two passes, one lane.
_HASHER = PasswordHasher(time_cost=2, memory_cost=19 * 1024, parallelism=1)
PIN_DIGITS = 6
PASSPHRASE_LENGTH = 12
# What is easily taken for something else is left out: 0 O Q, 1 I L, 2 Z, 5 S, 8 B, G, U V. Eight of these 21 signs
# are 35 bits: with five tries in five minutes and a quarter of an hour to live, a code is not guessed.
CODE_SIGNS = "34679ACDEFHJKMNPRTWXY"
CODE_LENGTH = 8


def check_secret(role: Role, secret: str, field: str = "secret") -> str:
    """Return the secret when it is acceptable for the role; Refused with what is wrong."""
    if role is Role.TECHNICIAN:
        if len(secret) != PIN_DIGITS or not (secret.isascii() and secret.isdigit()):
            raise Refused("A PIN has 6 digits.", field)
        steps = {(int(b) - int(a)) % 10 for a, b in pairwise(secret)}
        if len(steps) == 1 and steps <= {0, 1, 9}:
            raise Refused("This PIN is too easy to guess. Avoid one repeated digit or a plain sequence.", field)
        return secret
    if len(secret) < PASSPHRASE_LENGTH:
        raise Refused(f"A passphrase has at least {PASSPHRASE_LENGTH} characters; a few words are best.", field)
    if len(secret) > 200 or len(set(secret)) < 5:
        raise Refused("Choose a passphrase of several different words.", field)
    return secret


def hash_secret(secret: str) -> str:
    """Return the Argon2id hash of a secret."""
    return _HASHER.hash(secret)


def verify(secret_hash: str, secret: str) -> bool:
    """Whether the secret matches; a damaged hash matches nothing."""
    try:
        return _HASHER.verify(secret_hash, secret)
    except (VerificationError, InvalidHashError):
        return False


# Checked when a name is unknown, so that the answer takes as long as for a known one.
DUMMY_HASH = hash_secret(random_source.token_urlsafe(16))


def new_token() -> str:
    """Return a random secret token of 256 bits for a cookie, link or API token."""
    return random_source.token_urlsafe(32)


def new_code() -> str:
    """Return a random one-time code that people read off one screen and type on another."""
    return "".join(random_source.choice(CODE_SIGNS) for _ in range(CODE_LENGTH))


def shown_code(code: str) -> str:
    """Return a code as it is shown: in two halves."""
    return f"{code[: CODE_LENGTH // 2]}-{code[CODE_LENGTH // 2 :]}"


def plain_code(text: str) -> str:
    """Return a code as it was made, from what somebody typed: case, spaces and hyphens do not matter."""
    return "".join(sign for sign in text.upper() if sign.isalnum())[:40]


def token_hash(token: str) -> str:
    """Return what is stored of a secret token: its SHA-256. Tokens are random, so a slow hash adds nothing."""
    return hashlib.sha256(token.encode()).hexdigest()


def tap_right(cookie: str) -> str:
    """Return the right that taps made under a sign-in carry; it belongs to the cookie and does not tell it.

    The tablet keeps it beside each entry it has not sent yet; only its hash is stored here.
    """
    return hmac.new(cookie.encode(), b"countback tap right", hashlib.sha256).hexdigest()
