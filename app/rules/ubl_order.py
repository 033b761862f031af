"""An order to a supplier as an XML document of the open standard OASIS UBL 2.3 (ISO/IEC 19845), type Order.

Elements stand in the sequence of the standard's schemas UBL-Order-2.3.xsd and UBL-CommonAggregateComponents-2.3.xsd
(OASIS Standard, 15 June 2021), from memory; those that are optional and say nothing here are left out.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from xml.etree import ElementTree as ET

ORDER = "urn:oasis:names:specification:ubl:schema:xsd:Order-2"
CAC = "urn:oasis:names:specification:ubl:schema:xsd:CommonAggregateComponents-2"
CBC = "urn:oasis:names:specification:ubl:schema:xsd:CommonBasicComponents-2"

UNIT_CODES = {
    "each": "C62", "piece": "C62", "pair": "PR", "set": "SET", "m": "MTR", "cm": "CMT", "mm": "MMT", "g": "GRM",
    "kg": "KGM", "ml": "MLT", "l": "LTR", "roll": "RO", "sheet": "ST", "pack": "PK", "bottle": "BO", "tube": "TU",
}  # fmt: skip
"""Codes of UN/ECE Recommendation 20 and 21 for our units, from memory; any other unit is a count of pieces (C62)."""


@dataclass(frozen=True, slots=True)
class UblParty:
    """A buyer or seller: name, own code if any, e-mail and address as it is written."""

    name: str
    code: str = ""
    email: str = ""
    address: str = ""
    contact: str = ""


@dataclass(frozen=True, slots=True)
class UblLine:
    """An order line in stock units; ``price`` a stock unit, to 4 decimals."""

    name: str
    buyer_number: str
    seller_number: str
    gtin: str
    quantity: int
    unit: str
    price: Decimal
    total: Decimal


@dataclass(frozen=True, slots=True)
class UblOrder:
    """What the document says. ``totals`` of lines are rounded to the currency's minor unit."""

    number: str
    issued: datetime
    note: str
    currency: str
    wanted_on: date
    buyer: UblParty
    seller: UblParty
    lines: Sequence[UblLine]

    @property
    def total(self) -> Decimal:
        """Sum of the lines."""
        return sum((line.total for line in self.lines), Decimal(0))


def ubl_order(order: UblOrder) -> bytes:
    """Return the document, UTF-8 with an XML declaration. Raises ValueError for an order without lines."""
    if not order.lines:
        raise ValueError("a UBL order has at least one line")
    root = ET.Element(f"{{{ORDER}}}Order")
    _add(root, "UBLVersionID", "2.3")
    _add(root, "ID", order.number)
    _add(root, "IssueDate", order.issued.date().isoformat())
    _add(root, "IssueTime", order.issued.strftime("%H:%M:%SZ"))
    if order.note:
        _add(root, "Note", order.note)
    _add(root, "DocumentCurrencyCode", order.currency)
    _add(root, "LineCountNumeric", str(len(order.lines)))
    _party(_group(root, "BuyerCustomerParty"), order.buyer)
    _party(_group(root, "SellerSupplierParty"), order.seller)
    period = _group(_group(root, "Delivery"), "RequestedDeliveryPeriod")
    _add(period, "EndDate", order.wanted_on.isoformat())
    _amount(_group(root, "AnticipatedMonetaryTotal"), "PayableAmount", order.total, order.currency)
    for number, line in enumerate(order.lines, 1):
        _line(_group(_group(root, "OrderLine"), "LineItem"), number, line, order.currency)
    for prefix, name in (("", ORDER), ("cac", CAC), ("cbc", CBC)):
        ET.register_namespace(prefix, name)
    ET.indent(root)
    found: bytes = ET.tostring(root, encoding="UTF-8", xml_declaration=True)
    return found


def _group(above: ET.Element, name: str) -> ET.Element:
    return ET.SubElement(above, f"{{{CAC}}}{name}")


def _add(above: ET.Element, name: str, text: str, **attributes: str) -> None:
    ET.SubElement(above, f"{{{CBC}}}{name}", attributes).text = _printable(text)


def _printable(text: str) -> str:
    """Leave out control characters: XML 1.0 has no way to write them."""
    return "".join(c for c in text if c in "\t\n" or c >= " ")


def _amount(above: ET.Element, name: str, amount: Decimal, currency: str) -> None:
    _add(above, name, f"{amount:f}", currencyID=currency)


def _party(above: ET.Element, party: UblParty) -> None:
    inside = _group(above, "Party")
    if party.code:
        _add(_group(inside, "PartyIdentification"), "ID", party.code)
    _add(_group(inside, "PartyName"), "Name", party.name)
    if party.address:
        address = _group(inside, "PostalAddress")
        for line in party.address.splitlines():
            if line.strip():
                _add(_group(address, "AddressLine"), "Line", line.strip())
    if party.email or party.contact:
        contact = _group(inside, "Contact")
        if party.contact:
            _add(contact, "Name", party.contact)
        if party.email:
            _add(contact, "ElectronicMail", party.email)


def _line(item: ET.Element, number: int, line: UblLine, currency: str) -> None:
    unit = UNIT_CODES.get(line.unit.casefold(), "C62")
    _add(item, "ID", str(number))
    _add(item, "Quantity", str(line.quantity), unitCode=unit)
    _amount(item, "LineExtensionAmount", line.total, currency)
    price = _group(item, "Price")
    _amount(price, "PriceAmount", line.price, currency)
    _add(price, "BaseQuantity", "1", unitCode=unit)
    what = _group(item, "Item")
    _add(what, "Name", line.name)
    _add(_group(what, "BuyersItemIdentification"), "ID", line.buyer_number)
    if line.seller_number:
        _add(_group(what, "SellersItemIdentification"), "ID", line.seller_number)
    if line.gtin:
        _add(_group(what, "StandardItemIdentification"), "ID", line.gtin, schemeID="0160")
