"""A network that breaks: a TCP proxy that takes whole requests and loses, doubles, delays or answers them itself."""

import asyncio
import contextlib
import json
import threading
from collections import Counter
from collections.abc import Awaitable, Callable, Iterator
from random import Random
from uuid import uuid4

HTML = b"<!doctype html><title>Harbour guest network</title><h1>Accept the terms</h1>"


def _answer(status: str, body: bytes, kind: str = "text/html", more: str = "") -> bytes:
    head = (
        f"HTTP/1.1 {status}\r\nContent-Type: {kind}\r\nContent-Length: {len(body)}\r\n{more}Connection: close\r\n\r\n"
    )
    return head.encode() + body


class Line:
    """Listens on a loopback port; each request meets the next fault of a shuffled bag, or passes.

    The bag holds every fault once and as many requests that pass, so that all of them happen in any longer run.
    ``met`` counts them. ``port`` is where the tablets go, ``target`` where the server is; the target may change.
    """

    def __init__(self, target: int, seed: int, passing: int = 14) -> None:
        self.target = target
        self.met: Counter[str] = Counter()
        self.calm = False
        self._chance = Random(seed)
        self._faults: dict[str, Callable[[bytes, asyncio.StreamWriter], Awaitable[None]]] = {
            "drop before send": self._drop,
            "drop in the middle of the request": self._torn_request,
            "drop after commit": self._swallow,
            "drop in the middle of the answer": self._torn_answer,
            "duplicate": self._duplicate,
            "delay": self._delay,
            "late and out of order": self._late,
            "500": self._error,
            "502 after commit": self._gateway,
            "401": self._unauthorised,
            "login redirect": self._redirect,
            "captive portal": self._portal,
            "answer of somebody else": self._stranger,
        }
        self._passing = passing
        self._bag: list[str] = []
        self._late_ones: set[asyncio.Task[None]] = set()
        self._loop = asyncio.new_event_loop()
        started = threading.Event()
        self._thread = threading.Thread(target=self._run, args=(started,), name="line", daemon=True)
        self._thread.start()
        started.wait(10)

    def _run(self, started: threading.Event) -> None:
        asyncio.set_event_loop(self._loop)
        self._server = self._loop.run_until_complete(asyncio.start_server(self._meet, "127.0.0.1", 0))
        self.port = int(self._server.sockets[0].getsockname()[1])
        started.set()
        self._loop.run_forever()
        self._server.close()
        left = asyncio.all_tasks(self._loop)
        for task in left:
            task.cancel()
        self._loop.run_until_complete(asyncio.gather(*left, return_exceptions=True))
        self._loop.run_until_complete(self._loop.shutdown_asyncgens())
        self._loop.close()

    @property
    def faults(self) -> frozenset[str]:
        """The names of all faults."""
        return frozenset(self._faults)

    def settle(self) -> None:
        """Wait until everything that was held back has been delivered."""
        asyncio.run_coroutine_threadsafe(self._settle(), self._loop).result(60)

    async def _settle(self) -> None:
        while self._late_ones:
            await asyncio.wait(set(self._late_ones))

    def close(self) -> None:
        """End the proxy."""
        self._loop.call_soon_threadsafe(self._loop.stop)
        self._thread.join(10)

    async def _meet(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        try:
            request = await _read_request(reader)
            await self._next()(request, writer)
        except (OSError, asyncio.IncompleteReadError):
            pass
        finally:
            writer.close()

    def _next(self) -> Callable[[bytes, asyncio.StreamWriter], Awaitable[None]]:
        if self.calm:
            return self._pass
        if not self._bag:
            self._bag = [*self._faults, *["pass"] * self._passing]
            self._chance.shuffle(self._bag)
        name = self._bag.pop()
        self.met[name] += 1
        return self._faults.get(name, self._pass)

    async def _forward(self, request: bytes) -> bytes:
        """Deliver a request whole; returns the whole answer, empty when there was none."""
        try:
            reader, writer = await asyncio.open_connection("127.0.0.1", self.target)
        except OSError:
            return b""
        try:
            writer.write(request)
            await writer.drain()
            return await reader.read()
        except OSError:
            return b""
        finally:
            writer.close()

    def _soon(self, least: float, most: float) -> float:
        return self._chance.uniform(least, most)

    async def _pass(self, request: bytes, writer: asyncio.StreamWriter) -> None:
        writer.write(await self._forward(request))
        await writer.drain()

    async def _drop(self, _request: bytes, writer: asyncio.StreamWriter) -> None:
        writer.transport.abort()

    async def _torn_request(self, request: bytes, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(OSError):
            _reader, far = await asyncio.open_connection("127.0.0.1", self.target)
            far.write(request[: self._chance.randrange(1, len(request))])
            await far.drain()
            await asyncio.sleep(self._soon(0, 0.02))
            far.transport.abort()
        writer.transport.abort()

    async def _swallow(self, request: bytes, writer: asyncio.StreamWriter) -> None:
        await self._forward(request)
        writer.transport.abort()

    async def _torn_answer(self, request: bytes, writer: asyncio.StreamWriter) -> None:
        answer = await self._forward(request)
        writer.write(answer[: self._chance.randrange(1, max(len(answer), 2))])
        await writer.drain()

    async def _duplicate(self, request: bytes, writer: asyncio.StreamWriter) -> None:
        answers = await asyncio.gather(self._forward(request), self._forward(request))
        writer.write(self._chance.choice(answers))
        await writer.drain()

    async def _delay(self, request: bytes, writer: asyncio.StreamWriter) -> None:
        await asyncio.sleep(self._soon(0.02, 0.2))
        await self._pass(request, writer)

    async def _late(self, request: bytes, writer: asyncio.StreamWriter) -> None:
        """Hold it back while the tablet sends it again and goes on; it arrives after later entries."""
        writer.transport.abort()
        wait_s = self._soon(0.1, 1.5)

        async def later() -> None:
            await asyncio.sleep(wait_s)
            await self._forward(request)

        task = asyncio.create_task(later())
        self._late_ones.add(task)
        task.add_done_callback(self._late_ones.discard)

    async def _error(self, _request: bytes, writer: asyncio.StreamWriter) -> None:
        writer.write(_answer("500 Internal Server Error", b'{"detail":"No"}', "application/problem+json"))

    async def _gateway(self, request: bytes, writer: asyncio.StreamWriter) -> None:
        await self._forward(request)
        writer.write(_answer("502 Bad Gateway", HTML))

    async def _unauthorised(self, _request: bytes, writer: asyncio.StreamWriter) -> None:
        writer.write(_answer("401 Unauthorized", b'{"detail":"Sign in"}', "application/problem+json"))

    async def _redirect(self, _request: bytes, writer: asyncio.StreamWriter) -> None:
        writer.write(_answer("302 Found", HTML, more="Location: /sign-in?next=/\r\n"))

    async def _portal(self, _request: bytes, writer: asyncio.StreamWriter) -> None:
        writer.write(_answer("200 OK", HTML))

    async def _stranger(self, _request: bytes, writer: asyncio.StreamWriter) -> None:
        body = self._chance.choice(({"status": "ok"}, {"id": str(uuid4()), "outcome": "stored", "words": ""}, ["ok"]))
        writer.write(_answer("200 OK", json.dumps(body).encode(), "application/json"))


async def _read_request(reader: asyncio.StreamReader) -> bytes:
    """Read one request whole, and have the server close the connection after its answer."""
    head = await reader.readuntil(b"\r\n\r\n")
    lines = head[:-4].split(b"\r\n")
    fields = [line for line in lines[1:] if not line.lower().startswith(b"connection:")]
    length = next((int(line.split(b":")[1]) for line in fields if line.lower().startswith(b"content-length:")), 0)
    body = await reader.readexactly(length)
    return b"\r\n".join([lines[0], *fields, b"Connection: close"]) + b"\r\n\r\n" + body


@contextlib.contextmanager
def line(target: int, seed: int) -> Iterator[Line]:
    """Put a breaking network in front of a server's port for the length of a block."""
    made = Line(target, seed)
    try:
        yield made
    finally:
        made.close()
