"""What the steps of procedures planned, used and spoiled, and the spares that supervisors decided on."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from decimal import Decimal
from typing import Any

from sqlalchemy import func
from sqlmodel import Session, col, select

from app.jobs.models import BenchEvent, Discard, Job, PartUse, SpareDecision, Stage
from app.people.queries import names
from app.procedures import queries as procedures
from app.rules.planning import KitLine
from app.rules.sheet import ReuseClass, Sheet
from app.rules.spares import kit_spares

Key = tuple[str, str, str]
"""Procedure code, step, part number."""


@dataclass(frozen=True)
class SpoiledAt:
    """Pieces that one job spoiled at a step, with what was written about it."""

    job: str
    step: str
    part: str
    quantity: int
    note: str
    at: datetime


@dataclass
class StepPart:
    """What closed jobs did with a part at a step: good pieces where the sheet plans a new one, and spoiled ones.

    ``beyond`` counts pieces fitted where the sheet plans none, for what was damaged, lost or missing on arrival.
    """

    title: str
    jobs: int = 0
    sheet: int = 0
    spoiled: int = 0
    beyond: int = 0
    spoiled_at: list[SpoiledAt] = field(default_factory=list)

    @property
    def used(self) -> int:
        """All pieces taken where the sheet plans new ones, good or spoiled."""
        return self.sheet + self.spoiled


@dataclass(frozen=True)
class DecisionRow:
    """One decision about spares; ``factor`` 0 withdrew the one before it."""

    factor: Decimal
    words: str
    reason: str
    at: datetime
    person: str


def spares_for(session: Session, revision_id: int, kit: Iterable[KitLine]) -> dict[str, Any]:
    """Return the spares of a plan as its entry keeps them, as (part, step, count); nothing where there are none."""
    factors = factors_of(session, procedures.revision_info(session, revision_id).code)
    found = kit_spares(kit, factors) if factors else ()
    return {"spares": [[spare.part, spare.step, spare.count] for spare in found]} if found else {}


def factors_of(session: Session, code: str) -> dict[tuple[str, str], Decimal]:
    """Return the spare factors that hold for a procedure, by (step, part)."""
    return {(step, part): factor for (_code, step, part), factor in factors(session, code).items()}


def factors(session: Session, code: str | None = None) -> dict[Key, Decimal]:
    """Return the spare factors that hold, of one procedure or of all; withdrawn ones are left out."""
    query = select(SpareDecision).order_by(col(SpareDecision.id))
    if code is not None:
        query = query.where(col(SpareDecision.procedure_code) == code)
    newest = {(row.procedure_code, row.step, row.part_number): row.factor for row in session.exec(query).all()}
    return {key: factor for key, factor in newest.items() if factor}


def decisions(session: Session, key: Key) -> tuple[DecisionRow, ...]:
    """Return what was decided about spares of a part at a step, the newest first."""
    code, step, part = key
    people = names(session)
    rows = session.exec(
        select(SpareDecision)
        .where(
            col(SpareDecision.procedure_code) == code,
            col(SpareDecision.step) == step,
            col(SpareDecision.part_number) == part,
        )
        .order_by(col(SpareDecision.id).desc())
    ).all()
    return tuple(
        DecisionRow(row.factor, row.words, row.reason, row.at, people.get(row.person_id or 0, "")) for row in rows
    )


def step_parts(
    session: Session, start: datetime, end: datetime, *, model_id: int | None = None, code: str | None = None
) -> dict[Key, StepPart]:
    """Return what the jobs closed from ``start`` until before ``end`` used, by procedure, step and part.

    What the sheets planned is told by the good pieces at places that a sheet fills with a new part; a job that was
    closed with such a place empty, by override, counts so many fewer. Narrowed to a device model, to one procedure.
    """
    within: list[Any] = [col(Job.stage) == Stage.CLOSED, col(Job.closed_at) >= start, col(Job.closed_at) < end]
    if model_id is not None:
        within.append(col(Job.device_model_id) == model_id)
    found: dict[Key, StepPart] = {}
    columns: tuple[Any, ...] = (
        Job.revision_id, PartUse.step, PartUse.item, PartUse.part_number,
        func.sum(PartUse.quantity), func.count(func.distinct(PartUse.job_id)),
    )  # fmt: skip
    rows = session.exec(
        select(*columns)
        .join(Job, col(Job.id) == col(PartUse.job_id))
        .where(*within, col(PartUse.struck).is_(False))
        .group_by(col(Job.revision_id), col(PartUse.step), col(PartUse.item), col(PartUse.part_number))
    ).all()
    jobs: dict[tuple[int, Key], int] = {}
    for revision_id, step, item, part, quantity, count in rows:
        key, row = _row(session, found, revision_id, step, part)
        if _planned_new(procedures.sheet(session, revision_id), item):
            row.sheet += int(quantity)
            jobs[revision_id, key] = max(jobs.get((revision_id, key), 0), count)
        else:
            row.beyond += int(quantity)
    for (_revision, key), count in jobs.items():
        found[key].jobs += count
    _add_spoiled(session, found, within)
    return {key: row for key, row in found.items() if code is None or key[0] == code}


def _row(session: Session, found: dict[Key, StepPart], revision_id: int, step: str, part: str) -> tuple[Key, StepPart]:
    key = (procedures.revision_info(session, revision_id).code, step, part)
    if key not in found:
        sheet = procedures.sheet(session, revision_id)
        found[key] = StepPart(next((s.title for s in sheet.steps if s.id == step), step))
    return key, found[key]


def _planned_new(sheet: Sheet, item: str) -> bool:
    """Whether a sheet fills the places of an item with a new part whenever the step is done; units count as such."""
    step_id, _, name = item.partition("/")
    if name.startswith(("unit:", "fit:")):
        return True
    step = next((s for s in sheet.steps if s.id == step_id), None)
    return any(f.id == name and f.reuse is ReuseClass.SINGLE_USE for f in (step.releases if step else ()))


def _add_spoiled(session: Session, found: dict[Key, StepPart], within: list[Any]) -> None:
    columns: tuple[Any, ...] = (
        Job.number, Job.revision_id, Discard.step, Discard.item, Discard.quantity, BenchEvent.data, BenchEvent.at,
    )  # fmt: skip
    rows = session.exec(
        select(*columns)
        .join(Job, col(Job.id) == col(Discard.job_id))
        .join(BenchEvent, col(BenchEvent.event_id) == col(Discard.event_id))
        .where(*within, col(Discard.reason) == "spoiled", col(Discard.struck).is_(False))
        .order_by(col(Discard.id).desc())
    ).all()
    for number, revision_id, step, item, quantity, data, at in rows:
        part = next((drawn[0] for drawn in data.get("spoiled", ())), "")
        if not part or not _planned_new(procedures.sheet(session, revision_id), item):
            continue
        row = _row(session, found, revision_id, step, part)[1]
        row.spoiled += quantity
        row.spoiled_at.append(SpoiledAt(number, step, part, quantity, str(data.get("note", "")), at))


def with_decided(
    session: Session, rows: dict[Key, StepPart], decided: Iterable[Key], model_id: int | None = None
) -> dict[Key, StepPart]:
    """Return the rows with an empty one for each part at a step that spares are planned for and no job used."""
    found = dict(rows)
    for key in decided:
        newest = None if key in found else procedures.newest_revision(session, key[0])
        if newest is None or model_id not in (None, newest.device_model_id):
            continue
        steps = procedures.sheet(session, newest.id).steps
        found[key] = StepPart(next((step.title for step in steps if step.id == key[1]), key[1]))
    return found


def procedure_titles(session: Session, codes: Iterable[str]) -> Mapping[str, str]:
    """Return the titles of procedures by code, as their newest revisions have them."""
    found = {code: procedures.newest_revision(session, code) for code in set(codes)}
    return {code: revision.title for code, revision in found.items() if revision is not None}
