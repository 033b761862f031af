"""Rows of tables of stock and prices, and the form that takes a table in."""

from datetime import date
from typing import Annotated, Literal

from pydantic import BaseModel, Field

from app.stores.forms import WHOLE_MAX, Code, Price, Text


class TableForm(BaseModel):
    """A file to take in: uploaded, or pasted."""

    kind: Literal["parts", "suppliers", "locations", "stock", "prices"] = "parts"
    text: Annotated[str, Field(max_length=1_000_000)] = ""


class StockRow(BaseModel):
    """A row of a table of stock: what lies where, in which lot. No place: the part's own."""

    part: Annotated[Code, Field(min_length=1, max_length=32)]
    lot: Annotated[Text, Field(max_length=48)] = ""
    quantity: Annotated[int, Field(ge=1, le=WHOLE_MAX)]
    expires_on: date | None = None
    unit_cost: Price
    location: Annotated[Code, Field(max_length=24)] = ""


class PriceRow(BaseModel):
    """A row of a table of prices: from this quantity on, each piece costs this."""

    part: Annotated[Code, Field(min_length=1, max_length=32)]
    supplier: Annotated[Code, Field(min_length=1, max_length=32)]
    from_quantity: Annotated[int, Field(ge=1, le=WHOLE_MAX)] = 1
    unit_price: Price
