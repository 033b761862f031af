"""Requests from elsewhere, form tokens, and the headers of every answer."""

from collections.abc import Callable

import pytest
from fastapi import FastAPI

from app.main import build_app
from app.people.access import csrf_token
from app.platform.db import Database
from app.platform.settings import Settings
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def _theme(visitor: Visitor, headers: dict[str, str], token: str | None = None) -> int:
    client = visitor.client
    client.headers.pop("sec-fetch-site", None)
    data = {"theme": "dark"}
    if token is not None:
        data["csrf_token"] = token
    return client.post("/me/display", data=data, headers=headers, follow_redirects=False).status_code


def _token(visitor: Visitor) -> str:
    return csrf_token(visitor.client.cookies["countback"])


@pytest.mark.parametrize(
    ("headers", "status"),
    [
        ({"sec-fetch-site": "same-origin"}, 303),
        ({"sec-fetch-site": "none"}, 303),
        ({"sec-fetch-site": "cross-site"}, 403),
        ({"sec-fetch-site": "same-site"}, 403),
        ({"origin": "http://testserver"}, 303),
        ({"origin": "http://elsewhere.example"}, 403),
        ({"origin": "null"}, 403),
        ({"sec-fetch-site": "cross-site", "origin": "http://testserver"}, 403),
    ],
)
def test_a_form_from_another_site_is_refused(visit: Visit, headers: dict[str, str], status: int) -> None:
    visitor = visit("technician")
    assert _theme(visitor, headers, _token(visitor)) == status


def test_a_form_without_the_token_or_with_anothers_is_refused(visit: Visit) -> None:
    visitor, other = visit("technician"), visit("second")
    same = {"sec-fetch-site": "same-origin"}
    assert _theme(visitor, same) == 403
    assert _theme(visitor, same, "") == 403
    assert _theme(visitor, same, "é" * 64) == 403
    assert _theme(visitor, same, _token(other)) == 403
    assert _theme(visitor, same, _token(visitor)) == 303
    assert _theme(visitor, {**same, "x-csrf-token": _token(visitor)}) == 303


def test_a_trusted_origin_may_post(db: Database, settings: Settings) -> None:
    app = build_app(settings.model_copy(update={"trusted_origins": "https://bench.example"}), db)
    visitor = Visitor(app)
    visitor.sign_in("Ines Aldvik", "480217")
    assert _theme(visitor, {"origin": "https://bench.example"}, _token(visitor)) == 303


def test_signing_in_from_another_site_is_refused(app: FastAPI) -> None:
    visitor = Visitor(app)
    visitor.client.headers["sec-fetch-site"] = "cross-site"
    answer = visitor.client.post("/sign-in", data={"name": "Ines Aldvik", "secret": "480217"})
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


def test_a_form_sent_after_the_sign_in_ended_leads_to_the_sign_in_page(visit: Visit) -> None:
    visitor = visit("technician")
    token = _token(visitor)
    visitor.open("/me").form("/sign-out").submit()
    page = visitor.post("/me/display", {"theme": "dark", "csrf_token": token})
    assert page.path == "/sign-in"


@pytest.mark.parametrize("path", ["/sign-in", "/me", "/nothing-here", "/people", "/healthz", "/api/v1/procedures"])
def test_every_answer_carries_the_security_headers(visit: Visit, path: str) -> None:
    answer = visit("technician").client.get(path, follow_redirects=False)
    policy = answer.headers["content-security-policy"]
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy
    assert answer.headers["permissions-policy"].startswith("camera=(self), ")
    assert "frame-ancestors 'none'" in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert answer.headers["referrer-policy"] == "same-origin"
    assert answer.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("path", ["/jobs", "/jobs/J000001/bench", "/scan", "/bench/keys"])
def test_webassembly_is_let_in_only_where_the_camera_reads_codes(visit: Visit, path: str) -> None:
    policy = visit("technician").client.get(path, follow_redirects=False).headers["content-security-policy"]
    assert "unsafe" not in policy.replace("script-src 'self' 'wasm-unsafe-eval';", "")


@pytest.mark.parametrize("path", ["/me", "/people", "/people/new", "/people/1", "/tokens"])
def test_pages_carry_nothing_that_the_policy_would_block(visit: Visit, path: str) -> None:
    page = visit("supervisor").open(path)
    assert page.status == 200
    for element in page.soup.find_all(True):
        assert not [a for a in element.attrs if a == "style" or a.startswith("on")], element
    assert page.soup.find("style") is None
    assert all(script.get("src") for script in page.soup.find_all("script"))
    assert all(str(s["src"]).startswith("/static/") for s in page.soup.find_all("script"))


def test_the_api_takes_no_cookie_for_writing(app: FastAPI, visit: Visit) -> None:
    from tests.people.test_access import SAFE, _routes

    visitor = visit("supervisor")
    for route in _routes(app):
        if route.api and not route.methods <= SAFE and "{" not in route.path:
            method = next(iter(route.methods - SAFE))
            assert visitor.client.request(method, route.path, json={}).status_code == 401, route.path
