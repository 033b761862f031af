"""A step while it is being read: what it has released so far, and what may still turn out to be released."""

from dataclasses import dataclass, field

from app.rules.narration.company import Act
from app.rules.narration.drivers import Driver
from app.rules.narration.mentions import Mention
from app.rules.narration.shapes import Verb
from app.rules.sheet import FixingKind, ReuseClass


@dataclass(slots=True)
class Released:
    """A fixing of a step. ``first`` and ``last`` bound its words, in tokens."""

    mention: Mention
    kind: FixingKind
    count: int | None
    exact: bool
    first: int
    last: int
    reuse: ReuseClass | None = None
    scrap: tuple[int, int] | None = None
    doubt: str | None = None


@dataclass(slots=True)
class Building:
    """A step from token ``start`` on; ``verb`` is None while only a tool was taken up or a fixing shown."""

    start: int
    verb: Verb | None = None
    act: Act | None = None
    title: tuple[int, int] | None = None
    fixings: list[Released] = field(default_factory=list)
    units: list[Mention] = field(default_factory=list)
    tools: list[Mention] = field(default_factory=list)
    drivers: list[tuple[int, Driver]] = field(default_factory=list)
    cautions: list[tuple[int, int]] = field(default_factory=list)
    inspections: list[tuple[int, int]] = field(default_factory=list)
    kept: list[tuple[int, int]] = field(default_factory=list)
    only_latch: bool = False
    asked: str | None = None

    def has(self, mention: Mention) -> bool:
        """Say whether the mention is one of its fixings or units already."""
        return any(found.mention is mention for found in self.fixings) or any(u is mention for u in self.units)
