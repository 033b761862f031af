"""Static files as they are sent: marked addresses cached for ever, text without its comments and compressed once.

Style sheets that a page needs together are sent as one: ``css/tokens+base.css`` is the two files in that order. Scripts
stay the modules they are. The files in the checkout are what runs; nothing is built.
"""

import gzip
from functools import lru_cache
from pathlib import Path

import brotli
from rcssmin import cssmin
from rjsmin import jsmin
from starlette.exceptions import HTTPException
from starlette.responses import Response
from starlette.staticfiles import StaticFiles
from starlette.types import Scope

TEXTS = {".js": "text/javascript", ".css": "text/css", ".svg": "image/svg+xml"}
FOR_EVER = "public, max-age=31536000, immutable"


class StaticForEver(StaticFiles):
    """Static files whose address carries a mark of their content may be cached for ever."""

    async def get_response(self, path: str, scope: Scope) -> Response:
        """Answer with the file; ``?v=`` or a first folder ``~mark`` in the address makes it immutable."""
        marked = b"v=" in scope.get("query_string", b"")
        if path.startswith("~"):
            marked, path = True, path.partition("/")[2]
        folder = Path(str(self.directory))
        if marked and Path(path).suffix in TEXTS and scope["method"] in ("GET", "HEAD"):
            return _text(folder, path, _encoding(scope))
        response = await super().get_response(path, scope)
        response.headers["cache-control"] = FOR_EVER if marked else "no-cache"
        return response


def sources(path: str) -> tuple[str, ...]:
    """Return the files an address stands for: one, or those joined by ``+`` in its last part."""
    folder, _, name = path.rpartition("/")
    stem, _, suffix = name.rpartition(".")
    return tuple(f"{folder}/{part}.{suffix}" for part in stem.split("+"))


def _encoding(scope: Scope) -> str:
    accepted = next((value.decode("latin-1") for name, value in scope["headers"] if name == b"accept-encoding"), "")
    names = {part.split(";")[0].strip() for part in accepted.split(",")}
    return "br" if "br" in names else "gzip" if "gzip" in names else ""


def _text(folder: Path, path: str, encoding: str) -> Response:
    files = [(folder / name).resolve() for name in sources(path)]
    if not all(file.is_file() and file.is_relative_to(folder.resolve()) for file in files):
        raise HTTPException(404)
    suffix = Path(path).suffix
    body = _packed(tuple((str(file), file.stat().st_mtime_ns) for file in files), suffix, encoding)
    headers = {"cache-control": FOR_EVER, "vary": "Accept-Encoding"}
    if encoding:
        headers["content-encoding"] = encoding
    return Response(body, media_type=TEXTS[suffix], headers=headers)


@lru_cache(maxsize=512)
def _packed(files: tuple[tuple[str, int], ...], suffix: str, encoding: str) -> bytes:
    """Return the files' text in one, small; the times in ``files`` renew it when a file changes."""
    text = "\n".join(Path(name).read_text(encoding="utf-8") for name, _changed in files)
    if suffix == ".js":
        text = str(jsmin(text))
    elif suffix == ".css":
        text = str(cssmin(text))
    body = text.encode()
    if encoding == "br":
        return bytes(brotli.compress(body, mode=brotli.MODE_TEXT))
    return gzip.compress(body, 9, mtime=0) if encoding == "gzip" else body
