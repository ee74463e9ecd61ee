"""An order as an OASIS UBL 2.1 Order document, for a supplier whose program reads orders by itself.

Elements and their order are those of UBL-Order-2.1.xsd (OASIS Standard, 4 November 2013); units are UN/ECE
Recommendation 20 codes, amounts exact decimals ex VAT. No element is empty, as the standard asks. Knows nothing of
files, and expects texts that print; called by `orderdocs`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from types import MappingProxyType
from typing import TYPE_CHECKING, NamedTuple

from vanstock.orderdoc import OrderDoc, OrderDocLine
from vanstock.quantity import format_money, format_price, format_qty

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

_SCHEMA = "urn:oasis:names:specification:ubl:schema:xsd"
_SPACES = MappingProxyType(
    {
        "xmlns": f"{_SCHEMA}:Order-2",
        "xmlns:cac": f"{_SCHEMA}:CommonAggregateComponents-2",
        "xmlns:cbc": f"{_SCHEMA}:CommonBasicComponents-2",
    }
)
_GTIN = MappingProxyType({"schemeID": "GTIN", "schemeAgencyID": "9"})
"""UN/EDIFACT data element 3055: agency 9 is GS1."""
_NOTHING: Mapping[str, str] = MappingProxyType({})


class Node(NamedTuple):
    """An element: its name, its text or what stands in it, its attributes."""

    name: str
    inside: str | Sequence[Node]
    attributes: Mapping[str, str] = _NOTHING


def as_xml(doc: OrderDoc, notes: Sequence[str], packs: Sequence[str]) -> bytes:
    """The order as one UTF-8 document, with `notes` at its head and a note on each line where `packs` has one."""
    from xml.etree import ElementTree

    lines = [
        _line(number, line, note, doc.currency)
        for number, (line, note) in enumerate(zip(doc.lines, packs, strict=True), 1)
    ]
    nodes = [*_head(doc, notes), *_parties(doc), *_delivery(doc), *_sums(doc), *lines]
    root = _element(Node("Order", nodes, _SPACES))
    ElementTree.indent(root)
    content: bytes = ElementTree.tostring(root, encoding="UTF-8", xml_declaration=True)
    return content + b"\n"


def _element(node: Node) -> Element:
    """The element; what is in it without text or elements of its own is left out."""
    from xml.etree.ElementTree import Element

    made = Element(node.name, dict(node.attributes))
    if isinstance(node.inside, str):
        made.text = node.inside
    else:
        made.extend(child for child in map(_element, node.inside) if child.text or len(child))
    return made


def _head(doc: OrderDoc, notes: Sequence[str]) -> Iterator[Node]:
    yield Node("cbc:UBLVersionID", "2.1")
    yield Node("cbc:ID", doc.number)
    yield Node("cbc:IssueDate", doc.day.isoformat())
    yield from (Node("cbc:Note", note) for note in notes)
    yield Node("cbc:DocumentCurrencyCode", doc.currency)
    yield Node("cbc:LineCountNumeric", str(len(doc.lines)))


def _parties(doc: OrderDoc) -> Iterator[Node]:
    """Who orders and who sells; the two parties must be there even when nothing is known of one."""
    yield Node("cac:BuyerCustomerParty", [Node("cac:Party", [_name(doc.firm or "not given")])])
    supplier = doc.supplier
    contact = Node("cac:Contact", [Node("cbc:ElectronicMail", supplier.email)])
    account = Node("cbc:CustomerAssignedAccountID", supplier.supplier)
    party = Node("cac:Party", [_name(supplier.name or supplier.supplier), contact])
    yield Node("cac:SellerSupplierParty", [account, party])


def _name(text: str) -> Node:
    return Node("cac:PartyName", [Node("cbc:Name", text)])


def _delivery(doc: OrderDoc) -> Iterator[Node]:
    if doc.expected is not None:
        until = Node("cbc:EndDate", doc.expected.isoformat())
        yield Node("cac:Delivery", [Node("cac:RequestedDeliveryPeriod", [until])])


def _sums(doc: OrderDoc) -> Iterator[Node]:
    """The carriage as a charge on the whole order, and the totals with it."""
    if doc.carriage:
        charge = (Node("cbc:ChargeIndicator", "true"), Node("cbc:AllowanceChargeReason", "carriage"))
        yield Node("cac:AllowanceCharge", [*charge, _amount("Amount", doc.carriage, doc.currency)])
    totals = (
        ("LineExtensionAmount", doc.goods), ("TaxExclusiveAmount", doc.total), ("ChargeTotalAmount", doc.carriage),
        ("PayableAmount", doc.total),
    )  # fmt: skip
    yield Node("cac:AnticipatedMonetaryTotal", [_amount(name, pence, doc.currency) for name, pence in totals])


def _amount(name: str, pence: int, currency: str) -> Node:
    return Node(f"cbc:{name}", format_money(pence), {"currencyID": currency})


def _line(number: int, line: OrderDocLine, packs: str, currency: str) -> Node:
    code = line.part.unit
    price = Node("cbc:PriceAmount", format_price(line.price), {"currencyID": currency})
    per = Node("cbc:BaseQuantity", "1", {"unitCode": code})
    inside = (
        Node("cbc:ID", str(number)),
        Node("cbc:Note", packs),
        Node("cbc:Quantity", format_qty(line.qty, code), {"unitCode": code}),
        _amount("LineExtensionAmount", line.cost, currency),
        Node("cac:Price", [price, per]),
        _item(line),
    )
    return Node("cac:OrderLine", [Node("cac:LineItem", inside)])


def _item(line: OrderDocLine) -> Node:
    part = line.part
    inside = (
        Node("cbc:Description", part.description),
        Node("cbc:Name", part.description or part.part),
        Node("cac:BuyersItemIdentification", [Node("cbc:ID", part.part)]),
        Node("cac:SellersItemIdentification", [Node("cbc:ID", part.supplier_part)]),
        Node("cac:StandardItemIdentification", [Node("cbc:ID", part.gtin, _GTIN)]),
    )
    return Node("cac:Item", inside)
