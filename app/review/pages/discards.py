"""Discards against plan: by procedure, step and part, what sheets planned, what was used, and what to plan for."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from urllib.parse import urlencode

from app.jobs.pages.spares import Judged
from app.platform.forms import Form
from app.review.forms import ClosedJobsForm
from app.review.waste_chart import WasteChart, WasteRow, waste_chart

DRAWN = 14


@dataclass(frozen=True)
class WasteLine:
    """A part at a step. Shares in words, ``now`` and ``suggested`` spares in per cent; ``change`` when they differ."""

    procedure: str
    step: str
    part: str
    part_name: str
    href: str
    jobs_href: str
    jobs: int
    sheet: int
    used: int
    spoiled: int
    share: str
    interval: str
    now: str
    suggested: str
    change: bool
    look: str


@dataclass(frozen=True)
class BeyondLine:
    """Pieces fitted where no sheet planned a new one."""

    procedure: str
    step: str
    part: str
    part_name: str
    pieces: int


@dataclass(frozen=True)
class DiscardsPage:
    """``lines`` spoiled something or carry spares, the most spoiled first; ``clean`` are the others."""

    form: Form[ClosedJobsForm]
    models: Sequence[tuple[str, str]]
    first: date
    last: date
    lines: tuple[WasteLine, ...]
    clean: tuple[WasteLine, ...]
    beyond: tuple[BeyondLine, ...]
    chart: WasteChart | None
    sheet: int
    used: int
    spoiled: int


def discards_page(
    form: Form[ClosedJobsForm],
    models: Sequence[tuple[int, str]],
    days: tuple[date, date],
    judged: Sequence[Judged],
    titles: Mapping[str, str],
    names: Mapping[str, str],
) -> DiscardsPage:
    """Build the page from what the jobs did; ``titles`` are procedures' by code, ``names`` parts' by number."""
    planned = [one for one in judged if one.row.sheet or one.row.spoiled or one.now]
    planned.sort(key=lambda one: (-one.row.spoiled, -one.row.used, one.key))
    lines = [(one, _line(one, form, days, titles, names)) for one in planned]
    shown = [pair for pair in lines if pair[0].row.spoiled or pair[0].now]
    return DiscardsPage(
        form=form,
        models=(("", "All models"), *((str(i), name) for i, name in models)),
        first=days[0],
        last=days[1],
        lines=tuple(line for _one, line in shown),
        clean=tuple(line for one, line in lines if not one.row.spoiled and not one.now),
        beyond=tuple(
            BeyondLine(titles.get(one.key[0], one.key[0]), one.row.title, one.key[2],
                       names.get(one.key[2], ""), one.row.beyond)
            for one in sorted(judged, key=lambda one: (-one.row.beyond, one.key))
            if one.row.beyond
        ),
        chart=waste_chart([
            WasteRow(
                one.row.title, f"{one.key[2]} · {titles.get(one.key[0], one.key[0])}", one.found.share, one.found.low,
                one.found.high, float(one.now / (1 + one.now)), f"{one.row.spoiled} of {one.row.used}, {line.share}",
            )
            for one, line in shown[:DRAWN]
            if one.row.used
        ]),
        sheet=sum(one.row.sheet for one in planned),
        used=sum(one.row.used for one in planned),
        spoiled=sum(one.row.spoiled for one in planned),
    )  # fmt: skip


def _line(
    one: Judged,
    form: Form[ClosedJobsForm],
    days: tuple[date, date],
    titles: Mapping[str, str],
    names: Mapping[str, str],
) -> WasteLine:
    code, step, part = one.key
    asked = {"part": part, "outcome": "repaired", "closed_from": days[0], "closed_to": days[1]}
    if form.value("model"):
        asked["model"] = form.value("model")
    known = one.row.used > 0
    return WasteLine(
        procedure=titles.get(code, code),
        step=one.row.title,
        part=part,
        part_name=names.get(part, ""),
        href=f"/spares/{code}/{step}/{part}",
        jobs_href=f"/review/history?{urlencode(asked)}",
        jobs=one.row.jobs,
        sheet=one.row.sheet,
        used=one.row.used,
        spoiled=one.row.spoiled,
        share=f"{100 * one.found.share:.1f} %" if known else "—",
        interval=f"{100 * one.found.low:.1f} to {100 * one.found.high:.1f} %" if known else "not known",
        now=_percent(one.now),
        suggested=_percent(Decimal(str(round(one.found.suggested, 4)))),
        change=one.found.change,
        look=one.look,
    )


def _percent(factor: Decimal) -> str:
    return f"{(factor * 100).normalize():f} %" if factor else "none"
