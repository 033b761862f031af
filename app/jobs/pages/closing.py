"""The closing count and the release tests: what is counted, what does not agree and where, what is still to test."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from sqlmodel import Session

from app.jobs.models import Hold, Stage
from app.jobs.pages.booking import unit_names
from app.jobs.pages.places import LeftOver, left_over
from app.jobs.pages.rail import Rail, rail_of
from app.jobs.queries import closing as reads
from app.jobs.queries import jobs as queries
from app.jobs.queries.bench import items_for, pocket_numbers
from app.jobs.queries.closing import Entry
from app.jobs.queries.jobs import JobDetail
from app.people import queries as people
from app.people.models import Role
from app.platform.forms import Form
from app.procedures import queries as procedures
from app.procedures.queries import ModelInfo
from app.rules import bench
from app.rules.closing import check_count, due_after, timer_left
from app.rules.counting import BenchState, ClosingCount, CountRow, closing_count
from app.rules.sheet import ReleaseTest, Sheet
from app.rules.verdict import Refused

AT_BENCH = (Stage.KITTED, Stage.TEARDOWN, Stage.REFIT)
_STEP = re.compile(r"^Step (\d+) ")


@dataclass(frozen=True)
class CountLine:
    """One item of the count, in pieces. ``waits`` when it goes back only after the cover in question."""

    key: str
    step_no: int
    step_id: str
    first: bool
    name: str
    kind: str
    pocket: int | None
    baseline: int
    absent: int
    out: int
    refitted: int
    scrapped: int
    new: int
    missing: int
    waits: bool
    wrong: bool
    lost: int = 0


@dataclass(frozen=True)
class Problem:
    """What does not agree, in words, with where it came from: the step at the bench, and the report of trouble.

    ``reported`` is whether a report says so already, which is taken back once the piece is found.
    """

    words: str
    step_no: int | None
    step_href: str
    report_href: str
    recount: bool = False
    reported: bool = False


@dataclass(frozen=True)
class CountPage:
    """The count: at the end, or before a cover (``scope``). ``ready`` when it can be signed or overridden at all.

    ``not_yet`` says why not; ``mine`` when the person has the job open; ``wait_ms`` is when a cure or press ends.
    ``left`` shows on their drawings the places that are not back.
    """

    job: JobDetail
    model: ModelInfo
    scope: str
    cover: str
    rail: Rail
    lines: tuple[CountLine, ...]
    problems: tuple[Problem, ...]
    waived: tuple[str, ...]
    balanced: bool
    ready: bool
    not_yet: str
    mine: bool
    signed: bool
    wait_ms: int
    wait_s: int
    left_steps: int
    form: Form[Any]
    supervisors: tuple[str, ...]
    left: tuple[LeftOver, ...]

    @property
    def may_sign(self) -> bool:
        """Whether the count can be signed now by this person."""
        return self.scope == "final" and self.ready and self.balanced and self.mine

    @property
    def may_override(self) -> bool:
        """Whether a supervisor can override now."""
        return self.ready and not self.balanced


def count_of(sheet: Sheet, state: BenchState, revision_id: int, before: str | None = None) -> ClosingCount:
    """Return the closing count of a pass, or the one before the refit step ``before``."""
    numbers = bench.step_numbers(sheet, state.teardown)
    pockets = pocket_numbers(sheet, state.teardown)
    return closing_count(items_for(revision_id, sheet, state), state, numbers, pockets, before)


def count_page(
    session: Session, number: str, form: Form[Any], *, who: int, at: datetime, scope: str = "final"
) -> CountPage:
    """Build the count page of a job as it stands."""
    job = queries.find_job(session, number)
    state = job.state
    sheet = procedures.sheet(session, job.revision_id)
    before = _cover_step(sheet, state) if scope == "cover" else None
    found = count_of(sheet, state, job.revision_id, before)
    numbers = bench.step_numbers(sheet, state.teardown)
    not_yet = _not_yet(job, scope, before, at)
    waived = set(bench.waived(state, before)) if before else set()
    problems = tuple(p for p in _problems(found, numbers, number) if p.words not in waived)
    cover = sheet.step(before).refit if before else None
    left = timer_left(state, at)
    return CountPage(
        job=job,
        model=procedures.device_model(session, job.device_model_id),
        scope=scope,
        cover=cover.title if cover else "",
        rail=rail_of(
            sheet,
            state,
            items_for(job.revision_id, sheet, state),
            pocket_numbers(sheet, state.teardown),
            number,
        ),
        lines=_lines(found, numbers, _later(state, before)),
        problems=problems,
        waived=tuple(sorted(waived)),
        balanced=not problems,
        ready=not not_yet,
        not_yet=not_yet,
        mine=state.at_bench == who,
        signed=state.counted,
        wait_ms=int((at + left).timestamp() * 1000) if left else 0,
        wait_s=int(left / timedelta(seconds=1)) + 2 if left else 0,
        left_steps=len(state.refit) - len(state.up),
        form=form,
        supervisors=people.active_names(session, Role.SUPERVISOR),
        left=() if state.counted else left_over(session, job.revision_id, sheet, state),
    )


def _cover_step(sheet: Sheet, state: BenchState) -> str | None:
    """Return the refit step in focus when it closes a cavity; that is the one its count is taken for."""
    focus = bench.focus(sheet, state)
    if focus is None or focus[0] != "up":
        return None
    refit = sheet.step(focus[1]).refit
    return focus[1] if refit and refit.closes else None


def _later(state: BenchState, before: str | None) -> frozenset[str]:
    if before is None or before not in state.refit:
        return frozenset()
    return frozenset(state.refit[state.refit.index(before) :])


def _not_yet(job: JobDetail, scope: str, before: str | None, at: datetime) -> str:
    if job.stage in (Stage.COUNTED, Stage.TESTED, Stage.CLOSED):
        return "The closing count is signed."
    if job.stage not in AT_BENCH:
        return f"This job is {job.stage.value}. It is counted at the end of its bench work."
    if job.hold in (Hold.SAFETY, Hold.OWNER):
        return f"The job is on hold ({job.hold.value}): {job.hold_reason}"
    if scope == "cover":
        return "" if before else "The step in focus closes nothing, so no count comes before it."
    try:
        check_count(job.state, at)
    except Refused as refusal:
        return refusal.reason
    return ""


def _lines(found: ClosingCount, numbers: Mapping[str, int], later: frozenset[str]) -> tuple[CountLine, ...]:
    lines: list[CountLine] = []
    for row in sorted(found.rows, key=lambda r: numbers[r.item.step]):
        lines.append(_line(row, numbers, later, first=not lines or lines[-1].step_id != row.item.step))
    return tuple(lines)


def _line(row: CountRow, numbers: Mapping[str, int], later: frozenset[str], *, first: bool) -> CountLine:
    item, count = row.item, row.count
    return CountLine(
        key=item.key,
        step_no=numbers[item.step],
        step_id=item.step,
        first=first,
        name=item.name,
        kind=item.kind,
        pocket=row.pocket,
        baseline=count.baseline,
        absent=count.absent,
        out=count.out,
        refitted=count.refitted,
        scrapped=count.scrapped,
        new=count.new,
        missing=count.missing,
        waits=item.step in later,
        wrong=bool(row.problems),
        lost=count.lost,
    )


def _problems(found: ClosingCount, numbers: Mapping[str, int], number: str) -> tuple[Problem, ...]:
    """Return the problems in their order, each with the step it came from."""
    by_no = {no: step for step, no in numbers.items()}
    own = {words: row for row in found.rows for words in row.problems}
    made = []
    for words in found.problems:
        row = own.get(words)
        told = _STEP.match(words)
        leftover = row is None and "left over on the bench" in words
        trouble = f"/jobs/{number}/trouble"
        no = numbers[row.item.step] if row else int(told.group(1)) if told else None
        made.append(
            Problem(
                words=words,
                step_no=no,
                step_href=f"/jobs/{number}/bench?step={by_no[no]}" if no else "",
                report_href=f"{trouble}?item={row.item.key}" if row else trouble if leftover else "",
                recount=words.startswith("A recount"),
                reported=leftover or " reported lost." in words,
            )
        )
    return tuple(made)


@dataclass(frozen=True)
class Result:
    """One recorded result of a release test."""

    title: str
    passed: bool
    words: str
    note: str
    person: str
    second: str
    at: datetime
    pass_no: int


@dataclass(frozen=True)
class ReleaseCard:
    """A due release test with its form. ``limits`` are in words; ``result`` is the one that stands, if any."""

    id: str
    title: str
    do: str
    reading: bool
    unit: str
    limits: str
    second_person: bool
    result: Result | None
    failed_before: bool
    form: Form[Any]


@dataclass(frozen=True)
class ReleasePage:
    """The due release tests. ``next_id`` is the first that has not passed; ``again`` when a failed one opened the job.

    ``blocked`` says why nothing can be tested now.
    """

    job: JobDetail
    model: ModelInfo
    targets: tuple[str, ...]
    cards: tuple[ReleaseCard, ...]
    earlier: tuple[Result, ...]
    next_id: str
    passed_all: bool
    again: Result | None
    blocked: str
    seconds: tuple[str, ...]


def release_page(
    session: Session, number: str, *, who: str, test: str = "", form: Form[Any] | None = None
) -> ReleasePage:
    """Build the tests page; ``form`` is the one sent for ``test``, ``who`` is the name of the person looking."""
    job = queries.find_job(session, number)
    sheet = procedures.sheet(session, job.revision_id)
    names = people.names(session)
    results = [(e, _result(e, sheet, names)) for e in reads.entries(session, job.id, kinds=("test",))]
    # A result stands while the fold says so: an entry taken back wipes the results that came before it.
    standing = {
        str(e.data["test"]): r
        for e, r in results
        if e.pass_no == job.state.pass_no and str(e.data["test"]) in job.state.tests
    }
    due = due_after(sheet, job.state)
    waiting = [t.id for t in due if not job.state.tests.get(t.id)]
    again = next((r for _e, r in reversed(results) if not r.passed), None) if job.stage is Stage.SAFE else None
    testable = job.stage in (Stage.COUNTED, Stage.TESTED) and job.hold not in (Hold.SAFETY, Hold.OWNER)
    everybody = people.active_names(session, Role.TECHNICIAN, Role.SUPERVISOR)
    return ReleasePage(
        job=job,
        model=procedures.device_model(session, job.device_model_id),
        targets=unit_names(sheet, job.state.targets),
        cards=tuple(
            _card(t, standing.get(t.id), t.id in job.state.failed, form if form and t.id == test else None) for t in due
        ),
        earlier=tuple(r for _e, r in results if r not in standing.values()),
        next_id=waiting[0] if waiting else "",
        passed_all=testable and not waiting,
        again=again,
        blocked="" if testable or again else _why_not(job),
        seconds=tuple(name for name in everybody if name != who),
    )


def _why_not(job: JobDetail) -> str:
    if job.stage is Stage.CLOSED:
        return "This job is closed; its tests are sealed with the record."
    if job.hold in (Hold.SAFETY, Hold.OWNER):
        return f"The job is on hold ({job.hold.value}): {job.hold_reason}"
    return "Release tests come after the closing count."


def _result(entry: Entry, sheet: Sheet, names: Mapping[int, str]) -> Result:
    data = entry.data
    titles = {t.id: t.title for t in sheet.release_tests}
    return Result(
        title=titles.get(str(data["test"]), str(data["test"])),
        passed=bool(data["passed"]),
        words=str(data.get("words", "")),
        note=str(data.get("note", "")),
        person=names.get(entry.person_id or 0, ""),
        second=names.get(int(data["second"]), "") if data.get("second") else "",
        at=entry.at,
        pass_no=entry.pass_no,
    )


def results(session: Session, job: JobDetail, sheet: Sheet) -> tuple[Result, ...]:
    """Return all recorded results of release tests of a job, in order."""
    names = people.names(session)
    return tuple(_result(e, sheet, names) for e in reads.entries(session, job.id, kinds=("test",)))


def _card(test: ReleaseTest, result: Result | None, failed: bool, form: Form[Any] | None) -> ReleaseCard:
    return ReleaseCard(
        id=test.id,
        title=test.title,
        do=test.do,
        reading=test.kind == "reading",
        unit=test.unit or "",
        limits=limits_words(test.low, test.high, test.unit),
        second_person=test.second_person,
        result=result if result and result.passed else None,
        failed_before=failed,
        form=form or Form(),
    )


def limits_words(low: Decimal | None, high: Decimal | None, unit: str | None) -> str:
    """Return the limits of a reading in words: ``1.5 to 2.5 kPa``, ``at least 3 V``; empty for none."""
    tail = f" {unit}" if unit else ""
    if low is not None and high is not None:
        return f"{low:f} to {high:f}{tail}"
    if low is not None:
        return f"at least {low:f}{tail}"
    return f"at most {high:f}{tail}" if high is not None else ""
