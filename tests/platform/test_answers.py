"""Health, error answers and static files over HTTP."""

from collections.abc import Callable

import pytest
from fastapi import FastAPI
from sqlalchemy import text

from app.platform.db import Database
from app.platform.migrations import head_revision
from app.platform.web import static_url
from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


def test_the_process_tells_that_it_answers(app: FastAPI) -> None:
    """Without touching the database."""
    answer = Visitor(app).client.get("/healthz")
    assert (answer.status_code, answer.json()) == (200, {"status": "ok"})


def test_it_is_ready_when_the_database_takes_writes(app: FastAPI, db: Database) -> None:
    """With the database's version and the migration it stands at."""
    answer = Visitor(app).client.get("/readyz")
    body = answer.json()
    assert answer.status_code == 200, body
    assert body["status"] == "ready"
    assert body["migration"] == head_revision()
    assert body["database"] == db.server_version()


def test_it_is_not_ready_when_migrations_are_behind(app: FastAPI, db: Database) -> None:
    """And it says what to run."""
    with db.write() as session:
        session.connection().execute(text("UPDATE alembic_version SET version_num = '0001'"))
    answer = Visitor(app).client.get("/readyz")
    assert answer.status_code == 503
    assert "countback migrate" in answer.json()["faults"][0]


def test_a_missing_page_is_told_as_a_page(app: FastAPI) -> None:
    """In words, with a way on, in the frame of the site."""
    page = Visitor(app).open("/no/such/page")
    assert page.status == 404
    assert page.response.headers["content-type"].startswith("text/html")
    assert "There is no such page" in page.words


def test_a_missing_thing_is_told_as_a_problem_to_programs(app: FastAPI) -> None:
    """RFC 9457, with its media type and members."""
    answer = Visitor(app).client.get("/api/v1/no-such-thing")
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"
    body = answer.json()
    assert body["status"] == 404
    assert {"type", "title", "detail"} <= set(body)


def test_a_program_without_a_token_is_told_how_to_come_in(app: FastAPI) -> None:
    """401 with the scheme, and the same JSON shape."""
    answer = Visitor(app).client.get("/api/v1/parts")
    assert answer.status_code == 401
    assert answer.headers["www-authenticate"] == "Bearer"
    assert answer.headers["content-type"] == "application/problem+json"


def test_a_browser_without_a_sign_in_is_sent_to_it(app: FastAPI) -> None:
    """And comes back to where it wanted to go."""
    answer = Visitor(app).client.get("/parts", follow_redirects=False)
    assert answer.status_code == 303
    assert answer.headers["location"] == "/sign-in?next=/parts"


def test_an_unexpected_error_is_told_with_a_reference(app: FastAPI) -> None:
    """Nothing of the error itself gets out."""

    @app.get("/broken-for-the-test")
    def broken() -> None:
        raise RuntimeError("a secret detail")

    visitor = Visitor(app)
    visitor.client._transport.raise_server_exceptions = False  # type: ignore[attr-defined]
    answer = visitor.client.get("/broken-for-the-test")
    assert answer.status_code == 500
    assert "secret detail" not in answer.text
    assert "reference" in answer.text.casefold()
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    assert answer.headers["cache-control"] == "no-store"


@pytest.mark.parametrize("path", ["/sign-in", "/no/such/page", "/healthz", "/static/css/base.css"])
def test_head_is_answered_like_get_without_the_body(app: FastAPI, path: str) -> None:
    """RFC 9110, 9.3.2."""
    client = Visitor(app).client
    got, head = client.get(path), client.head(path)
    assert (head.status_code, head.content) == (got.status_code, b"")
    assert head.headers["content-type"] == got.headers["content-type"]


def test_a_browser_comes_back_to_the_list_it_had_filtered(app: FastAPI) -> None:
    """Its query is part of where it wanted to go."""
    answer = Visitor(app).client.get("/parts?q=seal&show=all", follow_redirects=False)
    assert answer.headers["location"] == "/sign-in?next=/parts%3Fq%3Dseal%26show%3Dall"


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("/people/nobody", 404),
        ("/people/99999999999999999999999999", 422),
        (f"/people/{'1' * 5000}", 422),
        ("/orders?after=99999999999999999999999999", 200),
        ("/jobs/%00", 404),
        ("/parts?q=%00", 200),
        (f"/jobs/{'x' * 5000}/quote", 404),
        ("/stores/import?done=odd", 422),
        ("/api/v1/movements?after=99999999999999999999999999", 422),
        ("/api/v1/discards?first=0001-01-01", 422),
    ],
)
def test_what_no_column_can_hold_is_no_fault_of_ours(visit: Visit, path: str, status: int) -> None:
    """Numbers without end and signs that PostgreSQL keeps nowhere are answered in words, never with a 5xx."""
    answer = visit("supervisor").client.get(path)
    assert answer.status_code in {status, 404, 422}, answer.text[:300]


@pytest.mark.parametrize("path", ["/sign-in", "/setup/none", "/tablet"])
def test_nobody_sends_much_before_they_are_signed_in(app: FastAPI, path: str) -> None:
    """However its length is told."""
    client = Visitor(app).client
    headers = {"content-type": "application/x-www-form-urlencoded"}
    assert client.post(path, content=b"name=" + b"a" * 70_000, headers=headers).status_code == 413
    chunks = (b"a" * 1000 for _ in range(70))
    assert client.post(path, content=chunks, headers=headers).status_code == 413


def test_a_program_sends_no_more_than_is_read(app: FastAPI) -> None:
    """Its body is read before its token is looked at."""
    answer = Visitor(app).client.post("/api/v1/jobs", content=b"[" * (32 * 1024 * 1024 + 1))
    assert (answer.status_code, answer.headers["content-type"]) == (413, "application/problem+json")


def test_a_static_file_under_its_mark_is_kept_for_ever(app: FastAPI) -> None:
    """The mark is of its content; without it the browser asks again."""
    client = Visitor(app).client
    marked = client.get(static_url("css/base.css"))
    assert marked.status_code == 200
    assert marked.headers["cache-control"] == "public, max-age=31536000, immutable"
    assert client.get("/static/css/base.css").headers["cache-control"] == "no-cache"


@pytest.mark.parametrize("path", ["/sign-in", "/healthz", "/static/css/base.css", "/no/such/page", "/openapi.json"])
def test_every_answer_carries_the_security_headers(app: FastAPI, path: str) -> None:
    """Errors and files too."""
    headers = Visitor(app).client.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe-inline" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "same-origin"
    assert headers["x-frame-options"] == "DENY"


def test_pages_are_not_stored_by_caches(app: FastAPI, visit: Callable[[str], Visitor]) -> None:
    """A tablet is shared: the next person must not page back to what the last one saw."""
    assert Visitor(app).client.get("/sign-in").headers["cache-control"] == "no-store"
    assert visit("stores").open("/parts").response.headers["cache-control"] == "no-store"


def test_large_answers_are_compressed(app: FastAPI) -> None:
    """For the tablet on the far bench."""
    answer = Visitor(app).client.get("/static/css/base.css", headers={"accept-encoding": "gzip"})
    assert answer.headers.get("content-encoding") == "gzip"
