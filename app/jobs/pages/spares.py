"""One part at one step: what jobs spoiled of it, and the spares that its kits carry."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from sqlmodel import Session

from app.jobs.queries import spares as reads
from app.jobs.queries.spares import DecisionRow, Key, SpoiledAt, StepPart
from app.platform.errors import NotFound
from app.platform.forms import Form
from app.procedures import queries as procedures
from app.rules.stores.spoilage import ScrapFactor, StepUse, scrap_factor, steps_to_look_at
from app.stores.queries.valuation import part_names

SHOWN_JOBS = 40


@dataclass(frozen=True)
class SparesPage:
    """``found`` is what the jobs of the stretch of time say; ``now`` the factor that holds; ``look`` empty or words.

    ``per_step`` is how many spares a kit gets now for the step as its newest sheet has it, where that is known.
    """

    code: str
    procedure: str
    step: str
    title: str
    part: str
    part_name: str
    model_id: int
    first: date
    last: date
    row: StepPart
    found: ScrapFactor
    now: Decimal
    look: str
    spoiled_at: tuple[SpoiledAt, ...]
    more_jobs: int
    decisions: tuple[DecisionRow, ...]
    form: Form[Any]
    withdraw: Form[Any]

    @property
    def path(self) -> str:
        """Where the page is."""
        return f"/spares/{self.code}/{self.step}/{self.part}"


@dataclass(frozen=True)
class Judged:
    """A part at a step with what follows from it."""

    key: Key
    row: StepPart
    now: Decimal
    found: ScrapFactor
    look: str


def judge(rows: Mapping[Key, StepPart], factors: Mapping[Key, Decimal]) -> tuple[Judged, ...]:
    """Return the suggestion for every part at a step; waste is looked for by step within each procedure."""
    spoiled: dict[str, dict[str, tuple[int, int]]] = {}
    for (code, step, _part), row in rows.items():
        mine = spoiled.setdefault(code, {})
        before = mine.get(step, (0, 0))
        mine[step] = (before[0] + row.spoiled, before[1] + row.used)
    looks = {code: steps_to_look_at(steps) for code, steps in spoiled.items()}
    judged = []
    for key, row in rows.items():
        code, step, part = key
        now = factors.get(key, Decimal(0))
        found = scrap_factor(StepUse(row.title, part, row.jobs, row.sheet, row.used, float(now)))
        judged.append(Judged(key, row, now, found, looks[code].get(step, "") if row.spoiled else ""))
    return tuple(judged)


def spares_page(
    session: Session, key: Key, form: Form[Any], withdraw: Form[Any], *, start: datetime, end: datetime, last: date
) -> SparesPage:
    """Gather the page; NotFound for a step that the procedure never had."""
    code, step, part = key
    rows = reads.step_parts(session, start, end, code=code)
    factors = reads.factors(session, code)
    past = reads.decisions(session, key)
    newest = procedures.newest_revision(session, code)
    titles = {} if newest is None else {s.id: s.title for s in procedures.sheet(session, newest.id).steps}
    if newest is None or (step not in titles and key not in rows and not past):
        raise NotFound(f"step {step} of procedure {code}")
    rows.setdefault(key, StepPart(titles.get(step, step)))
    one = next(judged for judged in judge(rows, factors) if judged.key == key)
    if not form.values:
        form = Form(values={"percent": f"{one.found.suggested:.0%}".rstrip("%") if one.found.suggested else ""})
    return SparesPage(
        code=code,
        procedure=newest.title,
        step=step,
        title=titles.get(step, one.row.title),
        part=part,
        part_name=part_names(session, [part]).get(part, part),
        model_id=newest.device_model_id,
        first=start.date(),
        last=last,
        row=one.row,
        found=one.found,
        now=one.now,
        look=one.look,
        spoiled_at=tuple(one.row.spoiled_at[:SHOWN_JOBS]),
        more_jobs=max(0, len(one.row.spoiled_at) - SHOWN_JOBS),
        decisions=past,
        form=form,
        withdraw=withdraw,
    )


def evidence_words(page: SparesPage) -> str:
    """Return what the jobs showed, as it is kept beside a decision."""
    return page.found.because[0]
