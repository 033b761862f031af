"""A tablet for the tests: a store that numbers its entries, clocks that can be set wrong, an outbox it sends from."""

from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any
from uuid import uuid4

from fastapi import FastAPI
from httpx2 import Response
from starlette.testclient import TestClient

from app.people.access import COOKIE
from app.people.secrets import tap_right
from app.platform import clock
from tests.visitor import Visitor

HEADER = "X-Countback-Tap"


def right_of(visitor: Visitor) -> str:
    """Return the tap right of a signed-in visitor, as the bench page hands it to the tablet."""
    return tap_right(str(visitor.client.cookies[COOKIE]))


@dataclass
class Tablet:
    """One tablet: entries are made with ``tap`` and sent with ``send``, as late and as often as one likes.

    ``wall_ms`` and ``mono_ms`` are its clocks; ``pass_ms`` lets time go by on both.
    """

    app: FastAPI
    right: str
    job: str
    device: str = field(default_factory=lambda: str(uuid4()))
    life: str = field(default_factory=lambda: str(uuid4()))
    wall_ms: int = field(default_factory=lambda: int(datetime.now(UTC).timestamp() * 1000))
    mono_ms: int = 1000
    seq: int = 0

    def __post_init__(self) -> None:
        """Open a connection without any sign-in: what counts is the right that an entry carries."""
        self.client = TestClient(self.app)
        self.client.headers["sec-fetch-site"] = "same-origin"

    def pass_ms(self, ms: int) -> None:
        """Let time go by on the tablet."""
        self.wall_ms += ms
        self.mono_ms += ms

    def reload(self) -> None:
        """Begin a new life of the page: the monotonic clock starts again."""
        self.life, self.mono_ms = str(uuid4()), 0

    def clocks(self) -> dict[str, Any]:
        """Return what the clocks show."""
        return {"wall_ms": self.wall_ms, "mono_ms": self.mono_ms, "life": self.life}

    def tap(self, kind: str, side: str = "", step: str = "", base: int = 0, **data: Any) -> dict[str, Any]:
        """Make an entry; nothing is sent yet."""
        self.seq += 1
        return {
            "id": clock.uuid7(), "device": self.device, "seq": self.seq, "job": self.job, "kind": kind, "side": side,
            "step": step, "base": base, "data": data, **self.clocks(),
        }  # fmt: skip

    def post(self, entry: dict[str, Any], right: str | None = None, waiting: int = 1) -> Response:
        """Send an entry with the clocks as they stand now."""
        body = {**entry, "sent": self.clocks(), "waiting": waiting, "waiting_since_ms": entry["wall_ms"]}
        headers = {HEADER: self.right if right is None else right}
        return self.client.post("/bench/outbox", json=body, headers=headers)

    def send(self, entry: dict[str, Any], right: str | None = None) -> dict[str, Any]:
        """Send an entry that is taken; returns the answer."""
        answer = self.post(entry, right)
        assert answer.status_code == 200, answer.text
        found: dict[str, Any] = answer.json()
        assert found["id"] == entry["id"]
        return found

    def do(self, kind: str, side: str = "", step: str = "", base: int = 0, **data: Any) -> dict[str, Any]:
        """Make an entry and send it at once."""
        return self.send(self.tap(kind, side, step, base, **data))

    def photo(self, entry: dict[str, Any], picture: bytes, name: str = "photo.jpg") -> Response:
        """Send a photo."""
        import json

        body = {**entry, "sent": self.clocks(), "waiting": 1, "waiting_since_ms": None}
        return self.client.post(
            "/bench/outbox/photo",
            data={"entry": json.dumps(body)},
            files={"photo": (name, picture, "image/jpeg")},
            headers={HEADER: self.right},
        )
