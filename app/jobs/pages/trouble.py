"""Trouble at the bench and the recount: what can be reported, what was reported, what to count."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session

from app.jobs.pages.places import LeftOver, left_over
from app.jobs.queries import kit as kit_queries
from app.jobs.queries.bench import ReportRow, bench_job, items_for, pocket_numbers, reports
from app.jobs.queries.jobs import find_job
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
    ("leftover", "Left over", "A piece lies on the bench, and nobody knows its place"),
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
    """Build the trouble page; the items of ``step`` stand first, ``said`` is the report that was just made."""
    job = bench_job(session, number)
    sheet = procedures.sheet(session, job.revision_id)
    items = items_for(job.revision_id, sheet, job.state)
    numbers = bench.step_numbers(sheet, job.state.teardown)
    names = people.names(session)
    model = procedures.device_model(session, job.device_model_id)
    step = step if step in numbers else ""
    rows = reports(session, job.id, job.state.pass_no)
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
            for row in rows
        ),
        form=form,
        said=next((_said(session, number, row, items) for row in rows if row.event_id == said), ""),
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
                found.append(ItemChoice(key, f"{item.name} ({_where(item, count)})", group))
    return tuple(found)


def _where(item: Item, count: ItemCount) -> str:
    """Where the pieces of an item are now, in a few words."""
    if item.kind == "fit":
        return "new part"
    there = count.refitted + count.new
    places = {
        f"{count.waiting} of {count.baseline} out": count.waiting,
        f"{there} back": there,
        f"{count.scrapped - count.new} scrapped": count.scrapped - count.new,
        f"{count.lost} lost": count.lost,
        f"{count.absent} missing on arrival": count.absent,
    }
    return ", ".join(words for words, n in places.items() if n > 0) or f"{count.baseline} in place"


def _said(session: Session, number: str, row: ReportRow, items: Mapping[str, Item]) -> str:
    """Say what was recorded, and what comes of it."""
    words = _report_words(row.kind, row.data, items)
    if row.taken_back:
        return f"Taken back: {words}."
    needs = row.data.get("needs", {})
    if not needs:
        return f"Recorded: {words}."
    kit = kit_queries.kit(session, find_job(session, number), row.at.date())
    short = [part for part in needs if any(line.part_number == part and line.short for line in kit)]
    wanted = ", ".join(f"{n} × {part}" for part, n in needs.items())
    if short:
        return f"Recorded: {words}. {', '.join(short)} is not on the shelf; stores is told, and the step waits for it."
    if not any(line.part_number in needs and line.outstanding for line in kit):
        return f"Recorded: {words}. A spare is in the kit."
    return f"Recorded: {words}. {wanted} is reserved; the step waits until stores hands it out."


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
