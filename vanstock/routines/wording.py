"""The words of a load-out that the terminal, the printed page and the phone share, so that all say the same;
and what of any text can be shown.

Not the advice (see `advising`), and no layout. Called by `cli.loadout`, `cli.jobwhy`, `cli.show`, `printing` and
`pictures`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from vanstock.quantity import show_qty

if TYPE_CHECKING:
    from vanstock.routines.loadout import Elsewhere, JobOutlook, Need, Short, Split

_SHOWN_FROM = 0.1
_LOST_FROM = 0.02
_FEW_JOBS = 5
_WIDER_SPACES = dict.fromkeys("\xa0\u1680\u202f\u205f\u3000" + "".join(map(chr, range(0x2000, 0x200B))), " ")


def percent(share: float) -> str:
    """Odds as a person reads them; never a promise of 100%."""
    return ">99%" if share >= 0.995 else f"{share:.0%}"


def in_words(odds: float | None) -> str:
    """What odds mean for the day."""
    if odds is None:
        return "odds not known"
    for least, text in ((0.9, "should finish"), (0.75, "will probably finish"), (0.5, "may need a second visit")):
        if odds >= least:
            return text
    return "IN DANGER"


def lacking(outlook: JobOutlook) -> list[str]:
    """A line for each thing that a job may lack, costliest first."""
    return [_lacks(short) for short in outlook.short if short.lost_odds >= _LOST_FROM]


def _lacks(short: Short) -> str:
    what = f"{short.part.part} {short.part.description}".rstrip()
    return f"lacks {show_qty(short.qty, short.part.unit)} x {what} (costs {percent(short.lost_odds)})"


def in_other_van(row: Elsewhere) -> str:
    """What another van has of a part that the day may lack, and whether it can spare it."""
    has, spare = show_qty(row.on_hand, row.part.unit), show_qty(row.spare, row.part.unit)
    free = f", {spare} to spare beside its own jobs" if row.spare else ", which its own jobs may take"
    return f"{row.van} has {has} x {row.part.part} {row.part.description}{free}"


def unknown(outlook: JobOutlook) -> list[str]:
    """A line for each thing not known of a job: which part number it takes, and odds that rest on few jobs."""
    return [*map(_split, outlook.splits), *_few(outlook)]


def _split(split: Split) -> str:
    shares = ", ".join(f"{part.part} {percent(share)}" for part, share in split.variants)
    return f"check the engine number before leaving: {split.component} {shares}"


def _few(outlook: JobOutlook) -> list[str]:
    if outlook.odds is None or outlook.jobs_like_it >= _FEW_JOBS:
        return []
    jobs = {0: "no finished job like it", 1: "1 job like it"}.get(outlook.jobs_like_it)
    return [f"rests on {jobs or f'only {outlook.jobs_like_it} jobs like it'}: take these odds as a guess"]


def takes(outlook: JobOutlook) -> str:
    """What one job may take, likeliest first, and how many past jobs say so."""
    if outlook.odds is None or outlook.odds_now is None:
        return "odds not known: no finished job and no usual table to go by"
    likely = [need for need in outlook.needs if need.probability >= _SHOWN_FROM]
    components = [need.component for need in likely]
    each = [_need(need, split=components.count(need.component) > 1) for need in likely]
    jobs = "1 job" if outlook.jobs_like_it == 1 else f"{outlook.jobs_like_it} jobs"
    then, now = percent(outlook.odds), percent(outlook.odds_now)
    stands = f", {now} as the van stands" if now != then else ""
    return f"{', '.join(each) or 'nothing as a rule'}  (from {jobs} like it{stands})"


def _need(need: Need, *, split: bool) -> str:
    what = f"{need.component} {need.part.part}" if split else need.component
    return f"{what} {show_qty(need.qty, need.part.unit)} ({percent(need.probability)})"


def clean(text: str) -> str:
    """Text without control characters, which data must not send to a terminal: a space of any other kind becomes a
    plain one, anything else that does not print a question mark."""
    if text.isprintable():
        return text
    return "".join(c if c.isprintable() or c == "\n" else _WIDER_SPACES.get(c, "?") for c in text)
