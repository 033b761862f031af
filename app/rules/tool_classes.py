"""How a tool can be had, which gives its class after EN 45554 and its score in the ease of repair index."""

import re
from enum import StrEnum
from typing import Final

from app.rules.sheet import Tool


class ToolAccess(StrEnum):
    """How a tool can be had. Classes of EN 45554:2020, from memory: A to E by how hard it is to have."""

    BASIC = "basic"
    WITH_DEVICE = "comes with the device"
    WITH_SPARE = "comes with the spare part"
    GROUP = "made for this kind of device"
    MARKET = "on the market"
    MAKER = "from the maker only"
    NONE_EXISTS = "no tool does it"

    @property
    def en_class(self) -> str:
        """The tool class of EN 45554: A basic or supplied, B for the product group, C market, D maker, E none."""
        return _EN_CLASS[self]


_EN_CLASS: Final = {
    ToolAccess.BASIC: "A",
    ToolAccess.WITH_DEVICE: "A",
    ToolAccess.WITH_SPARE: "A",
    ToolAccess.GROUP: "B",
    ToolAccess.MARKET: "C",
    ToolAccess.MAKER: "D",
    ToolAccess.NONE_EXISTS: "E",
}

# The list of basic tools in EU 2023/1670, Annex I: drivers for slotted, cross and hexalobular heads, hexagon keys,
# wrenches, pliers of several kinds, a prying lever, tweezers, a magnifying glass, a spudger and a pick. Known from a
# secondary text.
_BASIC_SIZE: Final = re.compile(r"(T|TX|PH|PZ|SL|H|HEX)\s?\d+(\.\d+)?")
_BASIC_WORDS: Final = re.compile(
    r"\b(screwdriver|hexagon key|hex key|wrench|spanner|pliers|cutters?|prying lever|lever|tweezers|magnifier|"
    r"magnifying glass|spudger|picks?|blade)\b",
    re.IGNORECASE,
)


def usual_access(tool: Tool) -> ToolAccess:
    """Return how a tool can usually be had, by its driver size and name: basic, or on the market.

    A guess from words, to be corrected by hand where it is wrong; a tool it does not know is taken to be on the
    market, which scores lower.
    """
    if tool.size and _BASIC_SIZE.fullmatch(tool.size.strip().upper()):
        return ToolAccess.BASIC
    return ToolAccess.BASIC if _BASIC_WORDS.search(tool.name) else ToolAccess.MARKET
