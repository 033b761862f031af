"""Pages of the stocktakes, suppliers and locations."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from markupsafe import Markup
from sqlmodel import Session

from app.platform.errors import NotFound
from app.platform.forms import Form
from app.rules.stores.cycle_count import Accuracy
from app.stores import queries
from app.stores.pages.common import PAGE_SIZE
from app.stores.pages.orders import qr_svg
from app.stores.queries import CountPlan, LocationRow, StocktakeDetail, StocktakeRow, SupplierRow

STOCKTAKE_SHAPES = {"open": "half", "posted": "tick", "cancelled": "cross"}


@dataclass(frozen=True)
class StocktakesPage:
    """The list of stocktakes, and the form that opens one."""

    form: Form[Any]
    stocktakes: tuple[StocktakeRow, ...]
    locations: Sequence[tuple[str, str]]
    shapes: Mapping[str, str]
    first: str
    older: str


@dataclass(frozen=True)
class StocktakePage:
    """One stocktake: its lots with counts; ``parts`` are choices for a lot that was found."""

    stocktake: StocktakeDetail
    form: Form[Any]
    found: Form[Any]
    shape: str
    parts: Sequence[tuple[str, str]]
    qr: Markup
    blind_form: Form[Any]


@dataclass(frozen=True)
class PlacesPage:
    """The suppliers or the locations."""

    rows: Sequence[SupplierRow | LocationRow]


@dataclass(frozen=True)
class PlaceFormPage:
    """The form of a supplier or a location; ``row_id`` None for a new one."""

    form: Form[Any]
    row_id: int | None
    title: str


def stocktakes_page(session: Session, form: Form[Any], after: int | None) -> StocktakesPage:
    """Gather the list of stocktakes."""
    rows = queries.stocktakes(session, after=after, limit=PAGE_SIZE + 1)
    more = len(rows) > PAGE_SIZE
    shown = rows[:PAGE_SIZE]
    places = queries.locations(session)
    return StocktakesPage(
        form=form,
        stocktakes=shown,
        locations=(
            ("", "Choose a place"),
            *((str(p.id), f"{p.code} · {p.name} ({p.lots} {'lot' if p.lots == 1 else 'lots'})") for p in places),
        ),
        shapes=STOCKTAKE_SHAPES,
        first="/stocktakes" if after else "",
        older=f"/stocktakes?after={shown[-1].id}" if more else "",
    )


def stocktake_page(
    session: Session, stocktake_id: int, form: Form[Any] | None = None, found: Form[Any] | None = None
) -> StocktakePage:
    """Gather one stocktake. The book shown is always the one of now; counts are those typed or kept."""
    take = queries.stocktake(session, stocktake_id)
    if take is None:
        raise NotFound(f"stocktake {stocktake_id}")
    values = {"version": str(take.version)}
    for line in take.lines:
        values[f"counted-{line.lot_id}"] = "" if line.counted is None or take.blind else str(line.counted)
        values[f"reason-{line.lot_id}"] = line.reason
    given = form or Form()
    typed = {n: v for n, v in given.values.items() if not n.startswith("book-") and n != "version"}
    return StocktakePage(
        stocktake=take,
        form=Form(values={**values, **typed}, errors=given.errors, refusal=given.refusal),
        found=found or Form(),
        shape=STOCKTAKE_SHAPES[take.status],
        parts=tuple((p.number, f"{p.number} · {p.name}") for p in queries.active_parts(session)),
        qr=qr_svg(f"stocktake {take.id}"),
        blind_form=given,
    )


@dataclass(frozen=True)
class CountPlanPage:
    """What to count today, and how often by value class."""

    plan: CountPlan
    form: Form[Any]
    today: date


@dataclass(frozen=True)
class Trend:
    """A line of the drawing: its points, and the places of its dots."""

    points: str
    dots: tuple[tuple[int, int], ...]


@dataclass(frozen=True)
class AccuracyPage:
    """How right the book was by month, and how that is drawn."""

    months: Sequence[Accuracy]
    trend: Trend


def count_plan_page(session: Session, today: date, form: Form[Any] | None = None) -> CountPlanPage:
    """Gather the count plan."""
    plan = queries.count_plan(session, today)
    days = {"days_a": plan.days.a, "days_b": plan.days.b, "days_c": plan.days.c, "version": plan.version}
    return CountPlanPage(plan, form or Form(values={name: str(n) for name, n in days.items()}), today)


def accuracy_page(session: Session) -> AccuracyPage:
    """Gather the trend of the accuracy, the last 24 months with a count."""
    months = queries.count_accuracy(session)[-24:]
    return AccuracyPage(months, _trend(months))


def _trend(months: Sequence[Accuracy]) -> Trend:
    """Scale the share of lots that agreed, 0 to 100 %, to a drawing 600 wide and 160 high."""
    step = 600 / max(len(months) - 1, 1)
    dots = tuple((40 + round(n * step), round(180 - 160 * month.share)) for n, month in enumerate(months))
    return Trend(" ".join(f"{x},{y}" for x, y in dots), dots)
