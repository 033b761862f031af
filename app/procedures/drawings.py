"""Drawings: SVG line art, cleaned against a list of what is allowed, written out in one form, kept by its hash."""

import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any
from xml.etree.ElementTree import ParseError
from xml.sax.saxutils import escape, quoteattr

from defusedxml import DefusedXmlException
from defusedxml.ElementTree import fromstring

from app.platform.errors import Refused

MAX_BYTES = 512 * 1024
MAX_ELEMENTS = 8000
MAX_DEPTH = 20
SVG = "http://www.w3.org/2000/svg"
ELEMENTS = frozenset(("svg", "g", "path", "rect", "circle", "ellipse", "line", "polyline", "polygon", "title", "desc"))
ATTRIBUTES = frozenset(
    (
        "d",
        "x",
        "y",
        "x1",
        "y1",
        "x2",
        "y2",
        "cx",
        "cy",
        "r",
        "rx",
        "ry",
        "width",
        "height",
        "points",
        "transform",
        "viewBox",
        "class",
        "role",
    )
)
_ARIA = re.compile(r"aria-[a-z]{2,20}")
_VALUES = {
    "class": re.compile(r"[a-z0-9 -]{0,60}"),
    "role": re.compile(r"[a-z]{0,20}"),
    "transform": re.compile(r"[a-zA-Z0-9(),.\s+-]{0,300}"),
    "d": re.compile(r"[MmZzLlHhVvCcSsQqTtAaeE0-9,.\s+-]*"),
}
_NUMBERS = re.compile(r"[0-9eE,.%\s+-]*(px)?")


class DrawingRefused(Refused):
    """The drawing holds what it may not; the reason names it."""


@dataclass(frozen=True)
class CleanDrawing:
    """A drawing as it is stored: one form, nothing but allowed elements and attributes."""

    svg: str
    title: str
    sha256: str


def clean_svg(text: str) -> CleanDrawing:
    """Return a drawing cleaned; DrawingRefused names the first thing that is not allowed.

    Nothing is dropped in silence: a drawing that needs more than the list is refused.
    """
    if len(text.encode()) > MAX_BYTES:
        raise DrawingRefused("The drawing is larger than 512 kB. Simplify its paths.")
    try:
        root = fromstring(text, forbid_dtd=True, forbid_entities=True, forbid_external=True)
    except DefusedXmlException as error:
        raise DrawingRefused("A document type or entities are not allowed. Take out the lines with “<!”.") from error
    except (ParseError, ValueError) as error:
        raise DrawingRefused(f"This is not readable as SVG: {error}. Export it again as plain SVG.") from error
    if _name(root.tag) != "svg":
        raise DrawingRefused("The outermost element is not svg. Export the drawing again as plain SVG.")
    if "viewBox" not in root.attrib:
        raise DrawingRefused('The svg element has no viewBox. Add one, such as viewBox="0 0 640 480".')
    budget = [MAX_ELEMENTS]
    svg = "".join(_written(root, 0, budget))
    title = next((_text(child) for child in root if _name(child.tag) == "title"), "")
    return CleanDrawing(svg, title[:200], hashlib.sha256(svg.encode()).hexdigest())


def _name(tag: Any) -> str:
    if not isinstance(tag, str):
        raise DrawingRefused("Processing instructions are not allowed. Take them out.")
    space, _, name = tag.rpartition("}")
    if space != f"{{{SVG}":
        raise DrawingRefused(f"The element “{name}” is not in the SVG namespace. Export the drawing as plain SVG.")
    return name


def _text(element: Any) -> str:
    return " ".join("".join(element.itertext()).split())


def _written(element: Any, depth: int, budget: list[int]) -> Iterator[str]:
    name = _name(element.tag)
    budget[0] -= 1
    if budget[0] < 0 or depth > MAX_DEPTH:
        raise DrawingRefused("The drawing has too many elements, or too many inside one another. Simplify it.")
    if name not in ELEMENTS or (name == "svg") != (depth == 0):
        raise DrawingRefused(f"The element “{name}” is not allowed in a drawing. Draw with paths and plain shapes.")
    yield f"<{name}"
    if depth == 0:
        yield f' xmlns="{SVG}"'
    for key, value in sorted(element.attrib.items()):
        yield f" {_attribute(name, key)}={quoteattr(_value(key, value))}"
    if name in ("title", "desc"):
        if len(element):
            raise DrawingRefused(f"The element “{name}” may hold only words.")
        yield f">{escape(_text(element))}</{name}>"
        return
    if (element.text or "").strip() or any((child.tail or "").strip() for child in element):
        raise DrawingRefused("A drawing holds no words outside its title and description.")
    if not len(element):
        yield "/>"
        return
    yield ">"
    for child in element:
        yield from _written(child, depth + 1, budget)
    yield f"</{name}>"


def _attribute(element: str, key: str) -> str:
    if key in ATTRIBUTES or _ARIA.fullmatch(key):
        return key
    shown = key.rpartition("}")[2]
    raise DrawingRefused(
        f"The attribute “{shown}” of “{element}” is not allowed. Use the classes of the drawing style, not styles."
    )


def _value(key: str, value: str) -> str:
    value = " ".join(value.split())
    allowed = _VALUES.get(key, None if key.startswith("aria-") else _NUMBERS)
    if allowed is not None and not allowed.fullmatch(value):
        raise DrawingRefused(f"The attribute “{key}” holds “{value[:40]}”, which is not allowed.")
    return value


_STYLE = (
    "svg{color-scheme:light dark}"
    "path,line,rect,circle,ellipse,polyline,polygon{vector-effect:non-scaling-stroke;"
    "stroke-linejoin:round;stroke-linecap:round;fill:none;stroke:#1d1c19;stroke-width:1.75px}"
    ".body{fill:#fdfbf7}.ol{stroke-width:2.5px}.faint{stroke:#7f7869;stroke-width:1.25px}"
    ".focus{fill:#b9cfd0;stroke:#0a4a57;stroke-width:3px}.go{fill:#0a4a57;stroke:#f5f1e8}"
    ".hole{fill:#fdfbf7;stroke-width:2.5px}.hole.out{fill:#1d1c19}"
    "@media(prefers-color-scheme:dark){path,line,rect,circle,ellipse,polyline,polygon{stroke:#eee8db}"
    ".body,.hole{fill:#20221f}.faint{stroke:#8d8879}.focus{fill:#3b5a5f;stroke:#83c8d2}"
    ".go{fill:#83c8d2;stroke:#171816}.hole.out{fill:#eee8db}}"
)
STYLE_HASH = hashlib.sha256(_STYLE.encode()).digest()


def standalone(svg: str) -> str:
    """Return a stored drawing as a file that shows itself: our own line weights and colours put in."""
    head, _, rest = svg.partition(">")
    return f"{head}><style>{_STYLE}</style>{rest}" if not head.endswith("/") else svg


def inline(svg: str) -> str:
    """Return a stored drawing as it stands in a page, where the page's style sheet gives it its look."""
    head, _, rest = svg.partition(">")
    if ' class="' in head:
        head = head.replace(' class="', ' class="drawing ', 1)
    else:
        head = head.replace("<svg", '<svg class="drawing"', 1)
    return f"{head}>{rest}"


def photo_svg(address: str, width: int, height: int, title: str) -> str:
    """Return a stored photo as a drawing of its own size, so that places lie on it as on any drawing."""
    return (
        f'<svg class="drawing photo" xmlns="{SVG}" viewBox="0 0 {width} {height}" role="img">'
        f"<title>{escape(title)}</title>"
        f'<image href={quoteattr(address)} width="{width}" height="{height}"/></svg>'
    )
