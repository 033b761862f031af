"""The right that taps carry: it belongs to the person who tapped, whoever is signed in when they are sent."""

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.responses import JSONResponse
from sqlalchemy import update
from sqlmodel import col, select

from app.people.access import Everybody, TapRight
from app.people.models import Person, SignIn, Tablet
from app.people.secrets import tap_right, token_hash
from app.platform import clock
from app.platform.db import Database
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


@pytest.fixture
def app(app: FastAPI) -> FastAPI:
    """The application with two routes of our own: who am I, and whose tap is this."""

    def whoami(caller: Everybody) -> dict[str, str]:
        return {"tap": caller.tap}

    def whose(tapper: TapRight, ago_s: float = 0) -> JSONResponse:
        tapped_at = clock.now() - timedelta(seconds=ago_s)
        return JSONResponse(
            {
                "name": tapper.name,
                "tablet": tapper.tablet_id,
                "refused": tapper.refused,
                "refusal": tapper.refusal(tapped_at),
            }
        )

    app.get("/test/whoami")(whoami)
    app.post("/test/tap")(whose)
    return app


def _right(visitor: Visitor) -> str:
    right = visitor.client.get("/test/whoami").json()["tap"]
    assert right == tap_right(visitor.client.cookies["countback"])
    return str(right)


def _send(visitor: Visitor, right: str, ago_s: float = 0) -> dict[str, Any]:
    answer = visitor.client.post(f"/test/tap?ago_s={ago_s}", headers={"x-countback-tap": right})
    assert answer.status_code == 200, answer.text
    return dict(answer.json())


def _out_since(db: Database, at: datetime) -> None:
    with db.write() as session:
        session.connection().execute(update(SignIn).values(signed_out_at=at))


def test_a_tap_goes_under_the_right_of_who_tapped(visit: Visit, db: Database) -> None:
    visitor = visit("technician")
    right = _right(visitor)
    assert len(right) == 64
    said = _send(visitor, right)
    assert said == {"name": "Ines Aldvik", "tablet": 1, "refused": "", "refusal": ""}
    with db.read() as session:
        stored = session.exec(select(SignIn.tap_hash)).one()
    assert stored == token_hash(right)
    assert stored != right


def test_the_right_does_not_sign_anybody_in(app: FastAPI, visit: Visit) -> None:
    right = _right(visit("technician"))
    other = Visitor(app)
    other.client.cookies["countback"] = right
    assert other.client.get("/me", follow_redirects=False).status_code == 303


def test_an_older_sign_in_gets_its_right_when_it_is_next_used(visit: Visit, db: Database) -> None:
    visitor = visit("technician")
    with db.write() as session:
        session.connection().execute(update(SignIn).values(tap_hash=None))
    assert _send(visitor, _right(visitor))["name"] == "Ines Aldvik"


def test_a_clerk_has_no_right_to_tap(visit: Visit, db: Database) -> None:
    assert visit("stores").client.get("/test/whoami").json()["tap"] == ""
    with db.read() as session:
        assert session.exec(select(SignIn.tap_hash)).one() is None


@pytest.mark.parametrize("right", ["", "f" * 64, "é"])
def test_an_unknown_right_is_answered_as_not_signed_in_in_json(visit: Visit, right: str) -> None:
    visitor = visit("technician")
    headers = {b"x-countback-tap": right.encode()} if right else {}
    answer = visitor.client.post("/test/tap", headers=headers, follow_redirects=False)
    assert answer.status_code == 401
    assert answer.headers["content-type"] == "application/problem+json"
    assert "sign in again" in answer.json()["detail"]
    assert "www-authenticate" not in answer.headers


def test_a_tap_from_another_site_is_refused_in_json(visit: Visit) -> None:
    visitor = visit("technician")
    right = _right(visitor)
    answer = visitor.client.post("/test/tap", headers={"x-countback-tap": right, "sec-fetch-site": "cross-site"})
    assert answer.status_code == 403
    assert answer.headers["content-type"] == "application/problem+json"


def test_after_signing_out_what_was_tapped_before_still_counts(visit: Visit, db: Database) -> None:
    visitor = visit("technician")
    right = _right(visitor)
    visitor.open("/me").form("/sign-out").submit()
    assert "countback" not in visitor.client.cookies
    with db.read() as session:
        ended = session.exec(select(SignIn)).one()
        assert ended.signed_out_at is not None
        assert ended.revoked_at is None
    said = _send(visitor, right, ago_s=3600)
    assert said == {"name": "Ines Aldvik", "tablet": 1, "refused": "", "refusal": ""}
    _out_since(db, clock.now() - timedelta(hours=1))
    assert _send(visitor, right, ago_s=3500)["refusal"] == "", "within what a tap's time is trusted to"
    said = _send(visitor, right, ago_s=60)
    assert said["refused"] == ""
    assert "after Ines Aldvik had signed out" in said["refusal"]


def test_somebody_elses_sign_in_on_the_tablet_takes_nothing_over(visit: Visit) -> None:
    visitor = visit("technician")
    right = _right(visitor)
    visitor.client.post("/sign-in", data={"name": "Tomo Brandsma", "secret": "935164"})
    mine = _right(visitor)
    assert mine != right
    assert _send(visitor, right, ago_s=60) == {"name": "Ines Aldvik", "tablet": 1, "refused": "", "refusal": ""}
    assert _send(visitor, mine)["name"] == "Tomo Brandsma"


def test_a_person_who_ends_a_sign_in_of_their_own_from_afar_has_signed_out_there(visit: Visit) -> None:
    there, here = visit("technician"), visit("technician")
    right = _right(there)
    here.open("/me").form("/revoke").submit()
    assert there.client.get("/me", follow_redirects=False).status_code == 303
    assert _send(there, right, ago_s=60)["refusal"] == ""


def test_after_a_sign_in_ran_out_during_a_cut_what_was_tapped_counts_for_a_day(visit: Visit, db: Database) -> None:
    visitor = visit("technician")
    right = _right(visitor)
    with db.write() as session:
        session.connection().execute(update(SignIn).values(expires_at=clock.now() - timedelta(hours=25)))
    assert _send(visitor, right, ago_s=2 * 3600)["refusal"] == ""
    assert "long after" in _send(visitor, right, ago_s=60)["refusal"]


def test_after_a_supervisor_ended_the_sign_ins_everything_is_a_question(visit: Visit) -> None:
    visitor, boss = visit("technician"), visit("supervisor")
    right = _right(visitor)
    visitor.open("/me").form("/sign-out").submit()
    other = visit("technician")
    boss.open("/people").link("Ines Aldvik").form("/revoke").submit()
    said = _send(visitor, right, ago_s=3600)
    assert "has been ended" in said["refused"]
    assert said["refusal"] == said["refused"]
    assert other.client.get("/me", follow_redirects=False).status_code == 303


def test_after_a_new_secret_what_other_tablets_send_is_a_question_and_what_this_one_sends_counts(
    visit: Visit,
) -> None:
    there, here = visit("technician"), visit("technician")
    right, mine = _right(there), _right(here)
    here.open("/me").form("/me/secret").submit(old="480217", new="719340", again="719340")
    assert "has been ended" in _send(there, right)["refused"]
    assert _send(here, mine)["refused"] == ""


def test_after_deactivation_everything_is_a_question(visit: Visit) -> None:
    visitor, boss = visit("technician"), visit("supervisor")
    right = _right(visitor)
    boss.open("/people").link("Ines Aldvik").form("/deactivate").submit()
    assert "Ines Aldvik has been deactivated" in _send(visitor, right, ago_s=3600)["refused"]


def test_after_the_tablet_was_revoked_everything_from_it_is_a_question(visit: Visit, db: Database) -> None:
    visitor, boss = visit("technician"), visit("supervisor")
    right, theirs = _right(visitor), _right(boss)
    boss.open("/people/tablets").link("Test bench").link("Revoke this tablet").form("/revoke").submit()
    assert "tablet has been revoked" in _send(visitor, right, ago_s=3600)["refused"]
    # The supervisor was signed in on it as well; a right from elsewhere sent by it is no better.
    assert "tablet has been revoked" in _send(visitor, theirs)["refused"]
    with db.read() as session:
        assert session.exec(select(SignIn.revoked_at).where(col(SignIn.revoked_at).is_(None))).all() == []


def test_a_role_away_from_the_bench_makes_a_question(visit: Visit, db: Database) -> None:
    visitor = visit("technician")
    right = _right(visitor)
    with db.write() as session:
        session.connection().execute(update(Person).where(col(Person.name) == "Ines Aldvik").values(role="stores"))
    assert "no longer works at the bench" in _send(visitor, right)["refused"]


def test_the_sending_tablet_is_the_one_that_was_in_contact(app: FastAPI, visit: Visit, db: Database) -> None:
    right = _right(visit("technician"))
    assert _send(Visitor(app, tablet=None), right)["tablet"] == 1, "the one it was tapped on"
    with db.write() as session:
        session.add(Tablet(label="Bench 2", token_hash=token_hash("two"), enrolled_at=clock.now(), enrolled_by=4))
    assert _send(Visitor(app, tablet="two"), right)["tablet"] == 2


def test_ticking_keeps_the_sign_in_alive_as_long_as_the_browser_has_it(visit: Visit, db: Database) -> None:
    visitor = visit("technician")
    right = _right(visitor)
    long_ago, soon = clock.now() - timedelta(hours=11), clock.now() + timedelta(hours=1)
    with db.write() as session:
        session.connection().execute(update(SignIn).values(last_seen_at=long_ago, expires_at=soon))
    cookie = visitor.client.cookies.pop("countback")
    _send(visitor, right)
    with db.read() as session:
        assert session.exec(select(SignIn.expires_at)).one() == soon
    visitor.client.cookies["countback"] = cookie
    _send(visitor, right)
    with db.read() as session:
        assert session.exec(select(SignIn.expires_at)).one() > soon
