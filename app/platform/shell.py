"""What a tablet keeps to work without a network: the service worker, its files, the manifest, the icons."""

import hashlib
import io
import json
from functools import lru_cache
from typing import Any

from PIL import Image, ImageDraw
from rjsmin import jsmin

from app.platform.resources import resource
from app.platform.web import MODULES, static_url

SHELL_PAGE = "/on-this-tablet"
FACES = ("hyperlegible-next-400.woff2", "hyperlegible-next-700.woff2")
ICON_SIZES = (192, 512)

# The mark's colours as in static/css/tokens.css.
_PETROL, _PAPER = "#0a4a57", "#fdfbf7"


@lru_cache(maxsize=1)
def shell_files() -> tuple[str, ...]:
    """Return the addresses of the files that no page names: modules that import one another, and the faces.

    What a kept page names itself (styles, scripts, the icon) the worker finds in it.
    """
    modules = sorted((resource("static") / "js" / "bench").glob("*.js"))
    names = [*(f"js/bench/{path.name}" for path in modules), MODULES[1]]
    return (*(static_url(name) for name in names), *(f"/static/vendor/{name}" for name in FACES))


@lru_cache(maxsize=1)
def service_worker() -> str:
    """Return the worker's script, headed by its content mark and the files it keeps.

    A change of any file changes the mark, and with it the script, so that the browser installs the new one.
    """
    body = (resource("static") / "js" / "sw.js").read_text(encoding="utf-8")
    files = shell_files()
    digest = hashlib.sha256("\n".join([*files, body]).encode())
    for folder, pattern in (("templates", "*.html"), ("static", "css/*.css"), ("static", "js/*.js")):
        for path in sorted(resource(folder).rglob(pattern)):
            digest.update(path.read_bytes())
    mark = digest.hexdigest()[:12]
    head = f"const MARK = {json.dumps(mark)};\nconst SHELL_PAGE = {json.dumps(SHELL_PAGE)};\n"
    return str(jsmin(f"{head}const SHELL = {json.dumps(files)};\n{body}"))


def manifest(site_name: str) -> dict[str, Any]:
    """Return the web app manifest (W3C, Web Application Manifest): what an installed Countback is called and opens."""
    drawn = [
        {"src": f"/icon-{size}.png", "sizes": f"{size}x{size}", "type": "image/png", "purpose": purpose}
        for size in ICON_SIZES
        for purpose in ("any", "maskable")
    ]
    return {
        "id": "/",
        "name": f"Countback, {site_name}",
        "short_name": "Countback",
        "description": "Every part that comes out is counted, and counted back.",
        "start_url": "/",
        "scope": "/",
        "display": "standalone",
        "background_color": "#f5f1e8",
        "theme_color": "#f5f1e8",
        "icons": drawn,
    }


@lru_cache(maxsize=len(ICON_SIZES))
def icon(size: int) -> bytes:
    """Return our mark as a square PNG of ``size`` pixels, on a full ground so that a mask may cut its corners.

    The figure is that of static/img/mark.svg, 26 units wide, drawn within the middle 60 % (the maskable icon's
    safe zone is a circle of 80 %).
    """
    big = size * 4
    image = Image.new("RGB", (big, big), _PETROL)
    draw = ImageDraw.Draw(image)
    unit = big * 0.6 / 26
    left = top = big * 0.2

    def at(*values: float) -> list[float]:
        return [(left if n % 2 == 0 else top) + v * unit for n, v in enumerate(values)]

    for x in (6, 20):
        draw.line(at(x, 3.5, x, 19), fill=_PAPER, width=round(2 * unit))
    draw.rounded_rectangle(at(3, 18, 23, 24.5), radius=1.5 * unit, fill=_PAPER)
    for y in (4.2, 12):
        draw.ellipse(at(3, y - 3, 9, y + 3), fill=_PAPER)
        draw.ellipse(at(17, y - 3, 23, y + 3), fill=_PAPER)
        draw.ellipse(at(18.6, y - 1.4, 21.4, y + 1.4), fill=_PETROL)
    out = io.BytesIO()
    image.resize((size, size), Image.Resampling.LANCZOS).save(out, "PNG", optimize=True)
    return out.getvalue()
