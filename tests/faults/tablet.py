"""A tablet in Python with the protocol of the bench page's script: one entry a tap, replayed in order.

An entry leaves the outbox only when a 2xx names its id. Everything else keeps it: no answer, half an answer, a
redirect, somebody else's page, 401, 5xx. 409 and 422 set it aside with the server's words, and later ones go on.
"""

import http.client
import json
import time
from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass, field
from random import Random
from typing import Any
from uuid import uuid4

from app.platform import clock
from tests.faults.ledger import Ledger
from tests.faults.workshop import Bench, Work

ANSWER_S = 20.0
BOUNDARY = "----the-edge-of-a-part"
# Steps whose picture has numbered places, and which fixing they belong to; see the field recorder's procedure.
PLACES = {"back": ("back/screws", 4), "plug": ("plug/plug", 1), "cell": ("cell/strips", 2)}


@dataclass
class Tablet:
    """One tablet with its store.

    ``ahead_ms`` sets its clocks forward: so time goes by without waiting for it. ``attention`` is what was set aside,
    with the server's words; ``status`` is that of the last answer, 0 when there was none.
    """

    bench: Bench
    ledger: Ledger
    port: int
    device: str = field(default_factory=lambda: str(uuid4()))
    life: str = field(default_factory=lambda: str(uuid4()))
    seq: int = 0
    ahead_ms: int = 0
    outbox: deque[dict[str, Any]] = field(default_factory=deque)
    photos: dict[str, bytes] = field(default_factory=dict)
    attention: list[tuple[dict[str, Any], str]] = field(default_factory=list)
    status: int = 0
    _connection: http.client.HTTPConnection | None = None

    def clocks(self) -> dict[str, Any]:
        """Return what the clocks show."""
        wall, mono = time.time() * 1000, time.perf_counter() * 1000
        return {"wall_ms": int(wall) + self.ahead_ms, "mono_ms": int(mono) + self.ahead_ms, "life": self.life}

    def tap(
        self, job: str, kind: str, side: str = "", step: str = "", photo: bytes | None = None, **data: Any
    ) -> dict[str, Any]:
        """Keep an entry: it is in the ledger first, then in the outbox."""
        self.seq += 1
        entry = {
            "id": clock.uuid7(), "device": self.device, "seq": self.seq, "job": job, "kind": kind, "side": side,
            "step": step, "base": 0, "data": data, **self.clocks(),
        }  # fmt: skip
        if photo is not None:
            self.photos[str(entry["id"])] = photo
        self.ledger.tapped(entry)
        self.outbox.append(entry)
        return entry

    def send(self) -> str:
        """Send the oldest entry once; returns ok, none, signin, trouble, portal or attention as the script calls it."""
        entry = self.outbox[0]
        status, kind, body = self.post(entry)
        self.status = status
        if status == 0:
            return "none"
        if status in (401, 403):
            return "signin"
        if status >= 500 or status in (408, 429):
            return "trouble"
        if 300 <= status < 400 or "json" not in kind:
            return "portal"
        try:
            found = json.loads(body)
        except ValueError:
            return "none"
        if status < 300 and isinstance(found, dict) and found.get("id") == entry["id"]:
            self.ledger.answered(entry["id"], found["outcome"], found["words"])
            self.outbox.popleft()
            return "ok"
        if status >= 400:
            self.attention.append((self.outbox.popleft(), f"{status} {body[:300].decode(errors='replace')}"))
            return "attention"
        return "portal"

    def flush(self, patience_s: float = 60, chance: Random | None = None) -> None:
        """Send until nothing waits. AssertionError when that takes longer than the patience, with the last state."""
        deadline = time.monotonic() + patience_s
        state = "ok"
        while self.outbox:
            assert time.monotonic() < deadline, f"{len(self.outbox)} still wait: {state}"
            state = self.send()
            if state != "ok":
                time.sleep(chance.uniform(0, 0.03) if chance else 0.02)

    def post(self, entry: dict[str, Any]) -> tuple[int, str, bytes]:
        """Send an entry and return status, kind and body of the answer, status 0 without one; nothing is removed."""
        oldest = self.outbox[0]["wall_ms"]
        whole = {**entry, "sent": self.clocks(), "waiting": len(self.outbox), "waiting_since_ms": oldest}
        body, kind, path = json.dumps(whole).encode(), "application/json", "/bench/outbox"
        if entry["id"] in self.photos:
            body, path = _parts(body, self.photos[entry["id"]]), "/bench/outbox/photo"
            kind = f"multipart/form-data; boundary={BOUNDARY}"
        headers = {
            "Content-Type": kind, "Accept": "application/json", "X-Countback-Tap": self.bench.right,
            "Sec-Fetch-Site": "same-origin", "Cookie": f"countback-tablet={self.bench.tablet}",
        }  # fmt: skip
        if self._connection is None:
            self._connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=ANSWER_S)
        try:
            self._connection.request("POST", path, body, headers)
            answer = self._connection.getresponse()
            return answer.status, answer.headers.get("content-type", ""), answer.read()
        except (OSError, http.client.HTTPException):
            self.hang_up()
            return 0, "", b""

    def hang_up(self) -> None:
        """Close the connection; the next entry opens another."""
        if self._connection is not None:
            self._connection.close()
            self._connection = None


def _parts(entry: bytes, photo: bytes) -> bytes:
    """Return the body of a form with an entry and its photo."""
    edge = BOUNDARY.encode()
    said = b'Content-Disposition: form-data; name="entry"\r\n\r\n' + entry
    file = b'Content-Disposition: form-data; name="photo"; filename="photo.jpg"\r\nContent-Type: image/jpeg\r\n\r\n'
    return b"".join(b"--" + edge + b"\r\n" + part + b"\r\n" for part in (said, file + photo)) + b"--" + edge + b"--\r\n"


def work(tablet: Tablet, job: Work, chance: Random, photo: bytes | None = None) -> Iterator[None]:
    """Tap a whole job through, entry by entry: places, second thoughts, pauses, reports taken back, a photo."""
    number = job.number
    tablet.tap(number, "open")
    yield
    for side, steps in (("down", job.teardown), ("up", job.refit)):
        if side == "up":
            tablet.tap(number, "turn")
            yield
        for step in steps:
            for _ in _some_places(tablet, number, side, step, chance):
                yield
            tick = tablet.tap(number, "tick", side, step)
            yield
            if chance.random() < 0.2:
                tablet.tap(number, "undo", undoes=tick["id"])
                yield
                tablet.tap(number, "tick", side, step)
                yield
            if chance.random() < 0.1:
                tablet.tap(number, "pause", reason="Telephone")
                yield
                tablet.tap(number, "open")
                yield
            if side == "down" and step == "back" and chance.random() < 0.3:
                report = tablet.tap(number, "report", report="damage", item="back/screws", count=1)
                yield
                tablet.tap(number, "take_back", undoes=report["id"])
                yield
            if photo and side == "down" and step == "back":
                tablet.tap(number, "photo", step=step, photo=photo, caption="As it came")
                yield


def _some_places(tablet: Tablet, number: str, side: str, step: str, chance: Random) -> Iterator[None]:
    """Count a few places of a step one by one before its tick, sometimes one of them there and back."""
    item, places = PLACES.get(step, ("", 0))
    if not places or (side == "up" and step == "cell") or chance.random() > 0.4:
        return
    for place in chance.sample(range(1, places + 1), chance.randint(1, places)):
        tablet.tap(number, "place", side, step, item=item, place=place, on=True)
        yield
        if chance.random() < 0.2:
            tablet.tap(number, "place", side, step, item=item, place=place, on=False)
            yield
