"""What a calendar event says in its title and notes, by rules that a person can see and edit: which family, which job
type, which fault codes, or that it is no job.

A phrase stands for something where all its words stand together in the text; capitals and punctuation make no
difference, and of two phrases one within the other the longer holds. A line `family: KRA` in the notes comes before any
phrase. Nothing is guessed: what could be two things is told (`Said.unclear`). Pure: no ledger, no clock. Called by
`calendarin` and `calendarwords`.
"""

from __future__ import annotations

import html
import re
import unicodedata
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from vanstock.codes import find_codes, read_codes
from vanstock.errors import BadValue
from vanstock.model import Family, Word

FAMILY, JOB_TYPE, NOT_A_JOB, NOTHING = "family", "job type", "not a job", "nothing"
MEANINGS = (FAMILY, JOB_TYPE, NOT_A_JOB, NOTHING)
LOAD_LINE = "What to load, worked out "
"""How the notes that vanstock writes itself begin: from there on nothing is read."""
LONGEST_REFERENCE = 64
_WORD = re.compile(r"[^\W_]+")
_LINE = re.compile(r"^[ \t]*(family|job type|type|codes?|ref|reference|van)[ \t]*[:=][ \t]*(.+?)[ \t]*$", re.I | re.M)
_LABELS = {"job type": "type", "code": "codes", "reference": "ref"}
_BREAK = re.compile(r"<br[ /]*>|</p>|</div>|</li>", re.I)
_TAG = re.compile(r"</?[a-z][^<>]{0,500}>", re.I)


class Said(NamedTuple):
    """What an event says: "" or () for what it does not, what is unclear in it, whether a rule says that it is no job,
    and whether anything in it speaks of a job."""

    family: str = ""
    job_type: str = ""
    codes: tuple[str, ...] = ()
    van: str = ""
    reference: str = ""
    unclear: tuple[str, ...] = ()
    not_a_job: bool = False
    clue: bool = False


def folded(text: str) -> str:
    """The words of a text as they are compared.

    >>> folded("Heat-Source, 2.0")
    'heat source 2 0'
    """
    return " ".join(_WORD.findall(unicodedata.normalize("NFKC", text).casefold()))


def given_words(families: Iterable[Family], job_types: Iterable[str]) -> list[Word]:
    """The phrases that need no rule: the codes and names of the families, and the job types."""
    found = [Word(folded(text), FAMILY, one.family) for one in families for text in (one.family, one.name) if text]
    found += [Word(folded(job_type), JOB_TYPE, job_type) for job_type in job_types]
    return list(dict.fromkeys(found))


class Rules:
    """The phrases known, each with what it means: those a person made come before those that need no rule."""

    def __init__(self, given: Iterable[Word], made: Iterable[Word]) -> None:
        by_hand = {word.phrase: [word] for word in made}
        self.names: dict[tuple[str, str], str] = {}
        self.by_phrase: dict[str, list[Word]] = {}
        for word in given:
            self.names[word.means, word.value.casefold()] = word.value
            if word.phrase and word.phrase not in by_hand:
                self.by_phrase.setdefault(word.phrase, []).append(word)
        self.by_phrase |= by_hand
        self.longest = max((phrase.count(" ") + 1 for phrase in self.by_phrase), default=0)

    def found_in(self, text: str) -> list[Word]:
        """What the phrases in a text mean; where several begin at one word the longest, and none within another."""
        words = folded(text).split()
        found: dict[Word, None] = {}
        end = 0
        for start in range(len(words)):
            for stop in range(min(start + self.longest, len(words)), max(start, end), -1):
                meant = self.by_phrase.get(" ".join(words[start:stop]))
                if meant:
                    found |= dict.fromkeys(meant)
                    end = stop
                    break
        return list(found)


def read_event(summary: str, description: str, rules: Rules) -> Said:
    """What an event says by these rules."""
    notes = _plain(description).split(LOAD_LINE, 1)[0]
    unclear: list[str] = []
    lines = _lines(notes, unclear)
    text = f"{_plain(summary)}\n{_LINE.sub('', notes)}"
    meant = rules.found_in(text)
    family = _settled(FAMILY, "family", lines, meant, rules, unclear)
    job_type = _settled(JOB_TYPE, "type", lines, meant, rules, unclear)
    codes = _codes(lines, text, unclear)
    reference = lines.get("ref", "")
    if len(reference) > LONGEST_REFERENCE or not reference.isprintable():
        unclear.append(f"its ref is longer than {LONGEST_REFERENCE} plain characters")
        reference = ""
    kinds = {word.means for word in meant}
    clue = bool(family or job_type or codes or kinds & {FAMILY, JOB_TYPE})
    return Said(
        family, job_type, codes, lines.get("van", ""), reference, tuple(unclear), NOT_A_JOB in kinds, clue
    )  # fmt: skip


def _plain(text: str) -> str:
    """Text as it is read: without the markup in which some calendars keep notes."""
    if _TAG.search(text):
        text = html.unescape(_TAG.sub(" ", _BREAK.sub("\n", text)))
    return text.replace("\r", "\n")


def _lines(notes: str, unclear: list[str]) -> dict[str, str]:
    """What lines of the notes say by their labels, without those that contradict each other, which are told."""
    said: dict[str, dict[str, str]] = {}
    for label, value in _LINE.findall(notes):
        said.setdefault(_LABELS.get(label.lower(), label.lower()), {}).setdefault(value.casefold(), value)
    for label, values in said.items():
        if len(values) > 1:
            unclear.append(f"its notes say two things of {label}: {', '.join(value[:40] for value in values.values())}")
    return {label: next(iter(values.values())) for label, values in said.items() if len(values) == 1}


def _settled(
    means: str, label: str, lines: Mapping[str, str], meant: Iterable[Word], rules: Rules, unclear: list[str]
) -> str:
    """The one family or job type that an event names, or "" with what is unclear about it."""
    if label in lines:
        if named := rules.names.get((means, lines[label].casefold())):
            return named
        meant = rules.found_in(lines[label])
    values = list(dict.fromkeys(word.value for word in meant if word.means == means))
    if len(values) == 1:
        return values[0]
    if values:
        unclear.append(f"the {means} could be {' or '.join(values)}")
    elif label in lines:
        unclear.append(f"{lines[label][:40]!r} is no {means} that is known")
    return ""


def _codes(lines: Mapping[str, str], text: str, unclear: list[str]) -> tuple[str, ...]:
    if "codes" not in lines:
        return find_codes(text)
    try:
        return read_codes(lines["codes"]) if lines["codes"].casefold() != "none" else ()
    except BadValue as bad:
        unclear.append(str(bad))
        return ()
