"""A real server process that can be killed and started again on its port.

Either the ``countback serve`` command as people start it, or, for very many starts, a child forked off a process that
has imported the app already and that then runs the same command's function: what takes a second is the import.
"""

import http.client
import os
import select
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

from tests.code import ROOT

COMMAND = Path(sys.executable).parent / "countback"
PATIENCE_S = 90.0


def free_port() -> int:
    """Return a loopback port that nothing listens on."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


def environment(folder: Path, database_url: str = "") -> dict[str, str]:
    """Return an environment with a site's settings and none of this machine's."""
    kept = {k: v for k, v in os.environ.items() if not k.startswith("COUNTBACK_")}
    more = {"COUNTBACK_DATA_DIR": str(folder), "COUNTBACK_LOG_LEVEL": "error", "OPENBLAS_NUM_THREADS": "1"}
    if database_url:
        more["COUNTBACK_DATABASE_URL"] = database_url
    return kept | more


class Nursery:
    """A process that has the app imported and forks servers off, one after the other."""

    def __init__(self, env: dict[str, str], log: Path) -> None:
        self.log = log
        self._log = log.open("ab")
        self._process = subprocess.Popen(
            [sys.executable, "-m", "tests.faults.nursery"], cwd=ROOT, env=env, stdin=subprocess.PIPE,
            stdout=subprocess.PIPE, stderr=self._log, text=True, bufsize=1,
        )  # fmt: skip

    def start(self, folder: Path, database_url: str, port: int) -> int:
        """Fork a server off; returns its process id."""
        assert self._process.stdin
        assert self._process.stdout
        self._process.stdin.write(f"{port}\t{folder}\t{database_url}\n")
        return int(self._process.stdout.readline())

    def ended(self) -> None:
        """Wait until the last server is gone."""
        assert self._process.stdout
        assert self._process.stdout.readline().strip() == "ended"

    def has_ended(self) -> bool:
        """Whether the last server has ended by itself."""
        assert self._process.stdout
        if not select.select([self._process.stdout], [], [], 0)[0]:
            return False
        self.ended()
        return True

    def close(self) -> None:
        """End it; a server that still runs goes with it."""
        self._process.communicate()
        self._log.close()


class Served:
    """One site's server. ``kill`` is SIGKILL: nothing is flushed, closed or said."""

    def __init__(self, folder: Path, database_url: str = "", nursery: Nursery | None = None) -> None:
        self.folder, self.database_url, self.port = folder, database_url, free_port()
        self._nursery = nursery
        self._process: subprocess.Popen[bytes] | None = None
        self._log = folder / "serve.log"
        self.pid = 0

    def start(self, wait: bool = True) -> None:
        """Start it; with ``wait``, until it answers."""
        if self._nursery:
            self.pid = self._nursery.start(self.folder, self.database_url, self.port)
        else:
            with self._log.open("ab") as log:
                self._process = subprocess.Popen(
                    [COMMAND, "serve", "--port", str(self.port)], cwd=self.folder,
                    env=environment(self.folder, self.database_url), stdin=subprocess.DEVNULL, stdout=log, stderr=log,
                )  # fmt: skip
            self.pid = self._process.pid
        if wait:
            self.ready()

    def ready(self) -> None:
        """Wait until it answers."""
        deadline = time.monotonic() + PATIENCE_S
        while self.get("/healthz")[0] != 200:
            gone = self._gone()
            if gone or time.monotonic() > deadline:
                if gone:
                    self.pid = 0
                raise RuntimeError(f"the server did not start: {self._said()}")
            time.sleep(0.02)

    def _gone(self) -> bool:
        """Whether it has ended by itself."""
        if self._process is not None:
            return self._process.poll() is not None
        return self._nursery is not None and self._nursery.has_ended()

    def _said(self) -> str:
        log = self._nursery.log if self._nursery else self._log
        return log.read_text(errors="replace")[-2000:]

    def get(self, path: str, **headers: str) -> tuple[int, str]:
        """GET a path; status 0 when nothing answers."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        try:
            connection.request("GET", path, headers=headers)
            answer = connection.getresponse()
            return answer.status, answer.read().decode(errors="replace")
        except (OSError, http.client.HTTPException):
            return 0, ""
        finally:
            connection.close()

    def kill(self) -> None:
        """End it with SIGKILL and wait until it is gone."""
        self._end(signal.SIGKILL)

    def stop(self) -> None:
        """End it as an operator does; nothing to do when it is gone already."""
        if self.pid:
            self._end(signal.SIGTERM)

    def _end(self, how: int) -> None:
        os.kill(self.pid, how)
        if self._nursery:
            self._nursery.ended()
        elif self._process:
            self._process.wait(30)
        self.pid = 0


def check(folder: Path, database_url: str = "") -> str:
    """Run ``countback check``; returns what it printed. AssertionError when it finds a fault."""
    done = subprocess.run(
        [COMMAND, "check"], env=environment(folder, database_url), cwd=folder, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    assert "FAULT" not in done.stdout, done.stdout
    return done.stdout
