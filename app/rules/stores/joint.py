"""One supplier's order: what is due, and what joins it when a minimum order value or freight makes that pay."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from decimal import Decimal

from app.rules.stores.quantities import before_expiry


@dataclass(frozen=True, slots=True)
class OrderTerms:
    """A supplier's terms, in the site's currency; 0 or None where there are none.

    ``minimum_value``: no order below it is taken; ``freight`` is paid below ``free_from``, always when that is None;
    ``order_cost``: our own work on an order of its own; ``holding_share`` a year of a part's price.
    """

    minimum_value: Decimal = Decimal(0)
    freight: Decimal = Decimal(0)
    free_from: Decimal | None = None
    order_cost: Decimal = Decimal(0)
    holding_share: Decimal = Decimal("0.2")


@dataclass(frozen=True, slots=True)
class JointPart:
    """A part of the supplier: ``quantity`` to order now, or when it is due in ``due_in_days`` (0: due now).

    ``rate_per_day`` is its demand, ``after`` the position once ordered, ``shelf_life_days`` 0 for what keeps.
    """

    number: str
    quantity: int
    unit_price: Decimal
    pack: int = 1
    due_in_days: float = 0.0
    rate_per_day: float = 0.0
    after: int = 0
    shelf_life_days: float = 0.0

    @property
    def value(self) -> Decimal:
        """Price of the quantity, exact."""
        return self.unit_price * self.quantity


@dataclass(frozen=True, slots=True)
class JointOrder:
    """The order as proposed; ``joined`` names the parts that were not due themselves."""

    lines: tuple[JointPart, ...]
    joined: tuple[str, ...]
    value: Decimal
    freight: Decimal
    takes: bool
    because: tuple[str, ...]


def joint_order(parts: Sequence[JointPart], terms: OrderTerms) -> JointOrder:
    """Propose one supplier's order from the parts due now and those that will be.

    A part that is not due joins when keeping it until then costs less than an order of its own would (the can-order
    idea of J. L. Balintfy (1964), Management Science 10, 287-297). Below the minimum order value, parts join soonest
    first, then the due ones grow by packs, those that last shortest first, until the value is reached; the same for
    the freight when what the early parts cost to keep is less than the freight. Nothing grows beyond what is used
    before it expires. Without a part due there is no order.
    """
    due = [p for p in parts if p.due_in_days <= 0 and p.quantity > 0]
    later = sorted((p for p in parts if p.due_in_days > 0 and p.quantity > 0), key=lambda p: (p.due_in_days, p.number))
    if not due:
        return JointOrder((), (), Decimal(0), Decimal(0), False, ("Nothing of this supplier is due.",))
    because: list[str] = []
    lines, waiting = list(due), []
    own = terms.order_cost + (terms.freight if terms.free_from is None else Decimal(0))
    for part in later:
        keep = _keeping(part, terms)
        if keep < own:
            lines.append(part)
            because.append(
                f"{part.number} is due in {part.due_in_days:.0f} days and joins: keeping it costs {_cash(keep)}, "
                f"an order of its own {_cash(own)}."
            )
        else:
            waiting.append(part)
    if _value(lines) < terms.minimum_value:
        because.append(f"{_cash(_value(lines))} is below the supplier's minimum order of {_cash(terms.minimum_value)}.")
        lines = _fill(lines, waiting, terms.minimum_value, because)
    if terms.free_from is not None and terms.freight and _value(lines) < terms.free_from:
        lines = _spare_freight(lines, waiting, terms, because)
    value = _value(lines)
    freight = terms.freight if terms.free_from is None or value < terms.free_from else Decimal(0)
    takes = value >= terms.minimum_value
    if not takes:
        because.append("The minimum is not reached without stock that would expire. Ask the supplier, or wait.")
    names = {p.number for p in due}
    joined = tuple(p.number for p in lines if p.number not in names)
    return JointOrder(tuple(lines), joined, value, freight, takes, tuple(because))


def _value(lines: Sequence[JointPart]) -> Decimal:
    return sum((line.value for line in lines), Decimal(0))


def _keeping(part: JointPart, terms: OrderTerms) -> Decimal:
    return part.value * terms.holding_share * Decimal(str(part.due_in_days)) / Decimal("365.25")


def _cash(amount: Decimal) -> str:
    return f"{amount:.2f}"


def _fill(lines: Sequence[JointPart], waiting: list[JointPart], wanted: Decimal, because: list[str]) -> list[JointPart]:
    """Let parts join and grow until the value is reached; ``waiting`` loses those that join."""
    found = list(lines)
    while _value(found) < wanted and waiting:
        part = waiting.pop(0)
        found.append(part)
        because.append(f"{part.number} is due in {part.due_in_days:.0f} days and joins to reach {_cash(wanted)}.")
    grown: dict[str, int] = {}
    while _value(found) < wanted:
        can = [n for n, part in enumerate(found) if _may_grow(part)]
        if not can:
            break
        n = min(can, key=lambda i: ((found[i].after + found[i].pack) / found[i].rate_per_day, found[i].number))
        part = found[n]
        found[n] = replace(part, quantity=part.quantity + part.pack, after=part.after + part.pack)
        grown[part.number] = grown.get(part.number, 0) + part.pack
    because.extend(f"{quantity} more of {number} to reach {_cash(wanted)}." for number, quantity in grown.items())
    return found


def _may_grow(part: JointPart) -> bool:
    if part.rate_per_day <= 0 or part.unit_price <= 0:
        return False
    if part.shelf_life_days <= 0:
        return True
    return part.after + part.pack <= before_expiry(part.rate_per_day, part.shelf_life_days, 0)


def _spare_freight(
    lines: list[JointPart], waiting: list[JointPart], terms: OrderTerms, because: list[str]
) -> list[JointPart]:
    assert terms.free_from is not None
    notes: list[str] = []
    tried = _fill(lines, list(waiting), terms.free_from, notes)
    before = {p.number: p for p in lines}
    cost = Decimal(0)
    for part in tried:
        old = before.get(part.number)
        if old is None:
            cost += _keeping(part, terms)
        elif part.quantity > old.quantity:
            extra = part.quantity - old.quantity
            # More of a due part lies until all before it is used up.
            waits = Decimal(str(old.after / part.rate_per_day))
            cost += part.unit_price * extra * terms.holding_share * waits / Decimal("365.25")
    if _value(tried) >= terms.free_from and cost < terms.freight:
        because.append(
            f"From {_cash(terms.free_from)} the freight of {_cash(terms.freight)} is saved; keeping the early parts "
            f"costs {_cash(cost)}."
        )
        because.extend(notes)
        return tried
    because.append(f"Freight of {_cash(terms.freight)} is paid: to save it would cost as much or cannot be reached.")
    return lines
