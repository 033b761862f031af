"""A, B and C parts by annual value, and the service each class is promised."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import Final

A_SHARE: Final = Decimal("0.80")
B_SHARE: Final = Decimal("0.95")


class ValueClass(StrEnum):
    """A: the few parts that make 80 % of the annual value; B: the next, up to 95 %; C: the many others."""

    A = "A"
    B = "B"
    C = "C"


@dataclass(frozen=True, slots=True)
class ServiceTargets:
    """Cycle service level by class, and of parts marked critical by hand: shares between 0 and 1.

    The cycle service level is the share of order cycles in which nothing runs out before the order arrives; it is
    not the share of pieces handed out at once (fill rate). Raises ValueError outside 0.5 to 0.9999.
    """

    a: float = 0.95
    b: float = 0.95
    c: float = 0.90
    critical: float = 0.99

    def __post_init__(self) -> None:
        if not all(0.5 <= level <= 0.9999 for level in (self.a, self.b, self.c, self.critical)):
            raise ValueError("a cycle service level lies between 50 % and 99.99 %")

    def level(self, value_class: ValueClass, critical: bool) -> float:
        """Return the level a part is promised."""
        return self.critical if critical else {"A": self.a, "B": self.b, "C": self.c}[value_class.value]


def value_classes(annual_values: Mapping[str, Decimal] | Sequence[tuple[str, Decimal]]) -> dict[str, ValueClass]:
    """Class parts by cumulated annual value (rate a year × unit price), greatest first: A to 80 %, B to 95 %.

    The part that crosses a limit still belongs to the class before it. Parts of equal value stand by number; parts
    without value are C. Raises ValueError for a negative value.
    """
    pairs = list(annual_values.items()) if isinstance(annual_values, Mapping) else list(annual_values)
    if any(value < 0 for _part, value in pairs):
        raise ValueError("an annual value is not negative")
    total = sum((value for _part, value in pairs), Decimal(0))
    found: dict[str, ValueClass] = {}
    before = Decimal(0)
    for part, value in sorted(pairs, key=lambda pair: (-pair[1], pair[0])):
        if value == 0 or before >= B_SHARE * total:
            found[part] = ValueClass.C
        else:
            found[part] = ValueClass.A if before < A_SHARE * total else ValueClass.B
        before += value
    return found
