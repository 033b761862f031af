"""Fifty people write at the same time, over HTTP, to the same part: nothing is lost and nothing is doubled."""

import threading
import time
from collections import Counter
from collections.abc import Callable

import httpx2
import pytest
from fastapi import FastAPI

from app.people.access import COOKIE, csrf_token
from app.platform import clock
from app.platform.db import Database
from tests.conftest import CAST
from tests.live import serve
from tests.stores.shop import faults, level, stock_shop

WRITERS = 50
FORM = {"quantity": "1", "lot_code": "L1", "unit_cost": "0.0317", "location": "B-01", "reason": "Found on the bench"}


def signed_in(url: str) -> tuple[str, str]:
    """Sign the stores clerk in; returns the cookie and the form token that belongs to it."""
    name, _role, secret = CAST[2]
    with httpx2.Client(base_url=url, headers={"sec-fetch-site": "same-origin"}) as client:
        answer = client.post("/sign-in", data={"name": name, "secret": secret})
        assert answer.status_code == 303, answer.text[:300]
        cookie = client.cookies[COOKIE]
    return cookie, csrf_token(cookie)


class Writer(threading.Thread):
    """Posts one receipt after another. Writers of a pair send the very same submissions, as a flaky network does."""

    def __init__(self, url: str, cookie: str, token: str, ids: Callable[[int], str], until: float) -> None:
        super().__init__(daemon=True)
        self.url, self.cookie, self.token, self.ids, self.until = url, cookie, token, ids, until
        self.answers: Counter[int] = Counter()
        self.stored: set[str] = set()
        self.problem: Exception | None = None

    def run(self) -> None:
        """Write until the time is over."""
        headers = {"sec-fetch-site": "same-origin", "cookie": f"{COOKIE}={self.cookie}"}
        try:
            with httpx2.Client(base_url=self.url, headers=headers, timeout=30) as client:
                turn = 0
                while time.monotonic() < self.until:
                    entry = self.ids(turn)
                    turn += 1
                    form = {**FORM, "submission_id": entry, "csrf_token": self.token}
                    answer = client.post("/parts/SCRW-1/receive", data=form)
                    self.answers[answer.status_code] += 1
                    if answer.status_code == 303:
                        self.stored.add(entry)
        except Exception as error:
            self.problem = error


@pytest.mark.slow
def test_fifty_writers_lose_nothing_and_double_nothing(app: FastAPI, db: Database, pytestconfig: pytest.Config) -> None:
    """Every answer is a success, and the shelf holds one piece for each submission that was acknowledged."""
    with db.write() as session:
        stock_shop(session)
    seconds = 30.0 if pytestconfig.getoption("--long") else 3.0
    known: dict[tuple[int, int], str] = {}
    guard = threading.Lock()

    def ids_of(pair: int) -> Callable[[int], str]:
        def one(turn: int) -> str:
            with guard:
                return known.setdefault((pair, turn), clock.uuid7())

        return one

    with serve(app) as url:
        cookie, token = signed_in(url)
        until = time.monotonic() + seconds
        writers = [Writer(url, cookie, token, ids_of(n // 2), until) for n in range(WRITERS)]
        for writer in writers:
            writer.start()
        for writer in writers:
            writer.join(seconds + 60)
    assert [w.problem for w in writers if w.problem] == []
    answers: Counter[int] = sum((w.answers for w in writers), Counter())
    assert set(answers) == {303}, answers
    stored = set().union(*(w.stored for w in writers))
    assert len(stored) < answers[303], "the pairs never met"
    assert level(db, "SCRW-1").on_hand == len(stored)
    assert faults(db) == []
