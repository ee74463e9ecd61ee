"""The answers to a count: what a filled-in sheet says, or what was typed, as one entry and its difference report.

All or nothing. An answer to a frozen sheet is held against the ledger as it stood at that moment (see
`ledger.counts.held_at`), and the difference is applied to today: what moved since is none. Called by `cli.count`.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from vanstock.errors import AnswersRefused, BadValue, Problem, VanstockError
from vanstock.exchange.countsheet import read_answers
from vanstock.kit.counting import Repeated
from vanstock.ledger import catalogue, counts, reading
from vanstock.ledger.counts import CountRow, Key
from vanstock.ledger.entries import Counted, Draft
from vanstock.model import Entry, Part
from vanstock.quantity import parse_qty, show_qty
from vanstock.routines.counting import SheetCode, full_list, read_code, repeated
from vanstock.routines.naming import find_part
from vanstock.routines.session import Session, once, one_act

VAN = "van"
_FROM_WORDS = "typed"


class Answer(NamedTuple):
    """One answer as it was written, and where; `counted` is empty for what was not counted."""

    file: str
    line: int
    part: str
    place: str
    counted: str
    sheet: str = ""


class Difference(NamedTuple):
    """A counted line with its part, and what moved between the frozen moment and the entry."""

    part: Part
    row: CountRow
    moved: int = 0


class Entered(NamedTuple):
    """An entry of counts: its lines, the largest loss first, the frozen moment they were held against, what of the
    sheet is still not counted, what was in the ledger already, and what keeps disagreeing."""

    entry: Entry
    lines: tuple[Difference, ...]
    code: SheetCode | None
    not_counted: tuple[tuple[Part, str], ...]
    before: tuple[tuple[Part, str], ...]
    repeated: tuple[Repeated, ...]


class _Read(NamedTuple):
    """An answer understood: None for a quantity left blank, no code for one that belongs to no sheet."""

    answer: Answer
    part: Part
    place: str
    qty: int | None
    code: SheetCode | None

    @property
    def key(self) -> Key:
        return self.part.part, self.place

    @property
    def frozen(self) -> SheetCode | None:
        """The code of its sheet, if that is frozen."""
        return self.code if self.code and self.code.frozen else None


def from_file(path: Path, place: str = "") -> tuple[Answer, ...]:
    """The answers in a filled-in sheet; raises `AnswersRefused` when the file cannot be read."""
    rows, problems = read_answers(path)
    if problems:
        raise AnswersRefused(problems)
    return tuple(Answer(path.name, n, part, where or place or VAN, qty, sheet) for n, part, where, qty, sheet in rows)


def from_words(words: Sequence[str], place: str = "", sheet: str = "") -> tuple[Answer, ...]:
    """The answers typed as PART=QTY; raises `BadValue` for a word that is not."""
    found = []
    for number, word in enumerate(words, 1):
        part, equals, qty = word.rpartition("=")
        if not equals or not part.strip() or not qty.strip():
            raise BadValue(f"{word!r} cannot be read: write PART QTY for one part, PART=QTY PART=QTY for several")
        found.append(Answer(_FROM_WORDS, number, part.strip(), place or VAN, qty.strip(), sheet))
    return tuple(found)


@one_act
def enter(session: Session, answers: Sequence[Answer], *, reason: str = "", entry_id: str = "") -> Entered:
    """Record the answers as one entry and post their differences.

    Raises `AnswersRefused` with every answer that cannot be, `BadValue` when there is none to enter.
    """

    def plan() -> Draft:
        understood = _understand(session, answers)
        counted = tuple(_planned(session, understood))
        if not counted:
            raise BadValue(_nothing_to_enter(understood))
        return Draft(session.now, "counted", counted=counted, note=_note(understood, reason))

    asked = (tuple(tuple(one) for one in answers), reason)
    entry = once(session, Draft(session.now, "counted", id=entry_id, asked=asked), plan)
    return entered(session, entry, _understand(session, answers))


def _note(understood: Sequence[_Read], reason: str) -> str:
    moments = {frozen.moment for one in understood if one.qty is not None and (frozen := one.frozen)}
    words = [f"as it lay {moment:%Y-%m-%d %H:%M}" for moment in sorted(moments)]
    return "; ".join(filter(None, (*words, reason)))


def _nothing_to_enter(understood: Sequence[_Read]) -> str:
    if any(one.qty is not None for one in understood):
        return "every answer is in the ledger already: nothing was recorded again"
    return "no line has an answer: write what you counted into the column counted, 0 for none"


def _understand(session: Session, answers: Sequence[Answer]) -> list[_Read]:
    """Every answer with its part, place, quantity and sheet; raises `AnswersRefused` with all that cannot be."""
    problems: list[Problem] = []
    understood: list[_Read] = []
    first: dict[Key, int] = {}
    codes: dict[str, SheetCode] = {}
    for answer in answers:
        try:
            one = _one(session, answer, codes)
            if first.setdefault(one.key, answer.line) != answer.line:
                where = f"{one.part.part} in {one.place}"
                raise BadValue(f"{where} is answered on line {first[one.key]} too: keep one, with the sum")
            understood.append(one)
        except VanstockError as wrong:
            problems.append(Problem(answer.file, answer.line, str(wrong)))
    if problems:
        raise AnswersRefused(problems)
    return understood


def _one(session: Session, answer: Answer, codes: dict[str, SheetCode]) -> _Read:
    place = catalogue.place_named(session.ledger, answer.place).place
    part = _part(session, answer, place)
    if answer.sheet and answer.sheet not in codes:
        codes[answer.sheet] = read_code(session, answer.sheet)
    qty = parse_qty(answer.counted, part.unit, pack_size=part.pack_size) if answer.counted else None
    if qty is not None and qty < 0:
        raise BadValue(f"{part.part}: a count cannot be below zero: {answer.counted!r}")
    return _Read(answer, part, place, qty, codes.get(answer.sheet))


def _part(session: Session, answer: Answer, place: str) -> Part:
    """The part of an answer: by number alone from a file, where nobody sees what words were taken for."""
    if answer.file == _FROM_WORDS:
        return find_part(session, answer.part, place=place)
    part = catalogue.part_by_number(session.ledger, answer.part)
    if part is None:
        raise BadValue(f"no part has the number {answer.part!r}: `vanstock stock WORDS` looks for it")
    return part


def _planned(session: Session, understood: Sequence[_Read]) -> list[Counted]:
    """What is to be recorded: without what was entered before; raises `AnswersRefused`."""
    moments = {one.code: _Moment.of(session, one.code) for one in understood if one.code}
    problems: list[Problem] = []
    planned = []
    for one in understood:
        try:
            counted = _held_against(session, one, moments[one.code] if one.code else _Moment({}, {}))
        except BadValue as wrong:
            problems.append(Problem(one.answer.file, one.answer.line, str(wrong)))
            continue
        if counted:
            planned.append(counted)
    if problems:
        raise AnswersRefused(problems)
    return planned


class _Moment(NamedTuple):
    """What lay where when a sheet was written, and what was counted since."""

    held: dict[Key, int]
    since: dict[Key, tuple[int, str, str]]

    @classmethod
    def of(cls, session: Session, code: SheetCode) -> _Moment:
        held = counts.held_at(session.ledger, code.seq) if code.frozen else {}
        return cls(held, counts.counted_after(session.ledger, code.seq))


def _held_against(session: Session, one: _Read, moment: _Moment) -> Counted | None:
    """The count to record of an answer; None for a blank one and one that the ledger has already."""
    if one.qty is None:
        return None
    held = moment.held.get(one.key, 0) if one.frozen else None
    if one.key in moment.since:
        qty, entry, at = moment.since[one.key]
        if one.qty == (qty if held is None else held):
            return None
        raise BadValue(
            f"{one.part.part} in {one.place} was counted since the sheet was written, "
            f"{show_qty(qty, one.part.unit)} on {at[:10]}: empty this line, or `vanstock undo {entry[:8]}` first"
        )
    if held is not None:
        _refuse_below_zero(session, one, held)
    return Counted(one.part.part, one.place, one.qty, held=held)


def _refuse_below_zero(session: Session, one: _Read, held: int) -> None:
    now = reading.on_hand(session.ledger, one.part.part, one.place)
    left = now + (one.qty or 0) - held
    if left < 0:
        out = show_qty(held - now, one.part.unit)
        raise BadValue(
            f"{one.part.part}: {one.answer.counted} lay in {one.place} at the frozen moment, but {out} more went out "
            f"than came in since: empty this line and count what lies there now"
        )


def entered(session: Session, entry: Entry, understood: Sequence[_Read] = ()) -> Entered:
    """The answer to an act of counting, read back from its entry and from what was understood of its answers."""
    parts = {part.part: part for part in catalogue.part_names(session.ledger)}
    rows = counts.counts(session.ledger, entry=entry.seq)
    lines = [
        Difference(parts[row.part], row, reading.left_after(session.ledger, row.part, row.place, entry) - row.qty)
        for row in rows
    ]
    keys = {(row.part, row.place) for row in rows}
    before = tuple((one.part, one.place) for one in understood if one.qty is not None and one.key not in keys)
    code = next((one.frozen for one in understood if one.qty is not None and one.frozen), None)
    return Entered(
        entry,
        tuple(sorted(lines, key=lambda line: (line.row.difference == 0, line.row.value))),
        code,
        tuple((parts[part], place) for part, place in _not_counted(session, understood)),
        before,
        tuple(repeated(session, keys)),
    )


def _not_counted(session: Session, understood: Sequence[_Read]) -> list[Key]:
    """What the sheets ask for and no count since has answered; of a frozen sheet all that lay or moved there."""
    wanted = [(one.key, one.code) for one in understood if one.qty is None]
    for code in {one.frozen for one in understood if one.frozen}:
        places = {one.place for one in understood if one.code == code}
        wanted += [(key, code) for key in full_list(session, code, places)]
    done = {code: counts.counted_after(session.ledger, code.seq) for _, code in wanted if code}
    return list(dict.fromkeys(key for key, code in wanted if code is None or key not in done[code]))
