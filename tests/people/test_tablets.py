"""Bench tablets: enrolled with a one-time code, listed, renamed, revoked; where a PIN is taken."""

from collections.abc import Callable
from datetime import timedelta
from urllib.parse import quote

import pytest
from fastapi import FastAPI
from sqlalchemy import update
from sqlmodel import col, select

from app.main import build_app
from app.people import actions, queries
from app.people.models import Person, SignIn, SignInAttempt, Tablet, TabletCode
from app.people.secrets import CODE_SIGNS, plain_code, token_hash
from app.platform import clock
from app.platform.db import Database
from app.platform.settings import Settings
from tests.visitor import TABLET_TOKEN, Page, Visitor

Visit = Callable[[str], Visitor]
INES = ("Ines Aldvik", "480217")
BOSS = ("Ruth Okonjo-Lind", "seven quiet lighthouses")


def _make_code(boss: Visitor, label: str) -> Page:
    return boss.open("/people/tablets").form("/people/tablets").submit(label=label)


def _code(page: Page) -> str:
    shown = page.soup.find(class_="code-large")
    assert shown is not None
    return shown.get_text().removeprefix("Code").strip()


def _enrol(visitor: Visitor, code: str) -> Page:
    return visitor.open("/tablet").form("/tablet").submit(code=code)


def _enrolled(app: FastAPI, boss: Visitor, label: str) -> Visitor:
    visitor = Visitor(app, tablet=None)
    assert f"This tablet is {label}" in _enrol(visitor, _code(_make_code(boss, label))).words
    return visitor


def _error(page: Page, field: str) -> str:
    found = page.soup.find(id=f"f-{field}-error")
    return found.get_text() if found else ""


def test_a_supervisor_makes_a_code_and_the_tablet_that_enters_it_takes_pins(app: FastAPI, visit: Visit) -> None:
    page = _make_code(visit("supervisor"), "Bench  2")
    code = _code(page)
    assert len(plain_code(code)) == 8
    assert set(plain_code(code)) <= set(CODE_SIGNS)
    assert "until" in page.words
    assert page.soup.select(".code-picture svg")
    tablet = Visitor(app, tablet=None)
    page = _enrol(tablet, f" {code.lower().replace('-', ' ')} ")
    assert page.path == "/tablet"
    assert "This tablet is Bench 2" in page.words
    assert tablet.sign_in(*INES).path == "/"


def test_the_scanned_address_fills_the_code_in_and_enrols_nothing_by_itself(
    app: FastAPI, visit: Visit, db: Database
) -> None:
    code = plain_code(_code(_make_code(visit("supervisor"), "Bench 2")))
    tablet = Visitor(app, tablet=None)
    page = tablet.open(f"/tablet?code={code}")
    with db.read() as session:
        assert session.exec(select(TabletCode.used_at)).one() is None
    assert "This tablet is Bench 2" in page.form("/tablet").submit().words


def test_the_code_is_shown_once_and_stored_as_a_hash_alone(visit: Visit, db: Database) -> None:
    boss = visit("supervisor")
    form = boss.open("/people/tablets").form("/people/tablets")
    code = _code(form.submit(label="Bench 2"))
    again = form.submit(label="Bench 2")
    assert again.soup.find(class_="code-large") is None
    assert "A code for Bench 2 can still be used" in again.words
    with db.read() as session:
        stored = session.exec(select(TabletCode)).one()
        assert stored.code_hash == token_hash(plain_code(code))
        assert plain_code(code) not in repr(stored)


def test_a_code_enrols_one_tablet_alone(app: FastAPI, visit: Visit) -> None:
    boss = visit("supervisor")
    code = _code(_make_code(boss, "Bench 2"))
    _enrol(Visitor(app, tablet=None), code)
    page = _enrol(Visitor(app, tablet=None), code)
    assert page.status == 409
    assert "has been used" in _error(page, "code")


def test_a_code_runs_out_after_a_quarter_of_an_hour(app: FastAPI, visit: Visit, db: Database) -> None:
    code = _code(_make_code(visit("supervisor"), "Bench 2"))
    with db.read() as session:
        made = session.exec(select(TabletCode)).one()
        assert made.expires_at - made.created_at == timedelta(minutes=15)
    with db.write() as session:
        session.connection().execute(update(TabletCode).values(expires_at=clock.now()))
    page = _enrol(Visitor(app, tablet=None), code)
    assert page.status == 409
    assert "has run out" in _error(page, "code")


def test_a_code_ends_with_the_supervisor_who_made_it(app: FastAPI, visit: Visit, db: Database) -> None:
    code = _code(_make_code(visit("supervisor"), "Bench 2"))
    with db.write() as session:
        session.connection().execute(update(Person).where(col(Person.name) == BOSS[0]).values(active=False))
    assert "has run out" in _error(_enrol(Visitor(app, tablet=None), code), "code")


def test_a_wrong_code_is_refused_beside_the_field_and_kept_to_be_mended(app: FastAPI) -> None:
    page = _enrol(Visitor(app, tablet=None), "XXXX-YYYY")
    assert page.status == 409
    assert "No tablet code is like this" in _error(page, "code")
    assert page.form("/tablet").values["code"] == ["XXXX-YYYY"]
    assert _enrol(Visitor(app, tablet=None), "").status == 422


def test_a_newer_code_for_the_same_tablet_makes_the_earlier_useless(app: FastAPI, visit: Visit) -> None:
    boss = visit("supervisor")
    first, second = (_code(_make_code(boss, "Bench 2")) for _ in range(2))
    assert _enrol(Visitor(app, tablet=None), first).status == 409
    assert "Bench 2" in _enrol(Visitor(app, tablet=None), second).words


def test_codes_are_not_guessed_the_sixth_try_in_five_minutes_must_wait(
    app: FastAPI, visit: Visit, db: Database
) -> None:
    code = _code(_make_code(visit("supervisor"), "Bench 2"))
    tablet = Visitor(app, tablet=None)
    for _ in range(5):
        assert _enrol(tablet, "XXXX-XXXX").status == 409
    page = _enrol(tablet, code)
    assert page.status == 429
    assert int(page.response.headers["retry-after"]) > 0
    assert "Wait" in _error(page, "code")
    # Nobody's sign-in is counted against by it.
    assert Visitor(app).sign_in(*INES).path == "/"
    with db.write() as session:
        session.connection().execute(update(SignInAttempt).values(at=clock.now() - timedelta(minutes=6)))
    assert "This tablet is Bench 2" in _enrol(tablet, code).words


def test_a_code_from_another_site_is_refused(app: FastAPI, visit: Visit) -> None:
    code = _code(_make_code(visit("supervisor"), "Bench 2"))
    tablet = Visitor(app, tablet=None)
    tablet.client.headers["sec-fetch-site"] = "cross-site"
    assert tablet.post("/tablet", {"code": code}).status == 403


def test_an_enrolled_tablet_uses_no_second_code_up(app: FastAPI, visit: Visit) -> None:
    boss = visit("supervisor")
    tablet = _enrolled(app, boss, "Bench 2")
    code = _code(_make_code(boss, "Bench 3"))
    assert "This tablet is Bench 2" in tablet.post("/tablet", {"code": code}).words
    assert "This tablet is Bench 3" in _enrol(Visitor(app, tablet=None), code).words


def test_the_tablet_cookie_is_kept_long_and_from_scripts(app: FastAPI, visit: Visit) -> None:
    code = _code(_make_code(visit("supervisor"), "Bench 2"))
    answer = Visitor(app, tablet=None).client.post("/tablet", data={"code": code}, follow_redirects=False)
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("countback-tablet=")
    for flag in ("HttpOnly", "SameSite=lax", "Path=/", "Max-Age=34560000"):
        assert flag in cookie
    assert "Secure" not in cookie


def test_behind_tls_the_tablet_cookie_is_secure_and_bound_to_the_host(db: Database, settings: Settings) -> None:
    app = build_app(settings.model_copy(update={"secure_cookies": True}), db)
    with db.write() as session:
        code = actions.make_tablet_code(session, "Bench 2", 4, clock.now())
    answer = Visitor(app, tablet=None).client.post("/tablet", data={"code": code}, follow_redirects=False)
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("__Host-countback-tablet=")
    assert "Secure" in cookie
    token = cookie.split("=", 1)[1].split(";")[0]
    tablet = Visitor(app, tablet=None)
    tablet.client.headers["cookie"] = f"__Host-countback-tablet={token}"
    answer = tablet.client.post("/sign-in", data=dict(zip(("name", "secret"), INES, strict=True)))
    assert "__Host-countback=" in answer.history[0].headers["set-cookie"]


def test_a_pin_is_refused_on_a_tablet_that_is_not_enrolled_and_it_says_what_to_do(app: FastAPI, db: Database) -> None:
    visitor = Visitor(app, tablet=None)
    page = visitor.open("/sign-in")
    assert "not enrolled" in page.words
    assert "Ask a supervisor" in page.words
    assert "Ines Aldvik" not in page.words
    page = visitor.sign_in(*INES)
    assert page.status == 409
    assert "PINs are taken on enrolled tablets alone" in page.words
    assert "Ask a supervisor" in page.words
    assert visitor.client.get("/me", follow_redirects=False).status_code == 303
    for _ in range(6):
        assert visitor.sign_in(INES[0], "000000").status == 409, "no PIN is looked at, so none can be guessed"
    with db.read() as session:
        assert session.exec(select(SignInAttempt)).all() == []
    assert page.link("Enter a tablet code").path == "/tablet"


def test_supervisors_and_stores_sign_in_anywhere_with_a_passphrase(app: FastAPI) -> None:
    assert Visitor(app, tablet=None).sign_in(*BOSS).path == "/"
    assert Visitor(app, tablet=None).sign_in("Pia Sundqvay", "brass kettle under stairs").path == "/stores"


def test_the_demo_takes_pins_anywhere(db: Database, settings: Settings) -> None:
    app = build_app(settings.model_copy(update={"demo": True}), db)
    visitor = Visitor(app, tablet=None)
    assert "not enrolled" not in visitor.open("/sign-in").words
    assert visitor.sign_in(*INES).path == "/"


def test_a_forged_tablet_cookie_enrols_nothing(app: FastAPI) -> None:
    assert Visitor(app, tablet="made-up").sign_in(*INES).status == 409


def test_the_list_tells_who_enrolled_a_tablet_who_is_signed_in_and_what_waits(
    app: FastAPI, visit: Visit, db: Database
) -> None:
    boss = visit("supervisor")
    tablet = _enrolled(app, boss, "Bench 2")
    tablet.sign_in(*INES)
    at = clock.now()
    with db.write() as session:
        known = session.exec(select(Tablet.id).where(col(Tablet.label) == "Bench 2")).one() or 0
        actions.note_contact(session, known, at, 7, at - timedelta(hours=2))
    row = next(r for r in boss.open("/people/tablets").soup.find_all("tr") if "Bench 2" in r.get_text())
    words = " ".join(row.get_text(" ").split())
    assert "by Ruth Okonjo-Lind" in words
    assert "7 since" in words
    assert "Ines Aldvik" in words
    tablet.open("/me").form("/sign-out").submit()
    row = next(r for r in boss.open("/people/tablets").soup.find_all("tr") if "Bench 2" in r.get_text())
    assert "Nobody" in row.get_text()


def test_where_nothing_is_enrolled_the_page_says_what_to_do(app: FastAPI, db: Database) -> None:
    boss = Visitor(app, tablet=None)
    boss.sign_in(*BOSS)
    with db.write() as session:
        session.delete(session.exec(select(Tablet)).one())
    page = boss.open("/people").link("Tablets")
    assert "No tablet is enrolled" in page.words
    assert "Technicians cannot sign in until one is" in page.words


def test_a_label_is_taken_once_and_a_tablet_can_be_renamed(app: FastAPI, visit: Visit) -> None:
    boss = visit("supervisor")
    _enrolled(app, boss, "Bench 2")
    page = _make_code(boss, "bench 2")
    assert page.status == 409
    assert "already a tablet called bench 2" in _error(page, "label")
    old = boss.open("/people/tablets").link("Bench 2")
    page = old.form(old.path).submit(label="Loading bay")
    assert "Loading bay" in boss.open("/people/tablets").words
    stale = old.form(old.path).submit(label="Somewhere else")
    assert stale.status == 409
    assert "called Loading bay now" in stale.words
    assert page.form(old.path).submit(label="Test bench").status == 409
    assert page.form(old.path).submit(label=" ").status == 422


def test_revoking_says_what_it_brings_about_and_ends_the_sign_ins_on_the_tablet(
    app: FastAPI, visit: Visit, db: Database
) -> None:
    boss = visit("supervisor")
    tablet = _enrolled(app, boss, "Bench 2")
    tablet.sign_in(*INES)
    elsewhere = visit("technician")
    asked = boss.open("/people/tablets").link("Bench 2").link("Revoke this tablet")
    assert "Ines Aldvik is signed out on it at once" in asked.words
    assert "kept as a question" in asked.words
    with db.read() as session:
        assert session.exec(select(Tablet.revoked_at).where(col(Tablet.label) == "Bench 2")).one() is None
    page = asked.form("/revoke").submit()
    assert "Ruth Okonjo-Lind revoked this tablet" in page.words
    assert tablet.client.get("/me", follow_redirects=False).status_code == 303
    assert elsewhere.client.get("/me", follow_redirects=False).status_code == 200
    page = tablet.sign_in(*INES)
    assert page.status == 409
    assert "has been revoked" in page.words
    assert asked.form("/revoke").submit().status == 409


def test_a_revoked_tablet_can_be_enrolled_anew_under_its_label(app: FastAPI, visit: Visit) -> None:
    boss = visit("supervisor")
    tablet = _enrolled(app, boss, "Bench 2")
    boss.open("/people/tablets").link("Bench 2").link("Revoke this tablet").form("/revoke").submit()
    assert "was enrolled as Bench 2 and revoked" in tablet.open("/tablet").words
    _enrol(tablet, _code(_make_code(boss, "Bench 2")))
    assert tablet.sign_in(*INES).path == "/"


@pytest.mark.parametrize("path", ["/people/tablets", "/people/tablets/1", "/people/tablets/1/revoke"])
def test_tablets_are_the_supervisors_to_look_after(visit: Visit, path: str) -> None:
    assert visit("technician").open(path).status == 403
    assert visit("supervisor").open(path).status == 200
    assert visit("supervisor").open(path.replace("1", "99")).status == (200 if path.endswith("tablets") else 404)


def test_a_page_opened_on_the_tablet_is_a_contact_noted_every_five_minutes(
    app: FastAPI, visit: Visit, db: Database
) -> None:
    def seen() -> object:
        with db.read() as session:
            return session.exec(select(Tablet.last_seen_at).where(col(Tablet.label) == "Test bench")).one()

    assert seen() is None
    Visitor(app).open("/sign-in")
    first = seen()
    assert first is not None
    technician = visit("technician")
    technician.open("/me")
    assert seen() == first
    with db.write() as session:
        session.connection().execute(update(Tablet).values(last_seen_at=clock.now() - timedelta(minutes=5)))
    before = seen()
    technician.open("/me")
    assert seen() != before


def test_a_sign_in_remembers_the_tablet_it_was_made_on(app: FastAPI, visit: Visit, db: Database) -> None:
    assert "Test bench, " in visit("technician").open("/me").words
    Visitor(app, tablet=None).sign_in(*BOSS)
    with db.read() as session:
        known = queries.known_tablet(session, token_hash(TABLET_TOKEN))
        assert known is not None
        found = session.exec(select(SignIn.tablet_id).order_by(col(SignIn.id))).all()
    assert list(found) == [known.id, None]


def test_a_contact_costs_a_write_every_twenty_seconds_or_when_waiting_begins_or_ends(db: Database) -> None:
    at = clock.now()

    def note(after_s: int, waiting: int) -> tuple[object, int]:
        with db.write() as session:
            actions.note_contact(session, 1, at + timedelta(seconds=after_s), waiting, at if waiting else None)
        with db.read() as session:
            tablet = session.exec(select(Tablet)).one()
            return tablet.last_seen_at, tablet.waiting

    assert note(0, 0) == (at, 0)
    assert note(19, 0) == (at, 0)
    assert note(19, 3) == (at + timedelta(seconds=19), 3)
    assert note(21, 2) == (at + timedelta(seconds=19), 3)
    assert note(39, 2) == (at + timedelta(seconds=39), 2)
    assert note(40, 0) == (at + timedelta(seconds=40), 0)


def test_tones_are_chosen_beside_theme_and_hand(visit: Visit) -> None:
    visitor = visit("technician")
    html = visitor.open("/me").soup.find("html")
    assert html is not None
    assert html["data-tones"] == "soft"
    page = visitor.open("/me").form("/me/display").submit(tones="loud", next="/me")
    html = page.soup.find("html")
    assert html is not None
    assert html["data-tones"] == "loud"
    pressed = page.soup.find("button", {"name": "tones", "aria-pressed": "true"})
    assert pressed is not None
    assert pressed["value"] == "loud"
    assert visitor.open("/me").form("/me/display").submit(tones=quote("shrill")).status == 422
