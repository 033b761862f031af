"""Pages of reordering: the list by supplier, one part's suggestion on one screen, overrides, the policy."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from typing import Any

from sqlmodel import Session

from app.platform.errors import NotFound
from app.platform.forms import Form, blank
from app.rules.stores.arrays import DAYS_PER_MONTH
from app.rules.stores.classes import ValueClass
from app.rules.stores.demand import CLASS_WORDS
from app.rules.stores.joint import JointPart, OrderTerms, joint_order
from app.rules.stores.netting import DayLine
from app.rules.stores.outlook import ahead, past
from app.rules.stores.suggestion import Suggestion
from app.stores import queries
from app.stores.pages.stock_plot import StockPlot, stock_plot
from app.stores.queries import KeptSuggestion, OrderRow, OverrideRow, PartRow, Policy, SuggestedGroup, SupplierRow
from app.stores.queries.computing import Computed, compute, per_year, yearly_cost
from app.stores.queries.planning import MONTHS, planning_facts
from app.stores.queries.suggestions import Terms, other_due
from app.stores.queries.valuation import changes_by_day

BACK_DAYS = 90
"""Days of the past on the drawing."""


@dataclass(frozen=True)
class ReorderRow:
    """A line of the list. ``joined``: not due itself, it joins the supplier's order.

    ``override`` is why another quantity than the suggested one stands there.
    """

    number: str
    name: str
    unit: str
    pack: int
    quantity: int
    cost: Decimal
    value_class: str
    why: str
    override: str = ""
    joined: bool = False


@dataclass(frozen=True)
class ReorderGroupView:
    """What to order of one supplier; ``notes`` say what the supplier's terms changed."""

    supplier_id: int
    supplier_name: str
    lines: tuple[ReorderRow, ...]
    notes: tuple[str, ...]

    @property
    def cost(self) -> Decimal:
        """Price of all quantities, exact."""
        return sum((line.cost for line in self.lines), Decimal(0))


@dataclass(frozen=True)
class ReorderPage:
    """The reorder list; ``open_orders`` by supplier id, ``stale``: parts whose figures are older than today."""

    groups: tuple[ReorderGroupView, ...]
    open_orders: Mapping[int, tuple[OrderRow, ...]]
    stale: int
    overridden: int


@dataclass(frozen=True)
class Offer:
    """A supplier's prices for a part, and what a year costs there; ``own``: the supplier on the part's card."""

    supplier: SupplierRow
    steps: tuple[tuple[int, Decimal], ...]
    yearly: Decimal | None
    own: bool


@dataclass(frozen=True)
class SuggestionPage:
    """One part's suggestion: figures, reasons, known demand by date, use by month, drawing, override, settings.

    ``supposed`` says in words what procedures make of the use of a new part; empty where nothing is supposed.
    ``alternates`` are approved ones with free stock, told and not counted.
    """

    part: PartRow
    kept: KeptSuggestion
    now: Suggestion
    shape_words: str
    quantity: int
    override: OverrideRow | None
    overrides: tuple[OverrideRow, ...]
    known: tuple[DayLine, ...]
    months: tuple[tuple[date, int], ...]
    plot: StockPlot
    offers: tuple[Offer, ...]
    choices: Sequence[tuple[str, str]]
    form: Form[Any]
    settings: Form[Any]
    prices: Form[Any]
    order_link: str
    supposed: str
    by_hand: bool
    alternates: tuple[queries.Offer, ...]


@dataclass(frozen=True)
class OverridesPage:
    """All overrides, those that hold first."""

    rows: tuple[OverrideRow, ...]


@dataclass(frozen=True)
class PolicyPage:
    """The storeroom's policy, how many parts each class has, and the suppliers with their terms."""

    form: Form[Any]
    classes: Mapping[str, int]
    suppliers: tuple[tuple[SupplierRow, Terms], ...]


@dataclass(frozen=True)
class TermsPage:
    """A supplier's terms."""

    supplier: SupplierRow
    form: Form[Any]


def reorder_page(session: Session, today: date) -> ReorderPage:
    """Gather the reorder list from the kept suggestions."""
    policy = queries.policy(session)
    terms = queries.supplier_terms(session)
    orders: dict[int, tuple[OrderRow, ...]] = {}
    for order in queries.open_orders(session, drafts=True):
        orders[order.supplier_id] = (*orders.get(order.supplier_id, ()), order)
    groups = tuple(
        _joint(session, group, terms[group.supplier_id], policy) if group.supplier_id in terms else _plain(group)
        for group in queries.due_groups(session)
    )
    held = sum(1 for row in queries.overrides(session) if row.ended_at is None)
    return ReorderPage(groups, orders, queries.count_stale(session, today), held)


def _plain(group: SuggestedGroup) -> ReorderGroupView:
    return ReorderGroupView(group.supplier_id, group.supplier_name, _rows(group), ())


def _rows(group: SuggestedGroup) -> tuple[ReorderRow, ...]:
    return tuple(
        ReorderRow(
            n.part.number, n.part.name, n.part.unit, n.part.pack, n.quantity, n.cost, n.value_class, n.words, n.override
        )
        for n in group.lines
    )


def _joint(session: Session, group: SuggestedGroup, terms: Terms, policy: Policy) -> ReorderGroupView:
    """Let the supplier's other parts join, and the due ones grow, where its terms make that pay."""
    later = {number: (found, price) for number, found, price in other_due(session, group.supplier_id)}
    names = {p.number: p for p in queries.parts_of_supplier(session, group.supplier_id)}
    parts = [
        JointPart(
            n.part.number, n.quantity, n.unit_price, n.part.pack, 0.0, n.rate_per_day, n.position + n.quantity,
            float(n.part.shelf_life_days or 0),
        )
        for n in group.lines
    ]  # fmt: skip
    for number, (found, price) in later.items():
        rate = found.forecast_per_month / DAYS_PER_MONTH
        if rate > 0 and number in names:
            waits = max(1.0, (found.position - found.reorder_point) / rate)
            after, keeps = found.position + found.lot, float(names[number].shelf_life_days or 0)
            parts.append(JointPart(number, found.lot, price, names[number].pack, waits, rate, after, keeps))
    order = joint_order(
        parts, OrderTerms(terms.minimum_value, terms.freight, terms.free_from, Decimal(0), policy.holding_share)
    )
    rows = {row.number: row for row in _rows(group)}
    lines = []
    for line in order.lines:
        row = rows.get(line.number)
        card = names[line.number]
        joins = f"Joins: due in about {line.due_in_days:.0f} days. Position {line.after - line.quantity}."
        why = row.why if row else joins
        lines.append(
            ReorderRow(
                line.number, card.name, card.unit, card.pack, line.quantity, line.value,
                row.value_class if row else "", why, row.override if row else "", row is None,
            )
        )  # fmt: skip
    return ReorderGroupView(group.supplier_id, group.supplier_name, tuple(lines), order.because)


def suggestion_page(
    session: Session,
    number: str,
    today: date,
    suppliers: Sequence[tuple[str, str]],
    form: Form[Any] | None = None,
    settings: Form[Any] | None = None,
    prices: Form[Any] | None = None,
) -> SuggestionPage:
    """Gather one part's suggestion; raises NotFound for a part that has none."""
    part = queries.part(session, number)
    kept = queries.kept_suggestion(session, number)
    if part is None or kept is None:
        raise NotFound(f"suggestion for part {number}")
    policy = queries.policy(session)
    facts = planning_facts(session, today, [part.id])
    one = compute(facts, {number: ValueClass(kept.value_class)}, policy, today)[0]
    rows = queries.overrides(session, number)
    override = next((row for row in rows if row.ended_at is None), None)
    now = kept.now
    quantity = now.quantity if override is None else override.quantity
    link = f"/orders/new?supplier={part.supplier_id}&line={number}&quantity-{number}={quantity or now.lot}"
    return SuggestionPage(
        part=part,
        kept=kept,
        now=now,
        shape_words=CLASS_WORDS[now.demand_class],
        quantity=quantity,
        override=override,
        overrides=rows,
        known=one.known.lines,
        months=_months(one, today),
        plot=_plot(session, one, today),
        offers=_offers(session, part, one, policy),
        choices=suppliers,
        form=form or blank(quantity=now.quantity),
        settings=settings or _settings(one),
        prices=prices or blank(),
        order_link=link,
        supposed=one.facts.supposed_words,
        by_hand=one.facts.by_hand,
        alternates=queries.offers(session, [part.number], today).get(part.number, ()),
    )


def _settings(one: Computed) -> Form[Any]:
    supposed: Sequence[object] = (one.facts.supposed or ("", "", "")) if one.facts.by_hand else ("", "", "")
    return blank(
        critical="yes" if one.facts.critical else "", uses_per_job=supposed[0], jobs_per_device_year=supposed[1],
        devices=supposed[2],
    )  # fmt: skip


def _months(one: Computed, today: date) -> tuple[tuple[date, int], ...]:
    """Return the unforeseen use of the last twelve months."""
    found = []
    for back in range(12, 0, -1):
        place = today.year * 12 + today.month - 1 - back
        found.append((date(place // 12, place % 12 + 1, 1), one.facts.history[MONTHS - back]))
    return tuple(found)


def _plot(session: Session, one: Computed, today: date) -> StockPlot:
    facts, part = one.facts, one.facts.part
    days = min(180, max(42, round(2.5 * facts.lead.mean_days)))
    since = datetime.combine(today - timedelta(days=BACK_DAYS), datetime.min.time(), UTC)
    changes = changes_by_day(session, part.id or 0, since)
    held = queries.shelf(session, [part.number], today)[part.number].on_hand
    after = ahead(
        facts.usable - facts.reserved, facts.wants, facts.coming, rate_per_day=one.rate,
        dispersion=float(one.plans.dispersion[one.place] * one.plans.unit[one.place]),
        rate_error=float(one.plans.error[one.place]), today=today, days=days,
    )  # fmt: skip
    before = past(held, changes, today, BACK_DAYS)
    return stock_plot(part.number, before, after, one.suggestion.reorder_point, part.unit)


def _offers(session: Session, part: PartRow, one: Computed, policy: Policy) -> tuple[Offer, ...]:
    prices = queries.supplier_prices(session, [part.id])
    yearly = per_year(one.rate)
    found = []
    for supplier in queries.suppliers(session):
        own = supplier.id == part.supplier_id
        steps = prices.get((part.id, supplier.id), ())
        if not own and not steps:
            continue
        listed = [(least, float(price)) for least, price in steps]
        cost = yearly_cost(policy, yearly, float(part.price if own else steps[0][1]), listed, part.pack)
        shown = steps if steps else ((1, part.price),)
        found.append(Offer(supplier, shown, Decimal(f"{cost:.2f}") if cost else None, own))
    return tuple(sorted(found, key=lambda offer: (not offer.own, offer.supplier.name)))


def policy_page(session: Session, form: Form[Any] | None = None) -> PolicyPage:
    """Gather the policy; shares are shown as percentages."""
    policy = queries.policy(session)
    terms = queries.supplier_terms(session)
    rows = tuple((supplier, terms.get(supplier.id, Terms())) for supplier in queries.suppliers(session))
    return PolicyPage(form or _policy_form(policy), queries.count_classes(session), rows)


def _policy_form(policy: Policy) -> Form[Any]:
    def percent(share: Decimal) -> str:
        return f"{(share * 100).normalize():f}"

    return blank(
        order_cost=f"{policy.order_cost.normalize():f}", holding=percent(policy.holding_share),
        review_days=policy.review_days, service_a=percent(policy.service_a), service_b=percent(policy.service_b),
        service_c=percent(policy.service_c), service_critical=percent(policy.service_critical), version=policy.version,
    )  # fmt: skip


def terms_page(session: Session, supplier_id: int, form: Form[Any] | None = None) -> TermsPage:
    """Gather a supplier's terms; raises NotFound."""
    supplier = queries.supplier(session, supplier_id)
    if supplier is None:
        raise NotFound(f"supplier {supplier_id}")
    held = queries.supplier_terms(session).get(supplier_id, Terms())
    return TermsPage(
        supplier,
        form
        or blank(
            minimum_value=f"{held.minimum_value.normalize():f}", freight=f"{held.freight.normalize():f}",
            free_from="" if held.free_from is None else f"{held.free_from.normalize():f}",
        ),
    )  # fmt: skip
