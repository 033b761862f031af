"""Staff pages, one-time links, own page, API tokens."""

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from fastapi import FastAPI
from sqlalchemy import delete, update
from sqlmodel import col, select

from app.people import actions
from app.people.models import ApiToken, Person, Role, SetupLink, SignIn, Tablet
from app.platform import clock
from app.platform.db import Database
from app.platform.errors import NotFound, Refused
from tests.visitor import Page, Visitor

Visit = Callable[[str], Visitor]


def _link(page: Page) -> str:
    shown = page.soup.find(class_="one-time")
    assert shown is not None
    found = re.search(r"/setup/\S+", shown.get_text())
    assert found is not None
    return found.group(0)


def _id(db: Database, name: str) -> int:
    with db.read() as session:
        return session.exec(select(Person.id).where(col(Person.name) == name)).one() or 0


def test_a_new_technician_chooses_a_pin_through_the_link_and_signs_in(app: FastAPI, visit: Visit) -> None:
    boss = visit("supervisor")
    page = boss.open("/people/new").form("/people/new").submit(name="Nils  Overby", role="technician")
    assert page.status == 200
    link = _link(page)
    visitor = Visitor(app)
    assert visitor.open(link).form(link).submit(secret="111111", again="111111").status == 409
    assert visitor.open(link).form(link).submit(secret="582914", again="582915").status == 422
    page = visitor.open(link).form(link).submit(secret="582914", again="582914")
    assert page.path == "/sign-in"
    assert page.form("/sign-in").submit(secret="582914").path == "/"
    assert visitor.open(link).status == 404
    assert "Nils Overby" in boss.open("/people").words


def test_sending_the_same_form_again_adds_nobody_and_leads_to_the_person(visit: Visit, db: Database) -> None:
    boss = visit("supervisor")
    form = boss.open("/people/new").form("/people/new")
    form.submit(name="Nils Overby", role="stores")
    again = form.submit(name="Nils Overby", role="stores")
    assert again.path == f"/people/{_id(db, 'Nils Overby')}"
    assert again.soup.find(class_="one-time") is None
    assert form.submit(name="Nils Otherby", role="stores").status == 409


def test_a_taken_name_is_refused_beside_the_field(visit: Visit) -> None:
    page = visit("supervisor").open("/people/new").form("/people/new").submit(name="ines aldvik", role="stores")
    assert page.status == 409
    error = page.soup.find(id="f-name-error")
    assert error is not None
    assert "already somebody" in error.get_text()


def test_the_last_supervisor_can_neither_be_deactivated_nor_get_another_role(visit: Visit, db: Database) -> None:
    boss = visit("supervisor")
    path = f"/people/{_id(db, 'Ruth Okonjo-Lind')}"
    for page in (
        boss.open(path).form("/deactivate").submit(),
        boss.open(path).form("/role").submit(role="stores"),
    ):
        assert page.status == 409
        assert "last active supervisor" in page.words
    with db.write() as session:
        actions.add_person(session, "Second Boss", Role.SUPERVISOR, "wool socks and thunder", clock.now())
    assert boss.open(path).form("/deactivate").submit().path == "/sign-in"


def test_a_pin_never_becomes_a_supervisors_secret(app: FastAPI, visit: Visit, db: Database) -> None:
    technician, boss = visit("technician"), visit("supervisor")
    page = boss.open(f"/people/{_id(db, 'Ines Aldvik')}").form("/role").submit(role="supervisor")
    link = _link(page)
    assert technician.client.get("/me", follow_redirects=False).status_code == 303
    assert Visitor(app).sign_in("Ines Aldvik", "480217").status == 409
    visitor = Visitor(app)
    assert visitor.open(link).form(link).submit(secret="480217", again="480217").status == 409
    phrase = "four grey herons fishing"
    assert visitor.open(link).form(link).submit(secret=phrase, again=phrase).path == "/sign-in"
    visitor.sign_in("Ines Aldvik", phrase)
    assert visitor.open("/people").path == "/people"


def test_a_change_from_an_old_page_is_refused_and_says_what_is_new(visit: Visit, db: Database) -> None:
    boss = visit("supervisor")
    path = f"/people/{_id(db, 'Pia Sundqvay')}"
    old = boss.open(path)
    old.form("/role").submit(role="supervisor")
    page = old.form("/deactivate").submit()
    assert page.status == 409
    assert "supervisor now" in page.words


def test_a_newer_link_makes_the_earlier_useless_and_ends_sign_ins_when_used(
    app: FastAPI, visit: Visit, db: Database
) -> None:
    stores, boss = visit("stores"), visit("supervisor")
    path = f"/people/{_id(db, 'Pia Sundqvay')}"
    first = _link(boss.open(path).form("/link").submit())
    second = _link(boss.open(path).form("/link").submit())
    assert Visitor(app).open(first).status == 404
    phrase = "green bottle on a sill"
    Visitor(app).open(second).form(second).submit(secret=phrase, again=phrase)
    assert stores.client.get("/me", follow_redirects=False).status_code == 303
    assert Visitor(app).sign_in("Pia Sundqvay", phrase).response.history


def test_a_link_runs_out_after_a_day(app: FastAPI, db: Database) -> None:
    at = clock.now() - timedelta(hours=24)
    with db.write() as session:
        token = actions.make_setup_link(session, _id(db, "Pia Sundqvay"), at)
    assert Visitor(app).open(f"/setup/{token}").status == 404
    with pytest.raises(Refused), db.write() as session:
        actions.use_setup_link(session, token, "", "green bottle on a sill", clock.now())


def test_the_first_supervisor_is_set_up_once(app: FastAPI, db: Database) -> None:
    with pytest.raises(Refused), db.write() as session:
        actions.make_setup_link(session, None, clock.now())
    with db.write() as session:
        for table in (SignIn, SetupLink, Tablet, Person):
            session.connection().execute(delete(table))
        token = actions.make_setup_link(session, None, clock.now())
        other = actions.make_setup_link(session, None, clock.now())
    visitor = Visitor(app)
    phrase = "four grey herons fishing"
    page = visitor.open(f"/setup/{token}").form(f"/setup/{token}")
    assert page.submit(name="Asta Rimfeld", secret=phrase, again=phrase).path == "/sign-in"
    assert visitor.sign_in("Asta Rimfeld", phrase).response.history
    page = visitor.open(f"/setup/{other}").form(f"/setup/{other}")
    assert page.submit(name="Intruder", secret=phrase, again=phrase).status == 409


def test_preferences_are_kept_and_lead_back(visit: Visit) -> None:
    visitor = visit("technician")
    page = visitor.open("/me").form("/me/display").submit(theme="dark", next="/me")
    assert page.path == "/me"
    html = page.soup.find("html")
    assert html is not None
    assert html["data-theme"] == "dark"
    page = visitor.open("/me").form("/me/display").submit(hand="left", next="//elsewhere.example")
    assert page.path == "/me"
    assert visitor.open("/me").form("/me/display").submit(theme="pink").status == 422


def test_changing_the_secret_ends_all_other_sign_ins(app: FastAPI, visit: Visit) -> None:
    here, there = visit("stores"), visit("stores")
    form = here.open("/me").form("/me/secret")
    phrase = "green bottle on a sill"
    assert form.submit(old="not it at all", new=phrase, again=phrase).status == 409
    old = "brass kettle under stairs"
    assert here.open("/me").form("/me/secret").submit(old=old, new="short", again="short").status == 409
    assert here.open("/me").form("/me/secret").submit(old=old, new=old, again=old).status == 409
    page = here.open("/me").form("/me/secret").submit(old=old, new=phrase, again=phrase)
    assert "is changed" in page.words
    assert here.client.get("/me", follow_redirects=False).status_code == 200
    assert there.client.get("/me", follow_redirects=False).status_code == 303
    assert Visitor(app).sign_in("Pia Sundqvay", old).status == 409


def test_a_person_ends_a_sign_in_of_their_own_but_of_nobody_else(visit: Visit, db: Database) -> None:
    here, there, other = visit("technician"), visit("technician"), visit("second")
    page = here.open("/me")
    revoke = [f for f in page.soup.find_all("form") if str(f.get("action", "")).endswith("/revoke")]
    assert len(revoke) == 1
    page.form("/revoke").submit()
    assert there.client.get("/me", follow_redirects=False).status_code == 303
    with db.read() as session:
        theirs = session.exec(select(SignIn.id).where(col(SignIn.person_id) == _id(db, "Tomo Brandsma"))).one()
    with pytest.raises(NotFound), db.write() as session:
        actions.sign_out_elsewhere(session, _id(db, "Ines Aldvik"), theirs or 0, clock.now())
    token = here.open("/me").form("/sign-out").values["csrf_token"]
    assert here.post(f"/me/sign-ins/{theirs}/revoke", {"csrf_token": token}).status == 404
    assert other.client.get("/me", follow_redirects=False).status_code == 200


def test_a_token_is_shown_once_used_and_revoked(app: FastAPI, visit: Visit, db: Database) -> None:
    boss = visit("supervisor")
    page = boss.open("/tokens").form("/tokens").submit(label="Nightly export", role="stores")
    shown = page.soup.find(class_="one-time")
    assert shown is not None
    headers = {"authorization": f"Bearer {shown.get_text().strip()}"}
    assert boss.open("/tokens").soup.find(class_="one-time") is None
    program = Visitor(app).client
    assert program.get("/api/v1/procedures", headers=headers).status_code == 200
    with db.read() as session:
        assert session.exec(select(ApiToken.last_used_at)).one() is not None
    boss.open("/tokens").form("/revoke").submit()
    answer = program.get("/api/v1/procedures", headers=headers)
    assert answer.status_code == 401
    assert answer.headers["content-type"] == "application/problem+json"


def test_a_token_ends_with_the_supervisor_who_made_it(app: FastAPI, db: Database) -> None:
    at = clock.now()
    with db.write() as session:
        token = actions.make_token(session, "x", Role.STORES, at, _id(db, "Ruth Okonjo-Lind"))
    headers = {"authorization": f"Bearer {token}"}
    program = Visitor(app).client
    assert program.get("/api/v1/procedures", headers=headers).status_code == 200
    with db.write() as session:
        session.connection().execute(update(Person).values(role=Role.STORES))
    assert program.get("/api/v1/procedures", headers=headers).status_code == 401
