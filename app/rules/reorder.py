"""When to reorder a part and how much: one simple rule, stated in words on the list itself.

The rule is the order-up-to rule of the handbooks (s, S): position = on hand + on order − reserved;
at or below the reorder point, order what brings the position up to the order-up-to level, in whole
packs and no less than the supplier's minimum order. All quantities are stock units.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Stock:
    """A part's stock: on the shelf and usable, ordered and not yet received, reserved for jobs."""

    on_hand: int
    on_order: int = 0
    reserved: int = 0

    def __post_init__(self) -> None:
        if min(self.on_hand, self.on_order, self.reserved) < 0:
            raise ValueError("stock, orders and reservations are not negative")

    @property
    def position(self) -> int:
        """On hand + on order − reserved; below zero when more is promised than is there or coming."""
        return self.on_hand + self.on_order - self.reserved


@dataclass(frozen=True, slots=True)
class ReorderRule:
    """A part's rule: levels, the size of a pack, and the smallest order the supplier takes.

    Raises ValueError when the order-up-to level is below the reorder point, or a pack below one.
    """

    reorder_point: int
    order_up_to: int
    pack: int = 1
    minimum_order: int = 0

    def __post_init__(self) -> None:
        if self.reorder_point < 0 or self.minimum_order < 0:
            raise ValueError("levels and the minimum order are not negative")
        if self.order_up_to < self.reorder_point:
            raise ValueError("the order-up-to level is not below the reorder point")
        if self.pack < 1:
            raise ValueError("a pack holds at least one")


@dataclass(frozen=True, slots=True)
class Reorder:
    """The rule's answer: ``quantity`` to order (0 for none) in ``packs``, and why, in words."""

    position: int
    quantity: int
    packs: int
    words: str

    @property
    def due(self) -> bool:
        """Whether there is something to order."""
        return self.quantity > 0


def reorder(stock: Stock, rule: ReorderRule) -> Reorder:
    """Apply a part's reorder rule to its stock (see the top of this module)."""
    position = stock.position
    sums = f"{stock.on_hand} on hand + {stock.on_order} on order − {stock.reserved} reserved = {position}"
    if position > rule.reorder_point:
        return Reorder(position, 0, 0, f"{sums}, above the reorder point of {rule.reorder_point}: nothing to order.")
    missing = rule.order_up_to - position
    if missing == 0:
        return Reorder(position, 0, 0, f"{sums}, which is the order-up-to level: nothing to order.")
    where = "at" if position == rule.reorder_point else "below"
    packs = _packs(max(missing, rule.minimum_order), rule.pack)
    quantity = packs * rule.pack
    words = (
        f"{sums}, {where} the reorder point of {rule.reorder_point}. "
        f"{missing} {'is' if missing == 1 else 'are'} missing to the order-up-to level of {rule.order_up_to}"
    )
    if rule.minimum_order > missing:
        words += f"; the supplier's minimum order is {rule.minimum_order}"
    if rule.pack > 1:
        words += f"; a pack holds {rule.pack}, so order {packs} {'pack' if packs == 1 else 'packs'}, {quantity}."
    else:
        words += f"; order {quantity}."
    return Reorder(position, quantity, packs, words)


def _packs(quantity: int, pack: int) -> int:
    return -(-quantity // pack)
