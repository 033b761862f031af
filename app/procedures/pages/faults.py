"""The fault table of a device model, to read and to change."""

from dataclasses import dataclass
from typing import Any

from sqlmodel import Session

from app.platform.forms import Form
from app.procedures import queries
from app.procedures.queries import ModelInfo, RevisionInfo
from app.rules.sheet import Sheet


@dataclass(frozen=True)
class FaultLine:
    """A fault of the table; ``units`` are (id, name), the first one first, with those the procedure no longer has."""

    code: str
    words: str
    formerly: tuple[str, ...]
    units: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class FaultsPage:
    """The table. ``editing`` is the code of the fault whose form is open, empty for a new one."""

    info: RevisionInfo
    model: ModelInfo
    lines: tuple[FaultLine, ...]
    units: tuple[tuple[str, str], ...]
    form: Form[Any]
    editing: str


def reachable(sheet: Sheet) -> tuple[tuple[str, str], ...]:
    """Return (id, name) of the units that some step frees."""
    freed = {step.frees for step in sheet.steps}
    return tuple((unit.id, unit.name) for unit in sheet.units if unit.id in freed)


def newest(session: Session, code: str) -> RevisionInfo:
    """Return the newest revision of a procedure; NotFound when there is none."""
    return queries.revisions(session, code)[0]


def faults_page(session: Session, code: str, form: Form[Any], editing: str = "") -> FaultsPage:
    """Build the table of the device model that a procedure is for."""
    info = newest(session, code)
    model = queries.device_model(session, info.device_model_id)
    units = reachable(queries.sheet(session, info.id))
    names = dict(units)
    words = queries.faults(session, model.id)
    if editing and not form.values:
        chosen = next((word for word in words if word.code == editing), None)
        if chosen is None:
            editing = ""
        else:
            form = Form(values={"words": chosen.words}, lists={"units": chosen.units})
    lines = tuple(
        FaultLine(w.code, w.words, w.formerly, tuple((u, names.get(u, f"{u}, not in this revision")) for u in w.units))
        for w in words
    )
    return FaultsPage(info, model, lines, units, form, editing)
