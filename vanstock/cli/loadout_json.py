"""The load-out as one JSON document: the machine's side of `loadout`."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vanstock.cli.dangerous import aboard_json
from vanstock.cli.expiry import expiry_json
from vanstock.quantity import format_qty

if TYPE_CHECKING:
    from vanstock.routines.loadout import Buy, Do, JobOutlook, Left, Load, LoadOut, Need


def load_out_json(found: LoadOut) -> dict[str, object]:
    """One van's day; quantities are decimal strings in the part's unit, odds numbers from 0 to 1."""
    return {
        "date": found.date.isoformat(),
        "van": found.van,
        "day_odds": found.day_odds,
        "expected": found.expected,
        "expected_now": found.expected_now,
        "jobs": [job_json(outlook) for outlook in found.jobs],
        "do": [do_json(do) for do in found.do],
        "load": [_load(row) for row in found.load],
        "left_behind": [_left(row) for row in found.left],
        "buy": [_buy(row) for row in found.buy],
        "elsewhere": [
            {
                "part": row.part.part,
                "van": row.van,
                "on_hand": format_qty(row.on_hand, row.part.unit),
                "spare": format_qty(row.spare, row.part.unit),
            }
            for row in found.elsewhere
        ],
        "cautions": list(found.cautions),
        "expired": [expiry_json(row) for row in found.expired],
        "expiring": [expiry_json(row) for row in found.expiring],
        "aboard": aboard_json(found.aboard) if found.aboard else None,
    }


def job_json(outlook: JobOutlook) -> dict[str, object]:
    """One job of the day."""
    job = outlook.job
    return {
        "job": job.job,
        "time": job.time,
        "family": job.family,
        "job_type": job.job_type,
        "codes": list(job.codes),
        "odds": outlook.odds,
        "odds_now": outlook.odds_now,
        "standard_error": outlook.standard_error,
        "jobs_like_it": outlook.jobs_like_it,
        "needs": [_need(need) for need in outlook.needs],
        "short": [
            {"part": s.part.part, "qty": format_qty(s.qty, s.part.unit), "lost_odds": s.lost_odds}
            for s in outlook.short
        ],
        "splits": [
            {
                "component": split.component,
                "parts": [{"part": part.part, "share": share} for part, share in split.variants],
            }
            for split in outlook.splits
        ],
    }


def do_json(do: Do) -> dict[str, object]:
    """One piece of advice."""
    return {
        "job": do.job.job,
        "action": do.action,
        "parts": [part.part for part in do.parts],
        "odds": do.odds,
        "gain": do.gain,
        "words": do.words,
    }


def _need(need: Need) -> dict[str, object]:
    return {
        "component": need.component,
        "part": need.part.part,
        "probability": need.probability,
        "qty": format_qty(need.qty, need.part.unit),
        "on_hand": format_qty(need.on_hand, need.part.unit),
        "jobs_like_it": need.jobs_like_it,
    }


def _load(row: Load) -> dict[str, object]:
    return {
        "part": row.part.part,
        "qty": format_qty(row.qty, row.part.unit),
        "from": row.from_place,
        "on_hand": format_qty(row.on_hand, row.part.unit),
        "reason": row.reason,
    }


def _left(row: Left) -> dict[str, object]:
    qty = format_qty(row.qty, row.part.unit)
    return {"part": row.part.part, "qty": qty, "from": row.from_place, "cost": row.cost}


def _buy(row: Buy) -> dict[str, object]:
    return {
        "part": row.part.part,
        "qty": format_qty(row.qty, row.part.unit),
        "supplier": row.part.supplier,
        "cutoff": row.cutoff.isoformat(timespec="minutes") if row.cutoff else None,
        "arrives": row.comes.date().isoformat() if row.comes else None,
        "comes": row.comes.isoformat(timespec="minutes") if row.comes else None,
        "in_time": row.in_time,
        "gain": row.gain,
    }
