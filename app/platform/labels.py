"""Labels to print: a QR code drawn here, the words beside it, and the page they stand on."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import segno
from markupsafe import Markup

from app.platform.errors import Refused
from app.platform.forms import Form, blank
from app.rules.label_sheets import SHEETS, LabelSheet, label_sheet, lay_out

MAX_COPIES = 50
MAX_LABELS = 2000


@dataclass(frozen=True)
class Label:
    """One label: the code its QR holds, a large line, smaller ones."""

    code: str
    head: str
    lines: tuple[str, ...] = ()

    @property
    def qr(self) -> Markup:
        """The code as an inline SVG without a size of its own."""
        return draw_qr(self.code)


@dataclass(frozen=True)
class LabelsPage:
    """A page of labels to print. ``form`` holds size, start and copies; ``only`` narrows what is printed."""

    title: str
    back: str
    back_words: str
    form: Form[Any]
    sizes: tuple[tuple[str, str], ...]
    sheet: LabelSheet
    sheets: tuple[tuple[Label | None, ...], ...]
    count: int
    nothing: str
    only: tuple[tuple[str, str], ...] = ()


def draw_qr(text: str) -> Markup:
    """Return ``text`` as a QR code with its quiet zone of four modules (ISO/IEC 18004).

    Error correction is raised as far as the same size of code allows.
    """
    code = segno.make(text, error="m", micro=False, boost_error=True)
    drawn = code.svg_inline(border=4, omitsize=True, dark="#000", light="#fff")
    return Markup(drawn)  # noqa: S704  Drawn by segno from our own text.


def labels_page(
    labels: Sequence[Label],
    *,
    title: str,
    back: tuple[str, str],
    nothing: str,
    size: str = "",
    start: str = "1",
    copies: str = "1",
    only: Sequence[tuple[str, str]] = (),
) -> LabelsPage:
    """Build the page of some labels. ``back`` is (address, words); a figure that cannot be is told beside its field."""
    sheet = label_sheet(size)
    form = blank(size=sheet.key, start=start, copies=copies)
    laid: tuple[tuple[Label | None, ...], ...] = ()
    if not (copies.isdecimal() and len(copies) < 5 and 1 <= int(copies) <= MAX_COPIES):
        form = form.wrong("copies", f"Print 1 to {MAX_COPIES} of each.")
    elif len(labels) * int(copies) > MAX_LABELS:
        form = form.wrong("copies", f"These are more than {MAX_LABELS} labels. Print fewer at a time.")
    else:
        try:
            many = [label for label in labels for _ in range(int(copies))]
            laid = lay_out(many, sheet, int(start) if start.isdecimal() and len(start) < 5 else 0)
        except Refused as refusal:
            form = form.refused(refusal)
    return LabelsPage(
        title=title,
        back=back[0],
        back_words=back[1],
        form=form,
        sizes=tuple((each.key, each.words) for each in SHEETS),
        sheet=sheet,
        sheets=laid,
        count=sum(label is not None for each in laid for label in each),
        nothing=nothing,
        only=tuple(only),
    )
