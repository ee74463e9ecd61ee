"""One job of the load-out on the terminal: `loadout JOB`, and with `--why` the past jobs that its odds rest on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import typer

from vanstock.cli.loadout import show_day, show_takes
from vanstock.cli.loadout_json import do_json, job_json
from vanstock.cli.options import opened
from vanstock.cli.show import Column, as_json, figure, paragraph, say, table, words
from vanstock.quantity import format_qty, show_qty
from vanstock.routines.wording import percent

if TYPE_CHECKING:
    from vanstock.routines.jobwhy import JobWhy, Near

_SHOWN_FROM = 0.02


def show_job(ctx: typer.Context, name: str, *, why: bool, json: bool) -> None:
    """Show one booked job, and why its odds are what they are."""
    from vanstock.routines.jobwhy import why_job

    with opened(ctx) as session:
        found = why_job(session, name)
    if json:
        as_json(_json(found))
        return
    say(f"{found.date:%A} {found.date}, {found.van}\n")
    show_day([found.outlook])
    if found.do:
        paragraph(found.do.words, first=f"\nDO  +{found.do.odds:.2f}  ", then=" " * 11)
    for code, meaning in found.codes:
        if meaning:
            paragraph(meaning, first=f"{code}  ", then=" " * 7)
    for text in (*found.hints, *(f"{reading}: {judged}" for reading, judged in found.readings)):
        paragraph(text, first="note   ", then=" " * 7)
    if not why:
        say()
        show_takes(found.outlook)
    else:
        _show_levels(found)
        _show_took(found)
        _show_nearest(found)


def _show_levels(found: JobWhy) -> None:
    if not found.evidence.levels:
        say("\nNothing to go by: no finished job and no usual table.")
        return
    say("\nWHAT THE ODDS REST ON, from the jobs most like it to all")
    rows = [
        (
            level.name,
            str(level.jobs),
            f"{level.faded:.1f}",
            f"{level.worth:g}" if level.worth else "",
            _share(level.share),
        )
        for level in found.evidence.levels
    ]
    columns = (words("level"), figure("jobs"), figure("count for"), figure("next is worth"), figure("share"))
    table(columns, rows)
    if found.evidence.usual_worth:
        paragraph(
            f"The usual table stands beside the jobs of the same type and family, worth {found.evidence.usual_worth:g} "
            f"jobs by its own word: {_share(found.evidence.usual_share)} of the whole."
        )
    chosen = found.worths.chosen_on
    learnt = (
        f"chosen by how well they foretell {chosen} of your own jobs" if chosen else "set until more jobs are finished"
    )
    paragraph(
        f"A job counts half after {found.half_life_days:.0f} days. The worths of the next level, in jobs, are {learnt}."
    )


def _share(share: float) -> str:
    return f"{share:.0%}" if share >= 0.005 or share == 0 else "<1%"


def _show_took(found: JobWhy) -> None:
    rows = [
        (
            took.component,
            percent(took.probability),
            f"{took.alike} of {found.alike}",
            f"{took.same_code} of {found.same_code}",
        )
        for took in found.took
        if took.probability >= _SHOWN_FROM
    ]
    if rows:
        say("\nWHAT SUCH JOBS TOOK")
        columns = (words("component"), figure("chance"), figure("same type and family"), figure("and fault code"))
        table(columns, rows)


def _show_nearest(found: JobWhy) -> None:
    if found.nearest:
        say("\nTHE JOBS THAT COUNT MOST")
        columns = (Column("job"), Column("date"), words("which"), figure("weight"), words("took"))
        table(columns, [_near_cells(near) for near in found.nearest])


def _near_cells(near: Near) -> tuple[str, ...]:
    job = near.job
    which = f"{job.family} {job.job_type} {' '.join(job.codes)}".rstrip()
    took = ", ".join(f"{show_qty(qty, part.unit)} x {part.part}" for part, qty in near.took) or "nothing"
    return (job.job, job.date.isoformat(), which, f"{near.weight:.1%}", took)


def _json(found: JobWhy) -> dict[str, object]:
    evidence = found.evidence
    return {
        "date": found.date.isoformat(),
        "van": found.van,
        "job": job_json(found.outlook),
        "do": do_json(found.do) if found.do else None,
        "codes": [{"code": code, "meaning": meaning} for code, meaning in found.codes],
        "hints": list(found.hints),
        "readings": [{"reading": reading, "words": judged} for reading, judged in found.readings],
        "levels": [level._asdict() for level in evidence.levels],
        "usual": {"share": evidence.usual_share, "worth_jobs": evidence.usual_worth},
        "half_life_days": found.half_life_days,
        "worths_chosen_on": found.worths.chosen_on,
        "took": [took._asdict() for took in found.took],
        "like_it": {"same_type_and_family": found.alike, "and_fault_code": found.same_code},
        "nearest": [
            {
                "job": near.job.job,
                "date": near.job.date.isoformat(),
                "weight": near.weight,
                "took": [{"part": part.part, "qty": format_qty(qty, part.unit)} for part, qty in near.took],
            }
            for near in found.nearest
        ],
    }
