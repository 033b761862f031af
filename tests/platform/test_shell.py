"""What a tablet keeps: the service worker, the manifest, the icons, and how static files are sent."""

import gzip
import io
import re
from collections.abc import Callable

import brotli
import pytest
from fastapi import FastAPI
from PIL import Image
from starlette.testclient import TestClient

from tests.visitor import Visitor

Visit = Callable[[str], Visitor]


@pytest.fixture
def client(app: FastAPI) -> TestClient:
    return TestClient(app)


def test_the_worker_is_allowed_the_whole_site_and_names_files_that_are_there(client: TestClient) -> None:
    answer = client.get("/sw.js")
    assert answer.headers["service-worker-allowed"] == "/"
    assert answer.headers["cache-control"] == "no-cache"
    named = re.findall(r'"(/static/[^"]+)"', answer.text)
    assert any("/js/bench/replay.js" in name for name in named)
    assert [name for name in named if client.get(name).status_code != 200] == []


def test_the_manifest_makes_the_site_installable(client: TestClient) -> None:
    """Name, start, a display of its own and icons of 192 and 512 pixels: what Chromium asks for."""
    found = client.get("/manifest.webmanifest").json()
    assert found["name"] == "Countback, Test workshop"
    assert (found["start_url"], found["scope"], found["display"]) == ("/", "/", "standalone")
    for icon in found["icons"]:
        image = Image.open(io.BytesIO(client.get(icon["src"]).content))
        assert f"{image.width}x{image.height}" == icon["sizes"]


def test_the_page_of_the_tablet_is_open_to_everybody_and_names_nobody(visit: Visit, client: TestClient) -> None:
    assert visit("technician").client.get("/on-this-tablet").text == client.get("/on-this-tablet").text


def test_style_sheets_are_joined_in_their_order(client: TestClient) -> None:
    joined = client.get("/static/css/tokens+base.css?v=1").text
    tokens, base = (client.get(f"/static/css/{name}.css?v=1").text for name in ("tokens", "base"))
    assert joined.replace("\n", "") == (tokens + base).replace("\n", "")


@pytest.mark.parametrize(("accepts", "unpack"), [("gzip, br", brotli.decompress), ("gzip", gzip.decompress)])
def test_text_is_sent_compressed_and_cached_for_ever(
    client: TestClient, accepts: str, unpack: Callable[[bytes], bytes]
) -> None:
    with client.stream("GET", "/static/js/app.js?v=1", headers={"accept-encoding": accepts}) as answer:
        body = b"".join(answer.iter_raw())
    assert answer.headers["cache-control"].endswith("immutable")
    assert b"data-count-from" in unpack(body)


@pytest.mark.parametrize("path", ["css/no+base.css?v=1", "~mark/../app/main.py", "~mark/css/..%2f..%2fapp%2fmain.js"])
def test_what_is_not_there_is_not_sent(client: TestClient, path: str) -> None:
    assert client.get(f"/static/{path}").status_code == 404
