"""Who may use what: every route of the app declares it, and keeps what it declares."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from fastapi import FastAPI
from fastapi.dependencies.models import Dependant
from fastapi.routing import APIRoute, iter_route_contexts

from app.people.access import Allow, AllowAnyone, AllowTap, AllowToken, posted, posted_large
from app.people.models import Role
from app.platform.routes import declared_public
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]
SAFE = {"GET", "HEAD", "OPTIONS"}
AS_ROLE = {"technician": Role.TECHNICIAN, "stores": Role.STORES, "supervisor": Role.SUPERVISOR}


@dataclass(frozen=True)
class Declared:
    """One route with what it depends on to let people in."""

    path: str
    methods: frozenset[str]
    calls: tuple[Any, ...]

    @property
    def roles(self) -> frozenset[Role] | None:
        """The roles it lets in, None for everybody and anybody."""
        guards = [c for c in self.calls if isinstance(c, Allow | AllowTap | AllowToken)]
        return frozenset.intersection(*(g.roles for g in guards)) if guards else None

    @property
    def public(self) -> bool:
        return any(isinstance(c, AllowAnyone) or c is declared_public for c in self.calls)

    @property
    def api(self) -> bool:
        return any(isinstance(c, AllowToken) for c in self.calls)

    @property
    def tapped(self) -> bool:
        """Whether it takes the right of the person who tapped instead of a sign-in."""
        return any(isinstance(c, AllowTap) for c in self.calls)


def _calls(dependant: Dependant) -> Iterator[Any]:
    for part in dependant.dependencies:
        yield part.call
        yield from _calls(part)


def _routes(app: FastAPI) -> list[Declared]:
    found = []
    for context in iter_route_contexts(app.routes):
        if isinstance(context.original_route, APIRoute):
            calls = tuple(_calls(context.dependant))
            found.append(Declared(str(context.path), frozenset(context.methods or ()), calls))
    return found


def test_every_route_declares_who_may_use_it(app: FastAPI) -> None:
    routes = _routes(app)
    assert len(routes) > 15
    silent = [r.path for r in routes if r.roles is None and not r.public]
    assert silent == [], "These routes declare nobody: give them Everybody, Bench, Stores, Supervisor or Anyone."
    both = [r.path for r in routes if r.roles is not None and r.public]
    assert both == []


def test_nothing_but_the_schema_and_static_files_is_outside_the_rooms(app: FastAPI) -> None:
    others = {
        str(context.path)
        for context in iter_route_contexts(app.routes)
        if not isinstance(context.original_route, APIRoute)
    }
    assert others <= {"/openapi.json", "/static"}


def test_every_unsafe_page_route_checks_the_form_token(app: FastAPI) -> None:
    others = [r for r in _routes(app) if not r.methods <= SAFE and not r.api and not r.public and not r.tapped]
    assert [r.path for r in others if not {posted, posted_large} & set(r.calls)] == [], (
        "Take `raw: Posted` in these handlers."
    )


def test_the_right_of_who_tapped_is_taken_by_the_outbox_alone_and_for_the_bench_roles(app: FastAPI) -> None:
    tapped = [r for r in _routes(app) if r.tapped]
    assert {r.path for r in tapped} <= {"/bench/outbox", "/bench/outbox/photo"}
    for route in tapped:
        assert route.roles == frozenset({Role.TECHNICIAN, Role.SUPERVISOR})
        assert not any(isinstance(c, Allow) or c is posted for c in route.calls), "Nobody needs to be signed in."


def test_public_unsafe_routes_are_only_those_before_sign_in(app: FastAPI) -> None:
    public = {r.path for r in _routes(app) if r.public and not r.methods <= SAFE}
    assert public == {"/sign-in", "/setup/{token}", "/tablet"}


def test_the_api_lives_under_its_path_and_pages_do_not(app: FastAPI) -> None:
    for route in _routes(app):
        assert route.api == route.path.startswith("/api/"), route.path


@pytest.mark.parametrize("who", ["nobody", "technician", "stores", "supervisor"])
def test_every_page_without_parameters_lets_in_exactly_those_it_declares(app: FastAPI, visit: Visit, who: str) -> None:
    visitor = Visitor(app) if who == "nobody" else visit(who)
    wrong = []
    for route in _routes(app):
        if "GET" not in route.methods or "{" in route.path:
            continue
        answer = visitor.client.get(route.path, follow_redirects=False)
        shut_out = answer.status_code in (401, 403) or answer.headers.get("location", "").startswith("/sign-in")
        may = route.public or (who != "nobody" and route.roles is not None and AS_ROLE[who] in route.roles)
        if shut_out == may or answer.status_code >= 500:
            wrong.append((route.path, who, answer.status_code))
    assert wrong == []


@pytest.mark.parametrize("who", ["technician", "stores"])
def test_unsafe_routes_refuse_other_roles_before_they_look_at_anything(app: FastAPI, visit: Visit, who: str) -> None:
    visitor = visit(who)
    token = visitor.open("/me").form("/sign-out").values["csrf_token"]
    wrong = []
    for route in _routes(app):
        if route.methods <= SAFE or route.api or route.roles is None or AS_ROLE[who] in route.roles:
            continue
        path = route.path
        while "{" in path:
            path = path[: path.index("{")] + "1" + path[path.index("}") + 1 :]
        for method in route.methods - SAFE:
            answer = visitor.client.request(method, path, data={"csrf_token": token}, follow_redirects=False)
            # Being signed in is no right to send taps; without one the outbox knows nobody.
            if answer.status_code != (401 if route.tapped else 403):
                wrong.append((method, path, answer.status_code))
    assert wrong == []
