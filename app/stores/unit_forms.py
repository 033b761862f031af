"""Forms of alternates, old units and returns to suppliers."""

from decimal import Decimal
from typing import Annotated

from pydantic import BaseModel, Field

from app.rules.stores.supplier_returns import ReturnReason
from app.rules.stores.units import UnitKind
from app.stores.forms import Code, Flag, LotForm, Price, Reason, Text

Words = Annotated[Text, Field(max_length=300)]


class ProposeForm(BaseModel):
    """A part that may be used in place of another."""

    alternate: Annotated[Code, Field(min_length=1, max_length=32)]
    reason: Reason
    fits_from: Annotated[Text, Field(max_length=120)] = ""
    both_ways: Flag = False


class PairForm(BaseModel):
    """A pair of parts, to be approved."""

    part: Annotated[Code, Field(min_length=1, max_length=32)]
    alternate: Annotated[Code, Field(min_length=1, max_length=32)]


class WithdrawForm(PairForm):
    """A pair of parts, withdrawn with a reason."""

    why: Reason


class RoundForm(BaseModel):
    """How a part goes round."""

    kind: UnitKind
    core_charge: Price = Decimal(0)
    core_days: Annotated[int, Field(ge=1, le=999)] = 30


class OldUnitForm(BaseModel):
    """An old unit that is brought to the stores by hand."""

    serial: Annotated[Text, Field(max_length=48)] = ""
    defective: Flag = False


class WordsForm(BaseModel):
    """What is done with a unit, in words where the deed needs any."""

    words: Words = ""


class MoveForm(BaseModel):
    """Where a unit is put."""

    location: Code


class MendedForm(WordsForm):
    """A repaired unit, at the cost of its repair."""

    cost: Price


class CoreForm(WordsForm):
    """A core on its way back to the supplier."""

    by_air: Flag = False


class GoodsBackForm(LotForm):
    """Goods that go back without an order, or of one."""

    why: ReturnReason
    reason: Reason


class CloseReturnForm(BaseModel):
    """The supplier's answer: the amount of the credit note; empty when the replacement came."""

    credited: Price | None = None
    note: Words = ""
