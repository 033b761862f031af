"""Trouble at the bench and the recount: what can be reported, what was reported, what to count."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.jobs.pages.places import LeftOver, left_over
from app.jobs.queries.bench import bench_job, items_for, pocket_numbers, reports
from app.people import queries as people
from app.platform.forms import Form
from app.procedures import queries as procedures
from app.rules import bench
from app.rules.counting import Item, ItemCount
from app.rules.sheet import Sheet

KINDS = (
    ("damage", "Damaged", "A piece broke; it is scrapped and a new one is needed"),
    ("absent", "Missing on arrival", "It was not there when the device was opened"),
    ("lost", "Lost", "It came out and cannot be found"),
    ("spoiled", "Spoilt in fitting", "A new part from the kit was spoilt"),
    ("leftover", "Left over", "A piece lies on the bench and nobody knows where it belongs"),
)
_WORDS = {kind: word for kind, word, _ in KINDS} | {"reject": "Failed inspection", "recount": "Short at the recount"}


@dataclass(frozen=True)
class ItemChoice:
    """An item that trouble can be reported for, in its step's group."""

    key: str
    text: str
    group: str


@dataclass(frozen=True)
class Report:
    """A report as the list shows it."""

    event_id: str
    words: str
    note: str
    needs: str
    at: datetime
    person: str
    taken_back: bool


@dataclass(frozen=True)
class TroublePage:
    """The trouble page: the form, the items of this job by step, the reports so far, the places that are not back."""

    number: str
    device: str
    step: str
    step_title: str
    kinds: tuple[tuple[str, str, str], ...]
    items: tuple[ItemChoice, ...]
    reports: tuple[Report, ...]
    form: Form[Any]
    said: str
    left: tuple[LeftOver, ...] = ()


def trouble_page(session: Session, number: str, step: str, form: Form[Any], said: str = "") -> TroublePage:
    """Build the trouble page; the items of ``step`` stand first."""
    job = bench_job(session, number)
    sheet = procedures.sheet(session, job.revision_id)
    items = items_for(job.revision_id, sheet, job.state)
    numbers = bench.step_numbers(sheet, job.state.teardown)
    names = people.names(session)
    model = procedures.device_model(session, job.device_model_id)
    step = step if step in numbers else ""
    return TroublePage(
        number=number,
        device=f"{model.name} · {job.serial}",
        step=step,
        step_title=sheet.step(step).title if step else "",
        kinds=KINDS,
        items=_choices(sheet, items, numbers, step, job.state.items),
        reports=tuple(
            Report(
                row.event_id,
                _report_words(row.kind, row.data, items),
                str(row.data.get("note", "")),
                ", ".join(f"{n} × {part}" for part, n in row.data.get("needs", {}).items()),
                row.at,
                names.get(row.person_id or 0, ""),
                row.taken_back,
            )
            for row in reports(session, job.id, job.state.pass_no)
        ),
        form=form,
        said=said,
        left=() if job.state.counted else left_over(session, job.revision_id, sheet, job.state),
    )


def _choices(
    sheet: Sheet, items: Mapping[str, Item], numbers: Mapping[str, int], step: str, counts: Mapping[str, ItemCount]
) -> tuple[ItemChoice, ...]:
    order = sorted(numbers, key=lambda s: (s != step, numbers[s]))
    found = []
    for step_id in order:
        group = f"Step {numbers[step_id]}: {sheet.step(step_id).title}"
        for key, item in items.items():
            if item.step == step_id:
                count = counts.get(key, ItemCount(baseline=item.baseline))
                state = f"{count.out} of {count.baseline} out" if item.kind != "fit" else "new part"
                found.append(ItemChoice(key, f"{item.name} ({state})", group))
    return tuple(found)


def _report_words(kind: str, data: Mapping[str, Any], items: Mapping[str, Item]) -> str:
    word = _WORDS.get(kind, kind)
    if kind == "leftover":
        return f"{data.get('leftover', 1)} left over"
    if kind == "recount":
        short = [f"{c['lost']} × {items[k].name}" for k, c in data.get("effect", {}).items() if k in items]
        return f"{word}: {', '.join(short)}"
    if kind == "reject":
        return f"{word}: {data.get('say', data.get('reject', ''))}"
    item = items.get(str(data.get("item", "")))
    return f"{word}: {data.get('count', 1)} × {item.name if item else data.get('item', '')}"


@dataclass(frozen=True)
class Pocket:
    """A tray pocket to recount; what the book says is not shown before it is counted."""

    number: int
    name: str
    most: int


@dataclass(frozen=True)
class RecountPage:
    """The recount after a take-over."""

    number: str
    device: str
    pockets: tuple[Pocket, ...]
    form: Form[Any]
    due: bool
    version: int


def recount_page(session: Session, number: str, form: Form[Any]) -> RecountPage:
    """Build the recount page: every pocket in which something should wait."""
    job = bench_job(session, number)
    sheet = procedures.sheet(session, job.revision_id)
    items = items_for(job.revision_id, sheet, job.state)
    model = procedures.device_model(session, job.device_model_id)
    pockets = [
        Pocket(pocket, items[key].name, items[key].baseline)
        for key, pocket in pocket_numbers(sheet, job.state.teardown).items()
        if job.state.items[key].waiting > 0
    ]
    return RecountPage(number, f"{model.name} · {job.serial}", tuple(pockets), form, job.state.recount_due, job.version)


def pocket_counts(page: RecountPage, typed: Mapping[str, str]) -> dict[int, int | None]:
    """Read the counts of a recount form by pocket; None where nothing or no whole number was given."""
    found: dict[int, int | None] = {}
    for pocket in page.pockets:
        text = typed.get(str(pocket.number), "")
        found[pocket.number] = int(text) if text.isascii() and text.isdigit() else None
    return found
