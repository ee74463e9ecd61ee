"""The UBL Order against the OASIS schema, the standard's own example, and its rules for what a document may hold.

Source: OASIS Standard "Universal Business Language Version 2.1" (4 November 2013): maindoc/UBL-Order-2.1.xsd, kept in
data/ubl_order_schema.zip, and the figures of xml/UBL-Order-2.1-Example.xml.
"""

from __future__ import annotations

import re
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from zipfile import ZipFile

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lxml import etree
from stdnum import ean

from vanstock.exchange.orderdocs import as_xml
from vanstock.model import Part, Supplier
from vanstock.orderdoc import OrderDoc, OrderDocLine
from vanstock.quantity import UNITS, value_of

SCHEMA = Path(__file__).parents[2] / "data" / "ubl_order_schema.zip"
SPACE = "urn:oasis:names:specification:ubl:schema:xsd"
NAMES = {
    "o": f"{SPACE}:Order-2", "cac": f"{SPACE}:CommonAggregateComponents-2", "cbc": f"{SPACE}:CommonBasicComponents-2",
}  # fmt: skip
DAY = date(2027, 3, 1)


@pytest.fixture(scope="module")
def schema(tmp_path_factory: pytest.TempPathFactory) -> etree.XMLSchema:
    folder = tmp_path_factory.mktemp("schema")
    with ZipFile(SCHEMA) as kept:
        kept.extractall(folder)
    return etree.XMLSchema(etree.parse(str(folder / "maindoc" / "UBL-Order-2.1.xsd")))


def line(part: Part, qty: int, price: int) -> OrderDocLine:
    return OrderDocLine(part, qty, qty // part.pack_size, price, value_of(qty, part.unit, price))


def order(*lines: OrderDocLine, carriage: int = 0) -> OrderDoc:
    goods = sum(row.cost for row in lines)
    return OrderDoc("O0007", DAY, Supplier("WEEK"), "A Firm", "GBP", None, None, lines, goods, carriage)


def written(doc: OrderDoc, folder: Path) -> etree._Element:
    path = folder / "order.xml"
    as_xml(path, doc)
    return etree.fromstring(path.read_bytes())


def found(root: etree._Element, path: str) -> list[str]:
    elements = root.xpath(path, namespaces=NAMES)
    assert isinstance(elements, list)
    return [str(element if isinstance(element, str) else element.text) for element in elements]  # type: ignore[union-attr]


def amounts(root: etree._Element, path: str) -> list[Decimal]:
    return [Decimal(text) for text in found(root, path)]


@st.composite
def orders(draw: st.DrawFn) -> OrderDoc:
    """Orders of anything in any unit, with any text in them, known and unknown days, with and without carriage."""
    texts = st.text(max_size=60) | st.sampled_from(
        ["", "=1+1", "\"quoted\", and 'so'", "<b>&amp;</b>", "]]>", "x" * 200]
    )

    def one() -> OrderDocLine:
        unit = draw(st.sampled_from(sorted(UNITS)))
        pack = draw(st.integers(1, 10**6))
        part = Part(
            draw(texts.filter(str.strip)), draw(texts), unit=unit, pack_size=pack, supplier_part=draw(texts),
            gtin=draw(st.sampled_from(["", "9520000000356"])),
        )  # fmt: skip
        return line(part, draw(st.integers(1, 1000)) * pack, draw(st.integers(0, 10**7)))

    doc = order(*(one() for _ in range(draw(st.integers(1, 4)))), carriage=draw(st.integers(0, 5000)))
    return doc._replace(
        supplier=Supplier(draw(texts.filter(str.strip)), draw(texts), email=draw(texts)), firm=draw(texts),
        note=draw(texts), cutoff=draw(st.none() | st.just(datetime(2027, 3, 2, 12))),
        expected=draw(st.none() | st.dates(date(2027, 3, 1), date(2027, 12, 31))),
    )  # fmt: skip


@settings(max_examples=150, deadline=None)
@given(doc=orders())
def test_whatever_is_ordered_the_document_is_valid_by_the_schema_and_adds_up(
    schema: etree.XMLSchema, tmp_path_factory: pytest.TempPathFactory, doc: OrderDoc
) -> None:
    root = written(doc, tmp_path_factory.mktemp("order"))
    schema.assertValid(root)
    lines = amounts(root, "//cac:LineItem/cbc:LineExtensionAmount")
    (goods,) = amounts(root, "cac:AnticipatedMonetaryTotal/cbc:LineExtensionAmount")
    (charges,) = amounts(root, "cac:AnticipatedMonetaryTotal/cbc:ChargeTotalAmount")
    (payable,) = amounts(root, "cac:AnticipatedMonetaryTotal/cbc:PayableAmount")
    assert sum(lines) == goods == Decimal(doc.goods) / 100
    assert sum(amounts(root, "cac:AllowanceCharge[cbc:ChargeIndicator='true']/cbc:Amount")) == charges
    assert goods + charges == payable
    assert amounts(root, "cac:AnticipatedMonetaryTotal/cbc:TaxExclusiveAmount") == [payable]
    quantities = amounts(root, "//cac:LineItem/cbc:Quantity")
    prices = amounts(root, "//cac:Price/cbc:PriceAmount")
    bases = amounts(root, "//cac:Price/cbc:BaseQuantity")
    for quantity, price, base, cost in zip(quantities, prices, bases, lines, strict=True):
        assert abs(quantity * price / base - cost) <= Decimal("0.005")


@settings(max_examples=50, deadline=None)
@given(doc=orders())
def test_no_element_is_empty_and_the_encoding_is_utf_8(tmp_path_factory: pytest.TempPathFactory, doc: OrderDoc) -> None:
    """UBL 2.1, section 4: rules IND3 (UTF-8) and IND5 (no empty elements) (the numbers from memory)."""
    root = written(doc, tmp_path_factory.mktemp("order"))
    assert root.getroottree().docinfo.encoding == "UTF-8"
    assert all(len(element) or (element.text or "").strip() for element in root.iter())


def test_the_schema_refuses_what_stands_in_the_wrong_place(schema: etree.XMLSchema, tmp_path: Path) -> None:
    root = written(order(line(Part("P"), 1, 10_000)), tmp_path)
    assert schema.validate(root)
    root.append(root[0])
    assert not schema.validate(root)


def test_the_published_example_is_reckoned_to_its_own_figures(tmp_path: Path) -> None:
    """UBL-Order-2.1-Example.xml: 120 LTR at 50 is 6000, 15 C62 at 15 is 225, lines 6225; a charge of 100 and an
    allowance of 100, which an order of ours never has, make 6225 to pay."""
    paint = line(Part("A", unit="LTR"), 120_000, 500_000)
    pencils = line(Part("B"), 15, 150_000)
    root = written(order(paint, pencils, carriage=10_000), tmp_path)
    assert found(root, "//cac:LineItem/cbc:ID") == ["1", "2"]
    assert amounts(root, "//cac:LineItem/cbc:Quantity") == [120, 15]
    assert found(root, "//cac:LineItem/cbc:Quantity/@unitCode") == ["LTR", "C62"]
    assert amounts(root, "//cac:LineItem/cbc:LineExtensionAmount") == [6000, 225]
    assert amounts(root, "//cac:Price/cbc:PriceAmount") == [50, 15]
    assert found(root, "//cac:Price/cbc:BaseQuantity/@unitCode") == ["LTR", "C62"]
    assert amounts(root, "//cac:Price/cbc:BaseQuantity") == [1, 1]
    totals = "cac:AnticipatedMonetaryTotal/cbc"
    assert amounts(root, f"{totals}:LineExtensionAmount") == [6225]
    assert amounts(root, f"{totals}:ChargeTotalAmount") == [100]
    assert amounts(root, f"{totals}:PayableAmount") == [6225 + 100]
    allowance = 100
    assert amounts(root, f"{totals}:PayableAmount")[0] - allowance == 6225


@pytest.mark.parametrize(
    ("code", "qty", "text"),
    [("C62", 12, "12"), ("PR", 50, "50"), ("LTR", 2_500, "2.5"), ("MTR", 600, "0.6"), ("KGM", 20_001, "20.001")],
)
def test_quantities_are_exact_in_the_units_of_recommendation_20(code: str, qty: int, text: str, tmp_path: Path) -> None:
    """UN/ECE Recommendation 20: C62 one, PR pair, LTR litre, MTR metre, KGM kilogram."""
    root = written(order(line(Part("P", unit=code), qty, 10_000)), tmp_path)
    assert found(root, "//cac:LineItem/cbc:Quantity") == [text]
    assert found(root, "//cac:LineItem/cbc:Quantity/@unitCode") == [code]


def test_a_price_of_less_than_a_penny_keeps_its_four_decimals(tmp_path: Path) -> None:
    root = written(order(line(Part("P", pack_size=100), 300, 345)), tmp_path)
    assert found(root, "//cbc:PriceAmount") == ["0.0345"]
    assert found(root, "//cac:LineItem/cbc:LineExtensionAmount") == ["10.35"]
    assert found(root, "//cac:LineItem/cbc:Note") == ["3 packs of 100"]


def test_an_item_has_both_parties_numbers_and_its_gtin_where_they_are_known(tmp_path: Path) -> None:
    known = Part("FLU-1", "fluid", supplier_part="S 1", gtin="9520000000356")
    root = written(order(line(known, 1, 10_000), line(Part("HOS-1"), 1, 10_000)), tmp_path)
    assert found(root, "//cac:BuyersItemIdentification/cbc:ID") == ["FLU-1", "HOS-1"]
    assert found(root, "//cac:SellersItemIdentification/cbc:ID") == ["S 1"]
    (gtin,) = found(root, "//cac:StandardItemIdentification/cbc:ID[@schemeID='GTIN'][@schemeAgencyID='9']")
    assert ean.is_valid(gtin)
    assert found(root, "//cac:Item/cbc:Name") == ["fluid", "HOS-1"]


def test_the_days_the_currency_and_the_parties_stand_where_the_standard_has_them(tmp_path: Path) -> None:
    doc = order(line(Part("P"), 1, 10_000), carriage=750)._replace(
        cutoff=datetime(2027, 3, 2, 12), expected=date(2027, 3, 11), note="at the back\ngate",
        supplier=Supplier("WEEK", "Weekly Run", email="orders@example.invalid"),
    )  # fmt: skip
    root = written(doc, tmp_path)
    assert found(root, "cbc:ID | cbc:IssueDate | cbc:DocumentCurrencyCode") == ["O0007", "2027-03-01", "GBP"]
    assert found(root, "cbc:Note") == [
        "at the back gate", "must be in by Tuesday 2 March 2027, 12:00", "all amounts are ex VAT",
    ]  # fmt: skip
    assert found(root, "cac:BuyerCustomerParty//cbc:Name") == ["A Firm"]
    assert found(root, "cac:SellerSupplierParty//cbc:Name") == ["Weekly Run"]
    assert found(root, "cac:SellerSupplierParty/cbc:CustomerAssignedAccountID") == ["WEEK"]
    assert found(root, "cac:SellerSupplierParty//cbc:ElectronicMail") == ["orders@example.invalid"]
    assert found(root, "cac:Delivery/cac:RequestedDeliveryPeriod/cbc:EndDate") == ["2027-03-11"]
    assert set(found(root, "//@currencyID")) == {"GBP"}


def test_the_schema_is_kept_as_published_with_its_notices() -> None:
    with ZipFile(SCHEMA) as kept:
        texts = {name: kept.read(name).decode() for name in kept.namelist()}
    assert len(texts) == 14
    for name, text in texts.items():
        reached = re.findall(r'schemaLocation="([^"]+)"', text)
        assert {Path(where).name for where in reached} <= {Path(other).name for other in texts}
        assert "OASIS Universal Business Language (UBL) 2.1 OS" in text or "UN/CEFACT (2006)" in text, name
