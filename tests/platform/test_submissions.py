"""Exactly once: a submission is claimed by its id and a hash of its content."""

import threading
from collections import Counter

import pytest

from app.platform import clock
from app.platform.db import Database
from app.platform.errors import AlreadyDone, Conflict, Refused
from app.platform.models import Heartbeat
from app.platform.submissions import claim, settle

ROUNDS = 12
RIVALS = 8


def test_the_same_submission_again_is_answered_with_its_first_outcome(db: Database) -> None:
    """The second one does nothing and is sent where the first one's outcome is shown."""
    key = clock.uuid7()
    with db.write() as session:
        claim(session, key, {"quantity": ["3"]}, None, clock.now())
        settle(session, key, "/parts/A-1")
    with pytest.raises(AlreadyDone) as again, db.write() as session:
        claim(session, key.upper(), {"quantity": ["3"]}, None, clock.now())
    assert again.value.location == "/parts/A-1"


def test_the_same_id_with_other_content_is_a_conflict(db: Database) -> None:
    """Nothing is stored of it."""
    key = clock.uuid7()
    with db.write() as session:
        claim(session, key, {"quantity": ["3"]}, None, clock.now())
    with pytest.raises(Conflict), db.write() as session:
        claim(session, key, {"quantity": ["4"]}, None, clock.now())


def test_a_refused_submission_may_come_again_with_other_content(db: Database) -> None:
    """A refusal rolls the claim back, so the corrected form keeps its id."""
    key = clock.uuid7()

    def refused() -> None:
        with db.write() as session:
            claim(session, key, {"quantity": ["-1"]}, None, clock.now())
            raise Refused("Enter a quantity of at least 1.", "quantity")

    with pytest.raises(Refused):
        refused()
    with db.write() as session:
        assert claim(session, key, {"quantity": ["1"]}, None, clock.now()) == key


def test_what_is_no_id_is_refused(db: Database) -> None:
    """In words that say what to do."""
    with pytest.raises(Refused, match="Reload the page"), db.write() as session:
        claim(session, "not an id", {}, None, clock.now())


def test_rivals_with_one_submission_store_it_once(db: Database) -> None:
    """Eight at the same time, again and again: one acts, seven get its outcome, and none fails otherwise."""
    with db.write() as session:
        session.add(Heartbeat(id=7, beats=0))
    outcomes: Counter[str] = Counter()
    guard = threading.Lock()
    ids = [clock.uuid7() for _ in range(ROUNDS)]
    start = threading.Barrier(RIVALS)

    def rival() -> None:
        for key in ids:
            start.wait(60)
            outcome = _submit(db, key)
            with guard:
                outcomes[outcome] += 1

    threads = [threading.Thread(target=rival) for _ in range(RIVALS)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(60)
    assert outcomes == {"acted": ROUNDS, "first outcome": ROUNDS * (RIVALS - 1)}
    with db.read() as session:
        assert session.get_one(Heartbeat, 7).beats == ROUNDS


def _submit(db: Database, key: str) -> str:
    try:
        with db.write() as session:
            claim(session, key, {"beat": "once"}, None, clock.now())
            row = session.get_one(Heartbeat, 7, with_for_update=True)
            row.beats += 1
            settle(session, key, "/done")
    except AlreadyDone as done:
        return "first outcome" if done.location == "/done" else f"lost outcome {done.location!r}"
    except Exception as error:
        return repr(error)
    return "acted"
