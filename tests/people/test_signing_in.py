"""Signing in and out through the pages: cookies, rotation, sliding expiry, where it leads."""

from collections.abc import Callable
from datetime import timedelta

import pytest
from fastapi import FastAPI
from sqlalchemy import update
from sqlmodel import col, select

from app.main import build_app
from app.people.demo_staff import demo_sign_ins
from app.people.models import SignIn
from app.people.routes.signing import local_path
from app.people.secrets import check_secret
from app.platform import clock
from app.platform.db import Database
from app.platform.settings import Settings
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def _signed_in(visitor: Visitor) -> bool:
    return visitor.client.get("/me", follow_redirects=False).status_code == 200


def test_a_technician_signs_in_with_a_pin_and_out_again(app: FastAPI) -> None:
    visitor = Visitor(app)
    page = visitor.sign_in("ines  ALDVIK", "480217")
    assert page.path == "/"
    assert _signed_in(visitor)
    page = visitor.open("/me").form("/sign-out").submit()
    assert page.path == "/sign-in"
    assert not _signed_in(visitor)


def test_tapping_a_name_asks_for_nothing_but_the_pin(app: FastAPI) -> None:
    visitor = Visitor(app)
    page = visitor.open("/sign-in?next=/me").link("Tomo Brandsma")
    pin = page.soup.find("input", {"name": "secret"})
    assert pin is not None
    assert pin["inputmode"] == "numeric"
    assert "Ruth Okonjo-Lind" not in page.words
    assert page.form("/sign-in").submit(secret="935164").path == "/me"


def test_a_wrong_secret_is_refused_beside_the_field_with_the_name_kept(app: FastAPI) -> None:
    page = Visitor(app).sign_in("Ruth Okonjo-Lind", "seven loud lighthouses")
    assert page.status == 409
    error = page.soup.find(id="f-secret-error")
    assert error is not None
    assert "do not belong together" in error.get_text()
    assert page.form("/sign-in").values["name"] == ["Ruth Okonjo-Lind"]
    assert "seven loud" not in page.text


def test_an_unknown_name_is_answered_in_the_same_words(app: FastAPI) -> None:
    page = Visitor(app).sign_in("Nobody Here", "123456")
    assert page.status == 409
    assert "do not belong together" in page.words


def test_empty_fields_are_named(app: FastAPI) -> None:
    page = Visitor(app).sign_in("", "")
    assert page.status == 422
    assert page.words.count("Fill this in.") == 2


def test_the_cookie_is_kept_from_scripts_and_other_sites(app: FastAPI) -> None:
    answer = Visitor(app).client.post(
        "/sign-in", data={"name": "Ines Aldvik", "secret": "480217"}, follow_redirects=False
    )
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("countback=")
    for flag in ("HttpOnly", "SameSite=lax", "Path=/"):
        assert flag in cookie
    assert "Domain" not in cookie
    assert "Secure" not in cookie


def test_behind_tls_the_cookie_is_secure_and_bound_to_the_host(db: Database, settings: Settings) -> None:
    app = build_app(settings.model_copy(update={"secure_cookies": True}), db)
    answer = Visitor(app).client.post(
        "/sign-in", data={"name": "Ines Aldvik", "secret": "480217"}, follow_redirects=False
    )
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("__Host-countback=")
    assert "Secure" in cookie
    assert "Domain" not in cookie


def test_signing_in_again_ends_the_cookie_the_browser_had(app: FastAPI) -> None:
    visitor = Visitor(app)
    visitor.sign_in("Ines Aldvik", "480217")
    old = visitor.client.cookies["countback"]
    visitor.client.post("/sign-in", data={"name": "Pia Sundqvay", "secret": "brass kettle under stairs"})
    assert visitor.client.cookies["countback"] != old
    other = Visitor(app)
    other.client.cookies["countback"] = old
    assert not _signed_in(other)


def test_only_the_hash_of_a_cookie_is_stored(app: FastAPI, db: Database) -> None:
    visitor = Visitor(app)
    visitor.sign_in("Ines Aldvik", "480217")
    with db.read() as session:
        stored = session.exec(select(SignIn.token_hash)).all()
    assert visitor.client.cookies["countback"] not in stored
    assert [len(h) for h in stored] == [64]


def test_use_moves_the_end_of_a_sign_in_on(app: FastAPI, db: Database) -> None:
    visitor = Visitor(app)
    visitor.sign_in("Ines Aldvik", "480217")
    long_ago = clock.now() - timedelta(hours=11)
    soon = clock.now() + timedelta(hours=1)
    with db.write() as session:
        session.connection().execute(update(SignIn).values(last_seen_at=long_ago, expires_at=soon))
    assert _signed_in(visitor)
    with db.read() as session:
        expires_at, seen = session.exec(select(SignIn.expires_at, SignIn.last_seen_at)).one()
    assert expires_at > clock.now() + timedelta(hours=11)
    assert _signed_in(visitor)
    with db.read() as session:
        assert session.exec(select(SignIn.last_seen_at)).one() == seen, "noted at most every 5 minutes"


def test_an_unused_sign_in_runs_out(app: FastAPI, db: Database) -> None:
    visitor = Visitor(app)
    visitor.sign_in("Ines Aldvik", "480217")
    with db.write() as session:
        session.connection().execute(update(SignIn).values(expires_at=clock.now() - timedelta(seconds=1)))
    page = visitor.open("/me")
    assert page.path == "/sign-in"
    assert page.form("/sign-in").submit(name="Ines Aldvik", secret="480217").path == "/me"


@pytest.mark.parametrize(
    ("target", "kept"),
    [
        ("/jobs/J000001", "/jobs/J000001"),
        ("/jobs?stage=open", "/jobs?stage=open"),
        ("https://elsewhere.example/", ""),
        ("//elsewhere.example", ""),
        ("/\\elsewhere.example", ""),
        ("/\t/elsewhere.example", ""),
        ("jobs", ""),
        ("javascript:alert(1)", ""),
        ("", ""),
    ],
)
def test_a_sign_in_leads_nowhere_but_to_our_own_pages(target: str, kept: str) -> None:
    assert local_path(target) == kept


def test_the_demo_alone_shows_its_sign_ins(db: Database, settings: Settings) -> None:
    names = [name for name, _role, _secret in demo_sign_ins()]
    usual = Visitor(build_app(settings, db)).open("/sign-in")
    demo = Visitor(build_app(settings.model_copy(update={"demo": True}), db)).open("/sign-in")
    for name, role, secret in demo_sign_ins():
        assert name in demo.words
        assert secret in demo.words
        assert name not in usual.words
        assert check_secret(role, secret) == secret
    assert len(names) == len(set(names)) >= 6


def test_a_deactivated_person_is_signed_out_at_once(app: FastAPI, visit: Visit, db: Database) -> None:
    technician = visit("technician")
    boss = visit("supervisor")
    boss.open("/people").link("Ines Aldvik").form("/deactivate").submit()
    assert not _signed_in(technician)
    assert Visitor(app).sign_in("Ines Aldvik", "480217").status == 409
    with db.read() as session:
        assert session.exec(select(SignIn).where(col(SignIn.revoked_at).is_not(None))).all()
