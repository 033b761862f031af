"""Units to mend and to return, goods sent back, and how a part goes round and may be replaced."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from markupsafe import Markup
from sqlmodel import Session

from app.platform.errors import NotFound
from app.platform.forms import Form, blank
from app.platform.labels import draw_qr
from app.rules.money import round_money
from app.rules.stores.supplier_returns import ReturnReason
from app.rules.stores.units import UnitKind, UnitState, days_left
from app.stores import queries
from app.stores.pages.common import Source, source_of
from app.stores.pages.parts import load_part, location_choices, typed_number
from app.stores.queries import AlternateRow, AlternateSaid, Offer, PartRow, ReturnRow, Terms, UnitRow, UnitSaid

DUE_DAYS = 7
"""A core due within a week stands on the morning page."""
REASONS = tuple((reason.value, reason.value.capitalize()) for reason in ReturnReason)
KINDS = (
    (UnitKind.CONSUMED.value, "Consumed: the old one is scrapped"),
    (UnitKind.ROTABLE.value, "Rotable: the old one is repaired and put back"),
    (UnitKind.EXCHANGE.value, "Exchange: the old one, the core, is owed to the supplier"),
)


@dataclass(frozen=True)
class UnitLine:
    """An old unit in a list; ``left`` are the days until its core is due, None for rotables."""

    unit: UnitRow
    source: Source
    left: int | None


@dataclass(frozen=True)
class UnitsPage:
    """``cores`` are owed or on their way, ``rotables`` wait or are in repair, ``returns`` wait for their credit."""

    cores: tuple[UnitLine, ...]
    rotables: tuple[UnitLine, ...]
    ended: tuple[UnitLine, ...]
    returns: tuple[ReturnRow, ...]


@dataclass(frozen=True)
class UnitPage:
    """One old unit with all that happened to it. ``qr`` is the code of its sheet.

    ``form`` is what was sent last, ``deed`` says by which of the forms; empty before anything was sent.
    """

    line: UnitLine
    history: tuple[UnitSaid, ...]
    places: Sequence[tuple[str, str]]
    form: Form[Any]
    deed: str
    today: date
    qr: Markup

    def form_of(self, deed: str) -> Form[Any]:
        """Return the form to show for a deed: what was sent for it, or a fresh one at the unit's place."""
        return self.form if deed == self.deed else blank(location=self.line.unit.location)


@dataclass(frozen=True)
class ReturnsPage:
    """Goods sent back; ``lots`` of ``part`` are offered to be sent back without an order."""

    rows: tuple[ReturnRow, ...]
    part: str
    lots: Sequence[tuple[str, str]]
    reasons: Sequence[tuple[str, str]]
    form: Form[Any]


@dataclass(frozen=True)
class ReturnPage:
    """One return, and the form that closes it."""

    row: ReturnRow
    form: Form[Any]
    today: date
    qr: Markup


@dataclass(frozen=True)
class RoundPage:
    """What may go in where a part is wanted, and what becomes of the old one.

    ``form`` proposes a pair, ``decision`` approves or withdraws one.
    """

    part: PartRow
    pairs: tuple[AlternateRow, ...]
    said: tuple[AlternateSaid, ...]
    offers: tuple[Offer, ...]
    terms: Terms
    kinds: Sequence[tuple[str, str]]
    form: Form[Any]
    decision: Form[Any]
    round: Form[Any]
    unit: Form[Any]
    supervisor: bool


def _line(unit: UnitRow, today: date) -> UnitLine:
    left = days_left(unit.due_on, today) if unit.due_on and unit.open else None
    return UnitLine(unit, source_of(unit.source_ref), left)


def units_page(session: Session, today: date) -> UnitsPage:
    """Gather the page of old units."""
    lines = [_line(unit, today) for unit in queries.open_units(session)]
    return UnitsPage(
        tuple(line for line in lines if line.unit.kind is UnitKind.EXCHANGE),
        tuple(line for line in lines if line.unit.kind is UnitKind.ROTABLE),
        tuple(_line(unit, today) for unit in queries.ended_units(session)),
        queries.supplier_returns(session, open_only=True),
    )


def units_due(session: Session, today: date) -> tuple[int, int]:
    """Return how many old units have something to do today (a core due within a week or late), and how many are open.

    A rotable that waits for its repair has something to do from the first day.
    """
    lines = [_line(unit, today) for unit in queries.open_units(session)]
    due = [
        line
        for line in lines
        if line.unit.state is UnitState.WAITS
        or (line.unit.state is UnitState.OWED and line.left is not None and line.left <= DUE_DAYS)
    ]
    return len(due), len(lines)


def unit_page(session: Session, number: str, today: date, form: Form[Any] | None = None, deed: str = "") -> UnitPage:
    """Gather one unit's page; raises NotFound."""
    unit = queries.old_unit(session, number)
    places = [(code, words) for code, words in location_choices(session)]
    history = queries.unit_history(session, number)
    return UnitPage(_line(unit, today), history, places, form or blank(), deed, today, draw_qr(number))


def returns_page(session: Session, part: str, form: Form[Any] | None = None) -> ReturnsPage:
    """Gather the page of returns."""
    part = typed_number(session, part)
    lots = [
        (f"{row.lot_id}:{row.location_id}", f"{row.code} · {row.on_hand} at {row.location}")
        for row in queries.lots_of(session, [part])
    ]
    return ReturnsPage(queries.supplier_returns(session), part, lots, REASONS, form or blank())


def return_row(session: Session, number: str) -> ReturnRow:
    """Return one return; raises NotFound."""
    rows = queries.supplier_returns(session, number=number)
    if not rows:
        raise NotFound(f"return {number}")
    return rows[0]


def return_page(session: Session, number: str, today: date, currency: str, form: Form[Any] | None = None) -> ReturnPage:
    """Gather one return's page; raises NotFound. The credit is offered as a credit note has it: whole minor units."""
    row = return_row(session, number)
    expected = "" if row.replaced else f"{round_money(row.expected, currency):f}"
    return ReturnPage(row, form or blank(credited=expected), today, draw_qr(number))


def round_page(
    session: Session,
    number: str,
    today: date,
    role: str,
    form: Form[Any] | None = None,
    round_form: Form[Any] | None = None,
    unit: Form[Any] | None = None,
    decision: Form[Any] | None = None,
) -> RoundPage:
    """Gather the page of a part's alternates and old units; raises NotFound."""
    part = load_part(session, number)
    terms = queries.unit_terms(session, number)
    return RoundPage(
        part=part,
        pairs=queries.alternate_rows(session, number),
        said=queries.alternate_history(session, number),
        offers=queries.offers(session, [number], today).get(number, ()),
        terms=terms,
        kinds=KINDS,
        form=form or blank(),
        decision=decision or blank(),
        round=round_form
        or blank(kind=terms.kind.value, core_charge=f"{terms.core_charge.normalize():f}", core_days=terms.core_days),
        unit=unit or blank(),
        supervisor=role == "supervisor",
    )
