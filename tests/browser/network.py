"""A TCP proxy between the browser and the app, to cut: a real network, not the browser's emulation of one."""

import contextlib
import socket
import threading
from collections.abc import Iterator
from urllib.parse import urlsplit

PORTAL = b"<!doctype html><title>Harbour guest network</title><h1>Accept the terms</h1>"


class Network:
    """Listens on a loopback port and passes bytes on to the app, unless it is cut or a portal stands in the way."""

    def __init__(self, target: str) -> None:
        parts = urlsplit(target)
        self._target = (parts.hostname or "127.0.0.1", parts.port or 80)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._open: set[socket.socket] = set()
        self._guard = threading.Lock()
        self._cut = False
        self._portal = False
        self.url = f"http://127.0.0.1:{self._listener.getsockname()[1]}"
        self._threads: list[threading.Thread] = []
        threading.Thread(target=self._accept, daemon=True).start()

    def cut(self) -> None:
        """Take the network away: what is open breaks, what comes is refused."""
        self._cut = True
        with self._guard:
            for end in self._open:
                with contextlib.suppress(OSError):
                    end.shutdown(socket.SHUT_RDWR)

    def mend(self) -> None:
        """Bring it back."""
        self._cut = self._portal = False

    def portal(self) -> None:
        """Answer everything with a page of somebody else, status 200."""
        self.cut()
        self._cut, self._portal = False, True

    def close(self) -> None:
        """End the proxy and wait until all it had open is closed."""
        self.cut()
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)
        self._listener.close()
        for thread in self._threads:
            thread.join(5)

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            if self._cut:
                near.close()
            else:
                work = self._answer if self._portal else self._join
                thread = threading.Thread(target=work, args=(near,), daemon=True)
                self._threads.append(thread)
                thread.start()

    def _answer(self, near: socket.socket) -> None:
        with near, contextlib.suppress(OSError):
            near.settimeout(2)
            near.recv(65536)
            head = ("HTTP/1.1 200 OK", "Content-Type: text/html", f"Content-Length: {len(PORTAL)}", "Connection: close")
            near.sendall("\r\n".join((*head, "", "")).encode() + PORTAL)

    def _join(self, near: socket.socket) -> None:
        try:
            far = socket.create_connection(self._target, timeout=5)
        except OSError:
            near.close()
            return
        far.settimeout(None)
        with near, far:
            with self._guard:
                self._open |= {near, far}
            back = threading.Thread(target=self._pump, args=(far, near), daemon=True)
            back.start()
            self._pump(near, far)
            back.join()
            with self._guard:
                self._open -= {near, far}

    def _pump(self, source: socket.socket, sink: socket.socket) -> None:
        with contextlib.suppress(OSError):
            while data := source.recv(65536):
                sink.sendall(data)
        for end in (source, sink):
            with contextlib.suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)


@contextlib.contextmanager
def network(target: str) -> Iterator[Network]:
    """Put a network in front of an app for the length of a block."""
    made = Network(target)
    try:
        yield made
    finally:
        made.close()
