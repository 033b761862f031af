"""The disk of the server is full: nothing is taken and nothing is lost, it says so, and it goes on when there is space.

The site stands on a small tmpfs. Mounting one needs the rights of root; where they are missing the test skips loudly,
or fails where ``COUNTBACK_REQUIRE_TMPFS`` says that it has to run.
"""

import http.client
import json
import os
import shutil
import subprocess
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from random import Random
from urllib.parse import urlencode

import pytest
from sqlalchemy.exc import OperationalError

from app.people.access import csrf_token
from app.platform import clock
from app.platform.db import Database
from tests.faults import workshop
from tests.faults.conftest import Rig
from tests.faults.ledger import Ledger
from tests.faults.served import COMMAND, Nursery, Served, environment
from tests.faults.tablet import Tablet, work
from tests.faults.test_broken_network import a_photo
from tests.faults.workshop import Bench

pytestmark = pytest.mark.slow

SIZE = 24 * 1024 * 1024


@pytest.fixture
def small_disk(tmp_path: Path) -> Iterator[Path]:
    """A file system of a few megabytes."""
    folder = tmp_path / "disk"
    folder.mkdir()
    done = subprocess.run(
        ["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "countback-test", str(folder)], capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    if done.returncode:
        reason = f"NO TMPFS COULD BE MOUNTED: the full disk was not tested. {done.stderr.strip()}"
        pytest.fail(reason) if os.environ.get("COUNTBACK_REQUIRE_TMPFS") else pytest.skip(reason)
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


@pytest.fixture
def full_rig(small_disk: Path, sqlite_template: Path, tmp_path: Path, nursery: Nursery) -> Iterator[Rig]:
    """A site on the small disk. Its ledger stands on another: it is outside the app."""
    shutil.copyfile(sqlite_template, small_disk / "countback.db")
    db = Database(f"sqlite:///{small_disk / 'countback.db'}")
    server, ledger = Served(small_disk, nursery=nursery), Ledger(tmp_path / "ledger.jsonl")
    yield Rig(db, small_disk, server, ledger)
    server.stop()
    ledger.close()
    db.dispose()


def fill(folder: Path) -> Path:
    """Write a file that leaves no byte free; returns it."""
    path = folder / "something-large"
    with path.open("ab", buffering=0) as file:
        for size in (1 << 20, 1 << 12, 1):
            with suppress(OSError):
                while file.write(b"\0" * size):
                    pass
    return path


def ask(rig: Rig, bench: Bench, method: str, path: str, **fields: str) -> tuple[int, str, str]:
    """Ask as the technician's browser does, without script; returns status, kind of content and text."""
    connection = http.client.HTTPConnection("127.0.0.1", rig.server.port, timeout=30)
    headers = {
        "Cookie": f"countback={bench.cookie}; countback-tablet={bench.tablet}", "Sec-Fetch-Site": "same-origin",
        "Content-Type": "application/x-www-form-urlencoded", "Accept": "text/html",
    }  # fmt: skip
    connection.request(method, path, urlencode(fields), headers)
    answer = connection.getresponse()
    found = answer.status, answer.headers.get("content-type", ""), answer.read().decode()
    connection.close()
    return found


def form_of(bench: Bench, **fields: str) -> dict[str, str]:
    """Return the fields of a form of the bench page."""
    return {"csrf_token": csrf_token(bench.cookie), "submission_id": clock.uuid7(), **fields}


def refuses_to_serve(rig: Rig) -> str:
    """Start the server as an operator does, where it must not start; returns what it said."""
    done = subprocess.run(
        [COMMAND, "serve", "--port", str(rig.server.port)], env=environment(rig.folder), cwd=rig.folder,
        capture_output=True, text=True, check=False, timeout=60,
    )  # fmt: skip
    assert done.returncode == 1, done.stdout + done.stderr
    return done.stdout + done.stderr


def test_a_full_disk_takes_nothing_loses_nothing_and_says_so(full_rig: Rig) -> None:
    rig = full_rig
    bench = workshop.benches(rig.db, 1, 2)[0]
    number = bench.jobs[0].number
    rig.server.start()
    assert rig.server.get("/readyz")[0] == 200
    tablet = Tablet(bench, rig.ledger, rig.server.port)
    taps = work(tablet, bench.jobs[0], Random(3), a_photo())
    for _ in range(3):
        next(taps)
    tablet.flush()

    # Full in the middle of the work: a write-ahead log that has room in it still takes a few.
    filler = fill(rig.folder)
    refused = 0
    while refused < 5:
        if not tablet.outbox:
            next(taps)
        state = tablet.send()
        assert (state, tablet.status) in (("ok", 200), ("trouble", 507))
        refused += state == "trouble"
        fill(rig.folder)
    held = len(tablet.outbox)
    assert held > 0

    status, kind, body = tablet.post(tablet.outbox[0])
    assert (status, kind) == (507, "application/problem+json")
    assert "disk is full" in json.loads(body)["title"].lower()
    assert "free some space" in json.loads(body)["detail"].lower()
    ready, words = rig.server.get("/readyz")
    assert ready == 503
    assert "The disk is full" in json.loads(words)["faults"][0]
    assert rig.server.get("/healthz")[0] == 200

    # The plain form says it on a page; what is stored can still be read.
    status, kind, page = ask(rig, bench, "POST", f"/jobs/{bench.jobs[1].number}/bench/open", **form_of(bench))
    assert (status, kind.split(";")[0]) == (507, "text/html")
    assert "The disk is full" in page
    assert "Nothing was stored" in page
    status, _kind, page = ask(rig, bench, "GET", f"/jobs/{number}/bench")
    assert status == 200
    assert number in page

    # Killed while it is full: it does not start, and says why in words.
    rig.server.kill()
    tablet.hang_up()
    said = refuses_to_serve(rig)
    assert "Traceback" not in said
    assert "The disk is full" in said
    filler.unlink()
    rig.server.start()
    for _ in taps:
        pass
    tablet.flush()
    tablet.hang_up()
    assert tablet.attention == []
    assert rig.server.get("/readyz")[0] == 200
    found = rig.agrees()
    assert found.tapped == found.acknowledged == found.stored


def test_the_word_full_in_what_was_sent_is_no_full_disk(tmp_path: Path) -> None:
    db = Database(f"sqlite:///{tmp_path / 'any.db'}")
    locked = OperationalError("UPDATE job SET fault = ?", ("Sump full of water",), Exception("database is locked"))
    full = OperationalError("UPDATE job SET fault = ?", ("No sound",), Exception("database or disk is full"))
    assert (db.out_of_space(locked), db.out_of_space(full)) == (False, True)
    db.dispose()
