"""Pages of the parts: list, one part, its forms."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any
from urllib.parse import urlencode

from sqlmodel import Session

from app.platform.errors import NotFound
from app.platform.forms import Form
from app.rules.sheet import WasteStream
from app.rules.stores.classes import ValueClass
from app.rules.stores.kept import short_words
from app.stores import queries
from app.stores.pages.common import PAGE_SIZE, Source, expiry_state, source_of
from app.stores.queries import LotRow, MovementRow, OrderRow, PartRow, ShelfPart
from app.stores.queries.computing import compute
from app.stores.queries.planning import planning_facts

SHOW_CHOICES = (
    ("", "All that are kept"),
    ("none", "Nothing on hand"),
    ("reserved", "Reserved"),
    ("ordered", "On order"),
    ("expiring", "With an expiry date"),
    ("past", "No longer kept"),
)
Choices = Sequence[tuple[str, str]]


@dataclass(frozen=True)
class PartsPage:
    """The list of parts with its filters; ``first`` and ``older`` lead to other pages, empty where there is none."""

    form: Form[Any]
    parts: tuple[ShelfPart, ...]
    suppliers: Choices
    locations: Choices
    show: Choices
    first: str
    older: str
    filtered: bool


@dataclass(frozen=True)
class LotLine:
    """A lot at a place; ``state`` is 'keeps', 'good', 'soon' or 'expired', ``aside`` why it is set aside."""

    lot: LotRow
    state: str
    aside: str = ""


@dataclass(frozen=True)
class MovementLine:
    """A movement with what it was for."""

    move: MovementRow
    source: Source


@dataclass(frozen=True)
class PromiseLine:
    """A promise with what it is for."""

    source: Source
    quantity: int
    since: Any


@dataclass(frozen=True)
class LevelDrawing:
    """How a part stands, drawn: widths and places in units of a line that is 640 long.

    From the left: available, reserved, expired, to come. ``point`` and ``up_to`` are the two levels of the rule.
    """

    available: int
    reserved: int
    expired: int
    coming: int
    point: int
    up_to: int


def level_drawing(part: PartRow, shelf: ShelfPart) -> LevelDrawing:
    """Scale a part's stock and its reorder rule to the drawing."""
    most = max(part.order_up_to, shelf.on_hand + shelf.on_order, 1)
    promised = min(shelf.reserved, shelf.usable)

    def scaled(quantity: int) -> int:
        return round(640 * quantity / most)

    return LevelDrawing(
        available=scaled(shelf.usable - promised),
        reserved=scaled(promised),
        expired=scaled(shelf.on_hand - shelf.usable),
        coming=scaled(shelf.on_order),
        point=scaled(part.reorder_point),
        up_to=scaled(part.order_up_to),
    )


@dataclass(frozen=True)
class PartPage:
    """One part: card, levels, lots, promises, open orders, last movements, and what is suggested.

    ``levels`` is the part with the levels that hold now: computed, or those on its card while there is no forecast.
    ``suggested``: there is a page of its suggestion.
    """

    part: PartRow
    shelf: ShelfPart
    lots: tuple[LotLine, ...]
    promises: tuple[PromiseLine, ...]
    orders: tuple[tuple[OrderRow, int], ...]
    movements: tuple[MovementLine, ...]
    first: str
    older: str
    levels: PartRow
    due: bool
    why: str
    suggested: bool
    order_link: str
    drawing: LevelDrawing


@dataclass(frozen=True)
class PartFormPage:
    """The form of a new part (``part`` None) or an edit."""

    form: Form[Any]
    part: PartRow | None
    suppliers: Choices
    locations: Choices
    waste_streams: Choices


@dataclass(frozen=True)
class LotFormPage:
    """Receive without an order, scrap or transfer: the form, the part and its lots as (value, words)."""

    form: Form[Any]
    part: PartRow
    shelf: ShelfPart
    lots: Choices
    locations: Choices


def supplier_choices(session: Session) -> Choices:
    """Return suppliers as (code, name)."""
    return tuple((row.code, row.name) for row in queries.suppliers(session))


def location_choices(session: Session) -> Choices:
    """Return locations as (code, code and name), in walking order."""
    return tuple((row.code, f"{row.code} · {row.name}".rstrip(" ·")) for row in queries.locations(session))


def parts_page(session: Session, form: Form[Any], today: date, after: str | None) -> PartsPage:
    """Gather a page of the list."""
    filters = {name: form.value(name) for name in ("q", "supplier", "location", "show")}
    parts = queries.part_page(
        session,
        today,
        text=filters["q"],
        supplier=filters["supplier"],
        location=filters["location"],
        show=filters["show"],
        after=after,
        limit=PAGE_SIZE + 1,
    )
    shown = parts[:PAGE_SIZE]
    kept = {name: value for name, value in filters.items() if value}
    more = len(parts) > PAGE_SIZE
    return PartsPage(
        form=form,
        parts=shown,
        suppliers=(("", "All suppliers"), *supplier_choices(session)),
        locations=(("", "All places"), *location_choices(session)),
        show=SHOW_CHOICES,
        first=f"/parts?{urlencode(kept)}" if after else "",
        older=f"/parts?{urlencode({**kept, 'after': shown[-1].number})}" if more else "",
        filtered=bool(kept),
    )


def load_part(session: Session, number: str) -> PartRow:
    """Return a part; raises NotFound."""
    part = queries.part(session, number)
    if part is None:
        raise NotFound(f"part {number}")
    return part


def typed_number(session: Session, typed: str) -> str:
    """Return the part number that somebody typed: as typed, or in capitals where only that is one of ours."""
    number = " ".join(typed.split())
    known = queries.part(session, number) or queries.part(session, number.upper())
    return known.number if known else number


def part_page(session: Session, number: str, today: date, after: int | None) -> PartPage:
    """Gather one part's page; ``after`` pages through its movements."""
    part = load_part(session, number)
    shelf = queries.shelf(session, [number], today)[number]
    kept = queries.kept_suggestion(session, number)
    value_class = ValueClass(kept.value_class) if kept else ValueClass.C
    facts = planning_facts(session, today, [part.id])
    found = compute(facts, {number: value_class}, queries.policy(session), today)[0].suggestion
    levels = replace(part, reorder_point=found.reorder_point, order_up_to=found.order_up_to)
    moves = queries.movement_page(session, part_number=number, after=after, limit=21)
    aside = queries.quarantined(session)
    least = -(-max(part.minimum_order, 1) // part.pack) * part.pack
    quantity = found.quantity or least
    link = urlencode({"supplier": part.supplier_id, "line": number, f"quantity-{number}": quantity})
    return PartPage(
        part=part,
        shelf=shelf,
        lots=tuple(
            LotLine(lot, expiry_state(lot.expires_on, today), aside.get(lot.lot_id, ""))
            for lot in queries.lots_of(session, [number])
        ),
        promises=tuple(
            PromiseLine(source_of(p.source_ref), p.quantity, p.since) for p in queries.promises_of(session, number)
        ),
        orders=tuple(
            (order, sum(n.outstanding for n in order.lines if n.part_number == number))
            for order in queries.open_orders(session, number)
        ),
        movements=tuple(MovementLine(m, source_of(m.source_ref)) for m in moves[:20]),
        first=f"/parts/{number}#movements" if after else "",
        older=f"/parts/{number}?after={moves[19].id}#movements" if len(moves) > 20 else "",
        levels=levels,
        due=found.due,
        why=short_words(found),
        suggested=kept is not None,
        order_link=f"/orders/new?{link}",
        drawing=level_drawing(levels, shelf),
    )


def part_form_page(session: Session, form: Form[Any], number: str | None) -> PartFormPage:
    """Gather the form of a part."""
    return PartFormPage(
        form=form,
        part=None if number is None else load_part(session, number),
        suppliers=(("", "Choose a supplier"), *supplier_choices(session)),
        locations=(("", "Choose a place"), *location_choices(session)),
        waste_streams=tuple((stream.value, stream.value.capitalize()) for stream in WasteStream),
    )


def lot_form_page(session: Session, form: Form[Any], number: str, today: date) -> LotFormPage:
    """Gather a form that acts on the lots of a part."""
    lots = []
    for lot in queries.lots_of(session, [number]):
        until = "" if lot.expires_on is None else f", last day {lot.expires_on:%-d %b %Y}"
        if expiry_state(lot.expires_on, today) == "expired":
            until += ", expired"
        lots.append((f"{lot.lot_id}:{lot.location_id}", f"{lot.location} · {lot.code}: {lot.on_hand}{until}"))
    return LotFormPage(
        form=form,
        part=load_part(session, number),
        shelf=queries.shelf(session, [number], today)[number],
        lots=tuple(lots),
        locations=location_choices(session),
    )
