"""Rate limits of sign-in, with the time passed in."""

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta

import pytest
from fastapi import FastAPI
from sqlmodel import select

from app.people import actions
from app.people.limits import ADDRESS_LIMITS, PERSON_LIMITS, wait_s, wait_words
from app.people.models import Role, SignInAttempt
from app.platform.db import Database
from app.platform.errors import Refused, TooMany
from tests.visitor import Visitor

T0 = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
PHRASE = "seven quiet lighthouses"
Visit = Callable[[str], Visitor]


def _fail(db: Database, at: datetime, name: str = "Ruth Okonjo-Lind", address: str = "10.0.0.7") -> None:
    with db.write() as session:
        assert not actions.begin_attempt(session, name, at, address).right("wrong")


def test_the_sixth_try_in_five_minutes_waits_until_the_first_is_five_minutes_old() -> None:
    failures = [T0 + timedelta(seconds=10 * n) for n in reversed(range(5))]
    at = T0 + timedelta(seconds=60)
    assert wait_s(failures[1:], at, PERSON_LIMITS) == 0
    assert wait_s(failures, at, PERSON_LIMITS) == 240
    assert wait_s(failures, T0 + timedelta(minutes=5), PERSON_LIMITS) == 0


def test_twenty_in_an_hour_and_fifty_in_a_day_are_the_slower_limits() -> None:
    hour = [T0 + timedelta(minutes=2 * n) for n in reversed(range(20))]
    assert wait_s(hour, T0 + timedelta(minutes=45), PERSON_LIMITS) == 15 * 60
    day = [T0 + timedelta(minutes=10 * n) for n in reversed(range(50))]
    assert wait_s(day, T0 + timedelta(hours=10), PERSON_LIMITS) == 14 * 3600
    assert wait_s(day[1:], T0 + timedelta(hours=10), PERSON_LIMITS) == 0


@pytest.mark.parametrize(
    ("seconds", "words"), [(1, "a minute"), (61, "2 minutes"), (3600, "60 minutes"), (14 * 3600, "14 hours")]
)
def test_a_wait_is_told_in_words(seconds: int, words: str) -> None:
    assert wait_words(seconds) == words


def test_a_person_must_wait_after_five_failures_whatever_the_address(db: Database) -> None:
    for n in range(5):
        _fail(db, T0 + timedelta(seconds=n), address=f"10.0.0.{n}")
    with pytest.raises(TooMany) as caught, db.write() as session:
        actions.begin_attempt(session, "Ruth Okonjo-Lind", T0 + timedelta(seconds=30), "10.0.0.99")
    assert caught.value.retry_s == 270
    with db.write() as session:
        attempt = actions.begin_attempt(session, "Ruth Okonjo-Lind", T0 + timedelta(minutes=5), "10.0.0.99")
        assert attempt.right(PHRASE)


def test_an_address_must_wait_after_thirty_names(db: Database) -> None:
    for n in range(ADDRESS_LIMITS[0].failures):
        _fail(db, T0 + timedelta(seconds=n), name=f"Name {n}")
    with pytest.raises(TooMany), db.write() as session:
        actions.begin_attempt(session, "Another name", T0 + timedelta(minutes=1), "10.0.0.7")
    with db.write() as session:
        actions.begin_attempt(session, "Another name", T0 + timedelta(minutes=1), "10.0.0.8")


def test_a_right_secret_is_not_counted_as_a_failure(db: Database) -> None:
    for n in range(12):
        with db.write() as session:
            found = actions.verify_person(session, "ruth okonjo-lind", PHRASE, T0 + timedelta(seconds=n), "a")
        assert found.role is Role.SUPERVISOR
    with db.read() as session:
        assert session.exec(select(SignInAttempt)).all() == []


def test_a_wrong_signature_is_counted_although_its_refusal_rolls_everything_back(db: Database) -> None:
    for n in range(5):
        with pytest.raises(Refused), db.write() as session:
            actions.verify_person(session, "Ruth Okonjo-Lind", "wrong", T0 + timedelta(seconds=n), "10.0.0.7")
    with pytest.raises(TooMany), db.write() as session:
        actions.verify_person(session, "Ruth Okonjo-Lind", PHRASE, T0 + timedelta(seconds=9), "10.0.0.7")
    with db.read() as session:
        assert len(session.exec(select(SignInAttempt)).all()) == 5


def test_guesses_side_by_side_count_like_guesses_in_a_row(db: Database) -> None:
    def guess(n: int) -> bool:
        try:
            _fail(db, T0, address=f"10.0.0.{n}")
        except TooMany:
            return False
        return True

    with ThreadPoolExecutor(12) as pool:
        assert sum(pool.map(guess, range(24))) == PERSON_LIMITS[0].failures


def test_the_sign_in_page_says_how_long_to_wait(app: FastAPI) -> None:
    visitor = Visitor(app)
    for _ in range(5):
        assert visitor.sign_in("Ines Aldvik", "000001").status == 409
    page = visitor.sign_in("Ines Aldvik", "480217")
    assert page.status == 429
    assert int(page.response.headers["retry-after"]) > 200
    error = page.soup.find(id="f-secret-error")
    assert error is not None
    assert "Wait 5 minutes" in error.get_text()
    assert Visitor(app).sign_in("Tomo Brandsma", "935164").path == "/"
