"""The history page: its filters, its jobs, and the links to the pages beside it."""

from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

from app.platform.forms import Form
from app.review.forms import HistoryForm
from app.review.queries.history import HistoryPage, HistoryRow

FIELDS = (
    "serial", "model", "technician", "booked_from", "booked_to", "closed_from", "closed_to", "outcome", "overridden",
    "part",
)  # fmt: skip


@dataclass(frozen=True)
class Line:
    """One job in the list, with the technician's name."""

    job: HistoryRow
    technician: str


@dataclass(frozen=True)
class HistoryList:
    """The history page. Links are None where there is nothing; ``filtered`` tells an empty list from an empty site."""

    form: Form[HistoryForm]
    models: tuple[tuple[str, str], ...]
    technicians: tuple[tuple[str, str], ...]
    lines: tuple[Line, ...]
    newer: str | None
    older: str | None
    csv: str | None
    filtered: bool
    more_open: bool

    @property
    def shown(self) -> str:
        """How many jobs the page shows, in words."""
        return "1 job" if len(self.lines) == 1 else f"{len(self.lines)} jobs"


def filters_of(form: Form[HistoryForm]) -> dict[str, str]:
    """Return the filters that are filled in, as they stand in the address."""
    return {name: form.value(name).strip() for name in FIELDS if form.value(name).strip()}


def address(path: str, filters: dict[str, str], **more: Any) -> str:
    """Return a path with filters and what else is given."""
    query = urlencode({**filters, **more})
    return f"{path}?{query}" if query else path


def history_list(
    form: Form[HistoryForm],
    found: HistoryPage,
    names: dict[int, str],
    models: tuple[tuple[int, str], ...],
    *,
    may_export: bool,
) -> HistoryList:
    """Return the page for what was found."""
    filters = filters_of(form)
    rows = found.rows
    newer = address("/review/history", filters, before=rows[0].id) if found.newer and rows else None
    older = address("/review/history", filters, after=rows[-1].id) if found.older and rows else None
    return HistoryList(
        form=form,
        models=(("", "Any"), *((str(n), name) for n, name in models)),
        technicians=(("", "Anybody"), *((str(n), name) for n, name in sorted(names.items(), key=lambda p: p[1]))),
        lines=tuple(Line(row, names.get(row.technician_id or 0, "—")) for row in rows),
        newer=newer,
        older=older,
        csv=address("/review/history.csv", filters) if may_export and form.data is not None else None,
        filtered=bool(filters),
        more_open=any(name in filters for name in ("closed_from", "closed_to", "overridden", "part")),
    )
