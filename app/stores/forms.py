"""Forms of the stores room, and the rows of a catalogue file."""

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from decimal import Decimal
from typing import Annotated, Any, Self, TypeVar

from pydantic import AfterValidator, BaseModel, BeforeValidator, Field, model_validator

from app.platform.errors import Refused
from app.platform.forms import Form, RawForm, check
from app.rules.identifiers import clean_gtin
from app.rules.sheet import WasteStream
from app.rules.stores.supplier_returns import ReturnReason

R = TypeVar("R", bound=BaseModel)
WHOLE_MAX = 1_000_000


def _folded(value: Any) -> Any:
    return " ".join(value.split()) if isinstance(value, str) else value


def _code(value: str) -> str:
    if any(c.isspace() or c in "/?#%&\\" for c in value):
        raise ValueError("Use letters, digits, dashes and dots, without spaces or slashes")
    return value


def _gtin(value: str | None) -> str | None:
    if not value:
        return None
    try:
        return clean_gtin(value)
    except Refused as refusal:
        raise ValueError(refusal.reason) from refusal


def _yes(value: Any) -> Any:
    words = {"yes": True, "y": True, "1": True, "true": True, "no": False, "n": False, "0": False, "false": False}
    return words.get(value.strip().casefold(), value) if isinstance(value, str) else value


Text = Annotated[str, BeforeValidator(_folded)]
Code = Annotated[str, BeforeValidator(_folded), AfterValidator(_code)]
Whole = Annotated[int, Field(ge=0, le=WHOLE_MAX)]
Price = Annotated[Decimal, Field(ge=0, le=Decimal(1_000_000), max_digits=11, decimal_places=4)]
Gtin = Annotated[str | None, AfterValidator(_gtin)]
Flag = Annotated[bool, BeforeValidator(_yes)]


class PartFields(BaseModel):
    """What a part is made of, the same in the form and in a catalogue file. ``supplier``, ``location`` are codes."""

    name: Annotated[Text, Field(min_length=1, max_length=120)]
    unit: Annotated[Text, Field(min_length=1, max_length=16)] = "each"
    location: Code
    supplier: Code
    supplier_number: Annotated[Text, Field(max_length=48)] = ""
    pack: Annotated[int, Field(ge=1, le=WHOLE_MAX)] = 1
    minimum_order: Annotated[int, Field(ge=1, le=WHOLE_MAX)] = 1
    lead_time_days: Annotated[int, Field(ge=0, le=999)] = 7
    price: Price
    shelf_life_days: Annotated[int | None, Field(ge=1, le=9999)] = None
    reorder_point: Whole = 0
    order_up_to: Whole = 0
    waste_stream: WasteStream = WasteStream.RESIDUAL
    gtin: Gtin = None
    serial_tracked: Flag = False
    note: Annotated[Text, Field(max_length=500)] = ""

    @model_validator(mode="after")
    def _levels_fit(self) -> Self:
        if self.order_up_to < self.reorder_point:
            raise ValueError(
                f"The order-up-to level of {self.order_up_to} is below the reorder point of {self.reorder_point}"
            )
        return self


class PartForm(PartFields):
    """A new part, or an edit of one."""

    number: Annotated[Code, Field(min_length=1, max_length=32)] = ""
    active: Flag = False
    version: int | None = None


class CataloguePart(PartFields):
    """A row of parts.csv."""

    number: Annotated[Code, Field(min_length=1, max_length=32)]


class CatalogueSupplier(BaseModel):
    """A row of suppliers.csv, and the form of a supplier."""

    code: Annotated[Code, Field(min_length=1, max_length=32)]
    name: Annotated[Text, Field(min_length=1, max_length=120)]
    email: Annotated[Text, Field(max_length=120)] = ""
    address: Annotated[str, Field(max_length=300)] = ""


class CatalogueLocation(BaseModel):
    """A row of locations.csv, and the form of a location."""

    code: Annotated[Code, Field(min_length=1, max_length=24)]
    name: Annotated[Text, Field(max_length=120)] = ""
    walk_order: Annotated[int, Field(ge=0, le=WHOLE_MAX)] = 0


class LooseForm(BaseModel):
    """Goods received without an order."""

    quantity: Annotated[int, Field(ge=1, le=WHOLE_MAX)]
    lot_code: Annotated[Text, Field(max_length=48)] = ""
    expires_on: date | None = None
    unit_cost: Price
    location: Code
    reason: Annotated[Text, Field(min_length=1, max_length=300)]


class LotForm(BaseModel):
    """Something done to a lot at a location: ``place`` is ``<lot id>:<location id>``."""

    place: Annotated[str, Field(pattern=r"^\d{1,9}:\d{1,9}$")]
    quantity: Annotated[int, Field(ge=1, le=WHOLE_MAX)]

    @property
    def lot_id(self) -> int:
        """The lot's id."""
        return int(self.place.split(":")[0])

    @property
    def location_id(self) -> int:
        """The location's id."""
        return int(self.place.split(":")[1])


class ScrapForm(LotForm):
    """Scrap of stock on the shelf."""

    reason: Annotated[Text, Field(min_length=1, max_length=300)]


class TransferForm(LotForm):
    """A move of stock to another place."""

    to_location: Code


class OrderHead(BaseModel):
    """An order about to be placed; its lines are in fields such as ``quantity-H2-110``."""

    supplier: int
    expected_on: date
    note: Annotated[Text, Field(max_length=300)] = ""


class OrderLineFields(BaseModel):
    """One line of an order form."""

    quantity: Whole = 0
    price: Price


class ReceiptFields(BaseModel):
    """What came of one order line; quantity 0 for nothing."""

    quantity: Whole = 0
    lot_code: Annotated[Text, Field(max_length=48)] = ""
    expires_on: date | None = None
    unit_cost: Price
    location: Code
    quarantine: Annotated[Text, Field(max_length=300)] = ""


class CountFields(BaseModel):
    """One lot in a stocktake form; ``book`` is what the counter was shown."""

    counted: Whole | None = None
    book: Whole
    reason: Annotated[Text, Field(max_length=300)] = ""


class BlindCountFields(BaseModel):
    """One lot in a blind stocktake."""

    counted: Whole | None = None
    reason: Annotated[Text, Field(max_length=300)] = ""


class VersionForm(BaseModel):
    """A button that acts on what was shown."""

    version: int


class FoundLotForm(BaseModel):
    """A lot found at a place where the book has none of it."""

    found_part: Code
    found_lot: Annotated[Text, Field(min_length=1, max_length=48)]
    found_count: Annotated[int, Field(ge=1, le=WHOLE_MAX)]


Percent = Annotated[Decimal, Field(ge=0, le=1000, decimal_places=2)]
Level = Annotated[Decimal, Field(ge=50, le=Decimal("99.99"), decimal_places=2)]
Reason = Annotated[Text, Field(min_length=1, max_length=300)]


class OverrideForm(BaseModel):
    """Another quantity than the suggested one, and why."""

    quantity: Whole
    reason: Reason


class PolicyForm(BaseModel):
    """The storeroom's policy; shares as percentages."""

    order_cost: Price
    holding: Percent
    review_days: Annotated[int, Field(ge=1, le=60)]
    service_a: Level
    service_b: Level
    service_c: Level
    service_critical: Level
    version: int


class PartPolicyForm(BaseModel):
    """What is set by hand for a part."""

    critical: Flag = False
    uses_per_job: Price = Decimal(0)
    jobs_per_device_year: Price = Decimal(0)
    devices: Whole = 0


class TermsForm(BaseModel):
    """A supplier's terms."""

    minimum_value: Price = Decimal(0)
    freight: Price = Decimal(0)
    free_from: Price | None = None


class PricesForm(BaseModel):
    """A supplier's prices for a part, one a line: ``from quantity: price``."""

    supplier: int
    prices: Annotated[str, Field(max_length=2000)] = ""


class ConfirmForm(BaseModel):
    """The day that a supplier promises."""

    version: int
    confirmed_on: date
    words: Annotated[Text, Field(max_length=200)] = ""


class ChaseForm(BaseModel):
    """What a supplier answered about a late order."""

    version: int
    words: Annotated[Text, Field(min_length=1, max_length=200)]
    expected_on: date | None = None


class AsideForm(BaseModel):
    """A lot set aside, or released again."""

    lot_id: int
    reason: Reason


class SendBackForm(LotForm):
    """Goods of an order that go back to the supplier."""

    why: ReturnReason = ReturnReason.FAULTY
    reason: Reason
    replaced: Flag = False


def check_lines(model: type[R], raw: RawForm, keys: Iterable[str]) -> tuple[dict[str, R], dict[str, str]]:
    """Check the fields ``<name>-<key>`` of each key; returns the good lines by key, and errors by field name."""
    good: dict[str, R] = {}
    errors: dict[str, str] = {}
    for key in keys:
        form = check(model, RawForm({name: raw.all(f"{name}-{key}") for name in model.model_fields}))
        if form.data is not None:
            good[key] = form.data
        errors |= {f"{name}-{key}": message for name, message in form.errors.items()}
    return good, errors


def with_errors(form: Form[Any], errors: Mapping[str, str]) -> Form[Any]:
    """Return a form with the errors of its lines beside its own."""
    return replace(form, errors={**form.errors, **errors}, data=None) if errors else form


@dataclass(frozen=True)
class RowError:
    """What is wrong in a row of a file, and what to do; the heading is row 1."""

    file: str
    row: int
    column: str
    message: str


@dataclass(frozen=True)
class ImportReport:
    """What an import does or did: errors by row, and what is new, changed and the same, as ``part H2-110``."""

    errors: tuple[RowError, ...] = ()
    added: tuple[str, ...] = ()
    changed: tuple[str, ...] = ()
    same: int = 0
    stored: bool = False

    @property
    def ready(self) -> bool:
        """Whether it can be imported: no errors, and at least one row."""
        return not self.errors and bool(self.added or self.changed or self.same)


def check_row(model: type[R], file: str, number: int, row: Mapping[str, str]) -> tuple[R | None, list[RowError]]:
    """Check one row of a catalogue file; returns the data, or what is wrong by column."""
    extra = [name for name in row if name not in model.model_fields]
    if extra:
        words = f"There is no column {extra[0]}. Columns are: {', '.join(model.model_fields)}."
        return None, [RowError(file, number, extra[0], words)]
    form = check(model, RawForm({name: (value or "",) for name, value in row.items()}))
    if form.data is not None:
        return form.data, []
    errors = [RowError(file, number, name, message) for name, message in form.errors.items()]
    if form.refusal:
        errors.append(RowError(file, number, "", form.refusal))
    return None, errors


def read_csv(body: bytes | str) -> list[dict[str, str]]:
    """Read a CSV file into rows by column name: UTF-8 with or without mark, comma, semicolon or tab.

    Raises Refused for what is no text or has no rows. A row with more fields than the heading is refused too.
    """
    if isinstance(body, bytes):
        try:
            body = body.decode("utf-8-sig")
        except UnicodeDecodeError as error:
            raise Refused("The file is not UTF-8 text. Save it as CSV in UTF-8 and send it again.") from error
    text = body.lstrip("\ufeff").strip("\r\n ")
    if not text.strip():
        raise Refused("The file is empty. It needs a heading row and at least one row under it.")
    heading = text.splitlines()[0]
    delimiter = max(",;\t", key=heading.count)
    return list(_rows(text, delimiter))


def _rows(text: str, delimiter: str) -> Iterator[dict[str, str]]:
    reader = csv.reader(io.StringIO(text), delimiter=delimiter, strict=True)
    try:
        heading = [name.strip().casefold().replace(" ", "_") for name in next(reader)]
        if len(set(heading)) != len(heading):
            raise Refused("Two columns have the same heading. Keep one of them.")
        count = 0
        for fields in reader:
            count += 1
            if len(fields) > len(heading):
                raise Refused(
                    f"Row {count + 1} has {len(fields)} fields, the heading {len(heading)}. Put text that has a "
                    "comma in it in double quotes."
                )
            yield dict(zip(heading, (*fields, *[""] * (len(heading) - len(fields))), strict=True))
    except csv.Error as error:
        raise Refused(f"Row {reader.line_num} cannot be read as CSV: {error}.") from error
    if count == 0:
        raise Refused("The file has a heading and no rows.")
