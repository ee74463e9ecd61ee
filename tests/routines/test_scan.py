"""Which part a photographed code names: exactly one or none, said in words that help."""

from __future__ import annotations

import pytest

from vanstock.errors import Ambiguous, BadValue, NotFound
from vanstock.ledger.catalogue import save_rows
from vanstock.ledger.file import writing
from vanstock.model import Part
from vanstock.routines.scan import NOTHING_READ, Code, part_meant, read_photo
from vanstock.routines.session import Session


def qr(text: str, off: float = 0.0) -> Code:
    return Code("QR Code", text, "", off)


@pytest.mark.parametrize(
    ("code", "said"),
    [
        (qr("GKT-1"), "read GKT-1 vaporiser gasket"),
        (qr("gkt-1"), "read QR Code 'gkt-1': GKT-1 vaporiser gasket"),
        (Code("EAN-13", "9520000000356", "9520000000356"), "read EAN-13 9520000000356: SNS-1 pressure sensor"),
        (Code("ITF", "09520000000356", "09520000000356"), "read ITF 09520000000356: SNS-1 pressure sensor"),
        (qr("9520000000356"), "read QR Code '9520000000356': SNS-1 pressure sensor"),
        # A GTIN-14 of a pack: its indicator, the GTIN of what is in it without the check digit, a new check digit
        # (GS1 General Specifications, section 2.1.6.2 from memory).
        (Code("ITF", "19520000000353", "19520000000353"), "(the label of a pack of 9520000000356)"),
    ],
)
def test_a_code_names_a_part_by_its_number_or_gtin(session: Session, code: Code, said: str) -> None:
    found = part_meant(session, [code])
    assert found.part.part in ("GKT-1", "SNS-1")
    assert said in found.said


def test_a_suppliers_number_names_a_part_where_it_is_one_parts_alone(session: Session) -> None:
    with writing(session.ledger) as ledger:
        save_rows(ledger, Part, [Part("A", supplier_part="S-100"), Part("B", supplier_part="S-2"),
                                 Part("C", supplier_part="s-2")])  # fmt: skip
    assert part_meant(session, [Code("Code 128", "s-100")]).part.part == "A"
    with pytest.raises(NotFound):
        part_meant(session, [Code("Code 128", "S-2")])


@pytest.mark.parametrize("text", ["gasket", "GKT", "GKT-", "vaporiser", "1", "", " ", "x" * 4000, "\x00", "a\nb", "%"])
def test_nothing_is_guessed(session: Session, text: str) -> None:
    with pytest.raises(NotFound, match="find the part by number or words") as told:
        part_meant(session, [Code("Code 128", text)])
    assert len(str(told.value)) < 200
    assert str(told.value).isprintable()


def test_an_unknown_gtin_is_told_with_how_it_is_made_known(session: Session) -> None:
    with pytest.raises(NotFound, match=r"no part has GTIN 9520000000998 \(EAN-13\): .* parts.csv, column gtin"):
        part_meant(session, [Code("EAN-13", "9520000000998", "9520000000998")])


def test_what_is_no_parts_does_not_stand_in_the_way_of_what_is(session: Session) -> None:
    lot = Code("Code 128", "LOT 7/2027", "", 0.01)
    assert part_meant(session, [lot, qr("GKT-1", 0.3)]).part.part == "GKT-1"


def test_of_several_parts_the_one_pointed_at_is_meant_and_the_others_are_named(session: Session) -> None:
    found = part_meant(session, [qr("GKT-1", 0.1), qr("BLT-1", 0.5), qr("GKT-1", 0.6), qr("SNS-1", 0.7)])
    assert found.said == "read GKT-1 vaporiser gasket; beside it: BLT-1, SNS-1"
    with pytest.raises(Ambiguous, match=r"GKT-1 vaporiser gasket; BLT-1 vaporiser bolt\): go closer"):
        part_meant(session, [qr("GKT-1", 0.3), qr("BLT-1", 0.5)])


def test_a_picture_with_nothing_in_it_says_how_to_hold_the_phone() -> None:
    from io import BytesIO

    from PIL import Image

    file = BytesIO()
    Image.new("L", (300, 300), 200).save(file, "PNG")
    with pytest.raises(BadValue) as told:
        read_photo(file.getvalue())
    assert str(told.value) == NOTHING_READ
