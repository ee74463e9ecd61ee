"""Why levels are what they are: `minmax PART --why` and `--past`. Call one routine, show; called by `levels`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import typer

from vanstock.cli.forecast import decimal_text, figures_json
from vanstock.cli.levels import from_to
from vanstock.cli.options import opened
from vanstock.cli.show import Column, as_json, figure, paragraph, say, table, words, working
from vanstock.quantity import format_money, format_qty, show_qty
from vanstock.quantity import unit as unit_of
from vanstock.routines.forecastwords import mean_text, method_name, rough

if TYPE_CHECKING:
    from vanstock.model import Part
    from vanstock.routines.levelwhy import KindShare, LevelWhy
    from vanstock.routines.why import Basis

_LABEL = 12
_KINDS = 4
_NEARLY_ALL = 0.995
_WEEKDAYS = ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday")


def explain(ctx: typer.Context, text: str, *, json: bool) -> None:
    """Show what one part's levels do for coming jobs."""
    from vanstock.routines.levelwhy import level_why

    with opened(ctx) as session, working("working out levels"):
        found = level_why(session, text)
    if json:
        as_json(_json(found))
        return
    say(f"{found.part.part}  {found.part.description}: {from_to(found.part, found.level)}\n")
    for label, told in _lines(found):
        paragraph(told, first=label.ljust(_LABEL), then=" " * _LABEL)


def _lines(found: LevelWhy) -> list[tuple[str, str]]:
    step, margin = show_qty(found.margin.step, found.part.unit), found.margin
    lines = [("protects" if found.level.max else "taken by", _protects(found))]
    if found.level.pinned:
        lines.append(("set by", "hand: it stays where it is until --unpin"))
    if found.level.max and margin.there:
        saves = format_money(margin.cash * (1 if found.level.min else found.buying.quantity // found.buying.step))
        lines.append((f"{step} less", f"saves {saves} and loses {_jobs(margin.lost, found.lost)}"))
    if margin.taken:
        more = f"costs {_more_cash(found)} and finishes {_jobs(margin.gained, found.gained)}"
        lines.append((f"{step} more", more))
    if found.hundredth_costs is not None:
        costs = format_money(round(found.hundredth_costs))
        lines.append(("worth it?", f"on the shelves as a whole one job more in 100 costs {costs}"))
    lines += [("must last", _must_last(found)), ("bought", _bought(found))]
    if found.before is not None:
        lines.append(("last list", f"{from_to(found.part, found.before.level)} on {found.before.at[:10]}"))
    return lines


def _protects(found: LevelWhy) -> str:
    margin = found.margin
    if not margin.taken:
        return "no job: none that is likely to come takes it"
    there = f"{100 * margin.there:.0f} of 100" if margin.there else "none"
    there = "nearly all" if margin.there >= _NEARLY_ALL else there
    return f"{_jobs(margin.taken, found.taken_by)}; {there} of them find it there"


def _jobs(share: float, kinds: Sequence[KindShare]) -> str:
    """So many of 1,000 jobs, and which."""
    from vanstock.routines.levels import in_thousand

    if not share:
        return "none of 1,000 jobs"
    named = [f"{in_thousand(kind.share)} {kind.job_type} {kind.family}" for kind in kinds[:_KINDS]]
    rest = share - sum(kind.share for kind in kinds[:_KINDS])
    if len(kinds) > _KINDS:
        named.append(f"{in_thousand(rest)} others")
    return f"{in_thousand(share)} of 1,000 jobs ({', '.join(named)})"


def _more_cash(found: LevelWhy) -> str:
    """What the next step costs; the first brings what it is ordered by with it."""
    steps = 1 if found.level.max else found.buying.quantity // found.buying.step
    return format_money(found.margin.cash * steps)


def _must_last(found: LevelWhy) -> str:
    unit, days = found.part.unit, found.comes_after
    waits = f"{days} working day{'s' if days > 1 else ''}"
    name = found.supplier.name or found.supplier.supplier or "its supplier"
    until, why = "of the next", ""
    if found.weeks_apart > 1:
        until = f"of the one {found.weeks_apart} weeks later"
        least = format_money(found.supplier.least_order)
        why = f"a week's use of everything from it is worth less than its least order of {least}; "
    return (
        f"from one {_WEEKDAYS[found.weekday]} review until the goods {until}, {waits} after it, from {name}; {why}"
        f"used in a week: {mean_text(found.weekly_use, unit)} {unit_of(unit).symbol}".rstrip()
    )


def _bought(found: LevelWhy) -> str:
    unit = found.part.unit
    told = f"{show_qty(found.buying.quantity, unit)} at a time, in packs of {show_qty(found.part.pack_size, unit)}"
    if found.buying.quantity > found.buying.lot:
        told += "; more than one, because an order line costs more to handle than the stock to hold"
    if found.usable is not None:
        told += f"; {rough(found.usable, unit)} are surely used before they expire, so no more is held"
    return told


def _json(found: LevelWhy) -> dict[str, object]:
    unit, margin = found.part.unit, found.margin
    return {
        "part": found.part.part,
        "min": format_qty(found.level.min, unit),
        "max": format_qty(found.level.max, unit),
        "pinned": found.level.pinned,
        "basis": found.level.basis,
        "taken_by": _kinds_json(margin.taken, found.taken_by),
        "find_it_there": round(margin.there, 4),
        "step": format_qty(margin.step, unit),
        "step_cost": format_money(margin.cash),
        "one_less_loses": _kinds_json(margin.lost, found.lost),
        "one_more_finishes": _kinds_json(margin.gained, found.gained),
        "one_job_in_100_costs": None if found.hundredth_costs is None else format_money(round(found.hundredth_costs)),
        "ordered_by": format_qty(found.buying.quantity, unit),
        "review_weekday": _WEEKDAYS[found.weekday].lower(),
        "weeks_between_reviews": found.weeks_apart,
        "comes_after_working_days": found.comes_after,
        "weekly_use": decimal_text(found.weekly_use, unit),
        "surely_used_before_it_expires": None if found.usable is None else format_qty(found.usable, unit),
    }


def _kinds_json(share: float, kinds: Sequence[KindShare]) -> dict[str, object]:
    jobs = [{"family": one.family, "job_type": one.job_type, "share": round(one.share, 5)} for one in kinds]
    return {"share": round(share, 5), "jobs": jobs}


def show_past(ctx: typer.Context, text: str, *, json: bool) -> None:
    """Show the levels that past lists used, newest first."""
    from vanstock.routines.why import past_levels

    with opened(ctx) as session:
        _show_past(*past_levels(session, text), json=json)


def _show_past(part: Part, rows: list[Basis], *, json: bool) -> None:
    if json:
        as_json({"part": part.part, "past": [_past_json(row, part.unit) for row in rows]})
        return
    if not rows:
        paragraph(f"no past levels of {part.part} yet: `vanstock reorder` keeps what each list rests on")
        return
    paragraph(f"{part.part}  {part.description}: past levels, newest first")
    columns = (Column("from"), figure("min"), figure("max"), words("why"))
    table(columns, [_past_cells(row, part.unit) for row in rows])
    paragraph("As the reorder lists used them; each holds until the next.")


def _past_cells(row: Basis, unit: str) -> tuple[str, ...]:
    return (row.at[:16].replace("T", " "), show_qty(row.level.min, unit), show_qty(row.level.max, unit),
            _phrase(row, unit))  # fmt: skip


def _phrase(row: Basis, unit: str) -> str:
    found = row.forecast
    by_hand = "pinned by hand; " if row.level.pinned else ""
    if not found.weeks_with_need:
        return f"{by_hand}never needed in {found.weeks} weeks"
    return (
        f"{by_hand}{found.demand_class}, {method_name(found)}: {mean_text(found.weekly_mean, unit)} a week, must last "
        f"{found.interval_days} working days; needed in {found.weeks_with_need} of {found.weeks} weeks"
    )


def _past_json(row: Basis, unit: str) -> dict[str, object]:
    return {
        "at": row.at,
        "min": format_qty(row.level.min, unit),
        "max": format_qty(row.level.max, unit),
        "pinned": row.level.pinned,
        **figures_json(row.forecast, unit),
        "spread": row.forecast.spread,
    }
