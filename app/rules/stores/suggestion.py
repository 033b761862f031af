"""A part's suggestion: whether to order, how much, and why, in words for the stores clerk."""

from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil

from app.rules.reorder import Stock
from app.rules.stores.arrays import DAYS_PER_MONTH
from app.rules.stores.classes import ValueClass
from app.rules.stores.demand import CLASS_WORDS, DemandClass, demand_class
from app.rules.stores.forecast import METHODS, Method, Prior
from app.rules.stores.laws import LAWS, Law
from app.rules.stores.lead_time import LeadTime
from app.rules.stores.netting import KnownDemand, day_words
from app.rules.stores.planning import Plans
from app.rules.stores.quantities import before_expiry, size_order


@dataclass(frozen=True, slots=True)
class PartState:
    """What a suggestion needs beside the plan. ``stock.on_hand`` is what is usable: expired lots left out.

    ``known`` is what planned jobs need beyond what is reserved for them. ``shelf_life_days`` 0: it keeps.
    """

    number: str
    stock: Stock
    lead: LeadTime
    known: KnownDemand
    value_class: ValueClass = ValueClass.C
    critical: bool = False
    pack: int = 1
    minimum: int = 1
    shelf_life_days: int = 0
    prior: Prior | None = None


@dataclass(frozen=True, slots=True)
class Suggestion:
    """What to do about a part. Quantities in stock units; shares between 0 and 1.

    ``position`` = on hand + on order − reserved − ``known_demand`` (of planned jobs until ``horizon``, a lead time and
    a review period ahead). ``service`` is the cycle service level that the reorder point gives, ``target`` what is
    promised; ``fill_rate`` is another figure, the share of pieces there when wanted. ``mean`` and ``variance`` are of
    unforeseen demand in lead time and review period. ``quantity`` is 0 when nothing is to be ordered.
    """

    part: str
    on: date
    position: int
    known_demand: int
    horizon: date
    forecast_per_month: float
    method: Method
    demand_class: DemandClass
    law: Law
    mean: float
    variance: float
    lead_days: float
    target: float
    service: float
    fill_rate: float
    reorder_point: int
    order_up_to: int
    lot: int
    quantity: int
    because: tuple[str, ...]

    @property
    def due(self) -> bool:
        """Whether there is something to order."""
        return self.quantity > 0

    def changed_since(self, previous: "Suggestion") -> tuple[str, ...]:
        """Say what is different from an earlier suggestion for the part, and why; empty when nothing is.

        Raises ValueError for another part's.
        """
        return _changes(previous, self)


def suggest(state: PartState, plans: Plans, place: int, *, today: date, review_days: float = 1.0) -> Suggestion:
    """Return the suggestion for the part at ``place`` of the plans.

    At or below the reorder point, the fewest lots that bring the position above it are ordered; of a part nobody
    wants, what jobs are short of. The quantity is in packs, at least the minimum order, and capped by what would
    expire before use.
    """
    stock = state.stock
    horizon = today + timedelta(days=ceil(state.lead.mean_days + review_days))
    known = state.known.needed_until(horizon)
    position = stock.position - known
    kept, point, lot = bool(plans.kept[place]), int(plans.point[place]), int(plans.lot[place])
    rate, unit = float(plans.rate[place]), float(plans.unit[place])
    shape = plans.shape
    because = [_position_words(stock, known, horizon, position)]
    wanted = _wanted(position, point, lot, kept)
    because.append(_due_words(position, point, wanted, kept))
    quantity = 0
    if wanted:
        most = None
        if state.shelf_life_days and kept:
            arriving = max(0.0, position - rate * state.lead.mean_days)
            # What planned jobs will take goes on top of the unforeseen use.
            most = before_expiry(rate, state.shelf_life_days, arriving) + max(0, -position)
        words = f"what is ordered keeps {state.shelf_life_days} days, and only {most} would be used by then"
        sized = size_order(wanted, state.pack, state.minimum, most=most, most_words=words)
        quantity = sized.quantity
        because.extend(sized.because)
    because.extend(state.known.because)
    method = METHODS[int(plans.method[place])]
    kind = demand_class(float(shape.adi[place]), float(shape.cv2[place]))
    found = Suggestion(
        part=state.number, on=today, position=position, known_demand=known, horizon=horizon,
        forecast_per_month=rate * DAYS_PER_MONTH, method=method, demand_class=kind,
        law=LAWS[int(plans.protected.law[place])],
        mean=float(plans.protected.mean[place]) * unit, variance=float(plans.protected.variance[place]) * unit**2,
        lead_days=state.lead.mean_days, target=float(plans.target[place]), service=float(plans.service[place]),
        fill_rate=float(plans.fill[place]), reorder_point=point, order_up_to=int(plans.up_to[place]), lot=lot,
        quantity=quantity, because=(),
    )  # fmt: skip
    because.extend(_plan_words(found, state, plans, place))
    return Suggestion(**{**{n: getattr(found, n) for n in found.__slots__}, "because": tuple(because)})


def _wanted(position: int, point: int, lot: int, kept: bool) -> int:
    if not kept:
        return max(0, -position)
    return ((point - position) // lot + 1) * lot if position <= point else 0


def _position_words(stock: Stock, known: int, horizon: date, position: int) -> str:
    words = f"{stock.on_hand} usable on the shelf + {stock.on_order} on order − {stock.reserved} reserved for jobs"
    if known:
        words += f" − {known} for planned jobs until {day_words(horizon)}"
    return f"{words} = {position}.".replace("= -", "= −")


def _due_words(position: int, point: int, wanted: int, kept: bool) -> str:
    if not kept:
        return (
            f"It is not kept in stock; jobs are short of {wanted}, so order them."
            if wanted
            else "It is not kept in stock: nobody asks for it unforeseen. It is ordered when a job needs it."
        )
    if wanted:
        return f"That is {'at' if position == point else 'below'} the reorder point of {point}: order {wanted}."
    return f"That is above the reorder point of {point}: nothing to order."


def _plan_words(found: Suggestion, state: PartState, plans: Plans, place: int) -> list[str]:
    words = [f"Class {state.value_class.value}{', critical' if state.critical else ''}."]
    words.append(_forecast_words(found, state, plans, place))
    words.append(f"An order takes {state.lead.words}.")
    if not plans.kept[place]:
        return words
    words.append(
        f"From one look at the list until an order of the next look arrives, {found.mean:.1f} are wanted on average "
        f"({found.law.value} distribution, standard deviation {found.variance**0.5:.1f})."
    )
    words.append(
        f"Promised: nothing runs out in {share_words(found.target)} of the order cycles. The reorder point gives "
        f"{share_words(found.service)}. Another figure: {share_words(found.fill_rate)} of the pieces will be there "
        "when wanted."
    )
    if int(plans.unit[place]) > 1:
        words.append(f"It is always wanted in multiples of {int(plans.unit[place])} and counted so.")
    lot = f"Order lot {found.lot}: cheapest for ordering and keeping, in packs of {state.pack}"
    words.append(f"{lot}, cut to what is used before it expires." if plans.cut[place] else f"{lot}.")
    return words


def _forecast_words(found: Suggestion, state: PartState, plans: Plans, place: int) -> str:
    quantity = f"{found.forecast_per_month:.2g}" if found.forecast_per_month < 10 else f"{found.forecast_per_month:.0f}"
    if found.method is Method.NONE:
        return "No unforeseen use in the time looked at, and nothing supposed."
    if found.method is Method.PRIOR:
        supposed = state.prior.words if state.prior else "as supposed"
        return f"Forecast {quantity} a month, as there is little history yet: {supposed}."
    shape = plans.shape
    seen = f"used in {int(shape.demands[place])} of {int(shape.periods[place])} months"
    words = f"Forecast {quantity} a month unforeseen: {CLASS_WORDS[found.demand_class]} ({seen})."
    return f"{words} {_METHOD_WORDS[found.method]}"


_METHOD_WORDS = {
    Method.CROSTON: "Newer demands weigh more (Croston's method).",
    Method.SBA: "Sizes and gaps are averaged apart, newer ones weigh more, and the excess that this gives for rare "
    "demand is taken off (Croston's method, corrected by Syntetos and Boylan).",
    Method.TSB: "It has been quiet for unusually long, so it may be going out of use and the forecast falls month by "
    "month (method of Teunter, Syntetos and Babai).",
}


def _changes(old: Suggestion, new: Suggestion) -> tuple[str, ...]:
    if old.part != new.part:
        raise ValueError("suggestions of different parts are not compared")
    words = []
    if old.quantity != new.quantity:
        words.append(f"To order: {new.quantity}, was {old.quantity}.")
    if old.position != new.position:
        words.append(f"Position: {new.position}, was {old.position}.")
    if old.known_demand != new.known_demand:
        words.append(f"Planned jobs need {new.known_demand}, was {old.known_demand}.")
    if old.reorder_point != new.reorder_point:
        words.append(f"Reorder point: {new.reorder_point}, was {old.reorder_point}.")
    if _apart(old.forecast_per_month, new.forecast_per_month):
        words.append(f"Forecast: {new.forecast_per_month:.2g} a month, was {old.forecast_per_month:.2g}.")
    if old.method is not new.method:
        words.append(f"Forecast by another method: {new.method.value}, was {old.method.value}.")
    if old.demand_class is not new.demand_class:
        words.append(f"Demand is now {new.demand_class.value}, was {old.demand_class.value}.")
    if _apart(old.lead_days, new.lead_days):
        words.append(f"An order takes {new.lead_days:.1f} days, was {old.lead_days:.1f}.")
    if old.target != new.target:
        words.append(f"Promised cycle service: {share_words(new.target)}, was {share_words(old.target)}.")
    if old.lot != new.lot:
        words.append(f"Order lot: {new.lot}, was {old.lot}.")
    return tuple(words)


def share_words(share: float) -> str:
    """Return a share between 0 and 1 in per cent with one decimal, a space before the sign (ISO 80000-1)."""
    return f"{100 * share:.1f} %"


def _apart(old: float, new: float) -> bool:
    return abs(old - new) > 0.05 * max(abs(old), abs(new))
