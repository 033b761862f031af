"""What work costs by the site's settings and the catalogue: quotes, options, and what a new plan adds."""

from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal

from sqlmodel import Session

from app.jobs.queries.past import expected_time, step_history
from app.platform.settings import Settings
from app.procedures import queries as procedures
from app.rules.expected_time import ExpectedTime
from app.rules.extending import Extension
from app.rules.planning import Plan, make_plan
from app.rules.quote_options import Option, options
from app.rules.quoting import PartPrice, Quote, Rates, quote
from app.stores import queries as stores


def rates_of(settings: Settings) -> Rates:
    """Return the rates of the site's settings."""
    return Rates(
        currency=settings.currency,
        hourly=settings.labour_rate,
        margin_parts=settings.margin_parts,
        margin_labour=settings.margin_labour,
        waste=settings.waste_by_stream,
        tax=settings.tax,
    )


def prices_of(session: Session, parts: Iterable[str], today: date) -> dict[str, PartPrice]:
    """Return the catalogue prices of parts by number; what the catalogue does not know is left out."""
    return {number: PartPrice(part.name, part.price) for number, part in stores.shelf(session, parts, today).items()}


def expected_of(session: Session, revision_id: int, targets: Sequence[str]) -> tuple[Plan, ExpectedTime]:
    """Return the plan for these targets and its expected bench time. Raises Refused like ``make_plan``."""
    sheet = procedures.sheet(session, revision_id)
    plan = make_plan(sheet, targets)
    return plan, expected_time(session, revision_id, plan)


def quote_options(
    session: Session, revision_id: int, choices: Sequence[Sequence[str]], settings: Settings, today: date
) -> tuple[Option, ...]:
    """Return up to three options side by side, each priced whole. Raises Refused like ``options``."""
    sheet = procedures.sheet(session, revision_id)
    parts = {line.part for targets in choices for line in make_plan(sheet, targets).kit}
    parts |= {line.part for targets in choices for unit in targets for line in make_plan(sheet, (unit,)).kit}
    prices = prices_of(session, parts, today)
    return options(sheet, choices, lambda plan: expected_time(session, revision_id, plan), prices, rates_of(settings))


def addition(session: Session, revision_id: int, found: Extension, settings: Settings, today: date) -> Quote:
    """Return what a new plan in mid-work adds to the price: more parts, more bench time, more scrap; never below 0."""
    pace = step_history(session, revision_id).pace
    seconds = max(0, round(found.plan.added_s * pace))
    prices = prices_of(session, [line.part for line in found.added_kit], today)
    return quote(found.added_kit, seconds, found.plan.added_scrap, prices, rates_of(settings))


def amounts(found: Quote) -> list[list[str]]:
    """Return a quote's lines as they are kept with the entry: text, quantity, amount."""
    return [[line.text, str(line.quantity), f"{line.amount}"] for line in found.lines]


def zero(settings: Settings) -> Decimal:
    """Return nothing, as money."""
    return quote((), 0, {}, {}, rates_of(settings)).total
