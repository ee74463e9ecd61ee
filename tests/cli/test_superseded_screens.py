"""Superseded numbers through whole commands: old stock goes first, the newest alone is ordered, a split stays apart."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

Run = Callable[..., Any]
NOW = "2027-03-05T08:00"
FILES = {
    "suppliers.csv": "supplier,name,lead_working_days,order_days\nDAY,Day Round,1,Mon-Fri\n",
    "families.csv": "family,name\nXAN,Xanthe\nYAR,Yarrow\n",
    "parts.csv": "part,description,component,cost,supplier,superseded_by\n"
    "ZSN-1,sensor oldest,sensor,10,DAY,BSN-2\nBSN-2,sensor older,sensor,10,DAY,ASN-3\nASN-3,sensor now,sensor,12,DAY,\n"
    "DOS-0,doser of before,doser,90,DAY,\nDOS-X,doser for xanthe,doser,95,DAY,\nDOS-Y,doser for yarrow,doser,99,DAY,\n",
    "fits.csv": "family,part,share\n*,ZSN-1,1\n*,BSN-2,1\n*,ASN-3,1\n"
    "XAN,DOS-0,0\nXAN,DOS-X,1\nYAR,DOS-0,0\nYAR,DOS-Y,1\n",
    "stock.csv": "part,place,qty\nZSN-1,store,1\nBSN-2,van,1\nASN-3,store,3\nDOS-0,van,2\n",
    "jobs.csv": "job,date,family,job_type,status\n"
    + "".join(f"H{n},2026-{1 + n % 12:02}-{1 + n % 28:02},{'XAN' if n % 2 else 'YAR'},swap,done\n" for n in range(48))
    + "".join(f"B{n},2027-03-05,{'XAN' if n % 2 else 'YAR'},swap,booked\n" for n in range(4)),
    "used.csv": "job,part,fitted\n" + "".join(f"H{n},ZSN-1,1\nH{n},DOS-0,1\n" for n in range(48)),
}


def written(folder: Path, **changes: tuple[str, str]) -> Path:
    """The firm's folder, in some of its files one text put in the place of another."""
    folder.mkdir()
    for name, text in FILES.items():
        old, new = changes.get(name.removesuffix(".csv"), ("", ""))
        assert old in text
        (folder / name).write_text(text.replace(old, new, 1) if old else text, encoding="utf-8")
    return folder


@pytest.fixture
def firm(vanstock: Run, tmp_path: Path) -> Run:
    """Runs a command on a firm that fitted the oldest numbers until now, on the morning of four booked jobs."""
    ledger = tmp_path / "chain.db"
    said = vanstock(f"import {written(tmp_path / 'folder')}", "2027-03-01T18:00", ledger=ledger)
    assert said.code == 0, said
    return lambda line: vanstock(line, NOW, ledger=ledger)


def test_the_oldest_number_of_a_chain_is_loaded_first_and_all_count_as_one(firm: Run) -> None:
    found = json.loads(firm("loadout --json").out)
    sensors = [(row["part"], row["qty"]) for row in found["load"] if "SN-" in row["part"]]
    assert sensors == [("ZSN-1", "1"), ("ASN-3", "2")], "four may be taken, one older is aboard"
    need = next(row for row in found["jobs"][0]["needs"] if row["component"] == "sensor")
    assert (need["part"], need["on_hand"]) == ("ASN-3", "1")


def test_fitting_by_words_takes_the_oldest_number_aboard(firm: Run) -> None:
    assert firm("load --all").code == 0
    fitted = [firm(f"fit B{n} sensor").out.split(" x ")[1].split()[0] for n in range(4)]
    assert fitted == ["ZSN-1", "BSN-2", "ASN-3", "ASN-3"]


def test_a_chain_shares_one_position_and_only_the_newest_number_is_ordered(firm: Run) -> None:
    firm("minmax ASN-3 --min 9 --max 12")
    lines = json.loads(firm("reorder --json").out)["suppliers"][0]["lines"]
    named = {row["part"]: row for row in lines}
    assert named["ASN-3"]["on_hand"] == "5"
    assert named["ASN-3"]["qty"] == "7"
    assert not {"ZSN-1", "BSN-2"} & named.keys()
    assert {row["part"] for row in json.loads(firm("minmax --json").out)["parts"]} & {"ZSN-1", "BSN-2"} == set()


def test_of_a_split_the_old_number_serves_neither_position_and_is_not_ordered(firm: Run) -> None:
    lines = {row["part"]: row for row in json.loads(firm("reorder --json").out)["suppliers"][0]["lines"]}
    assert lines["DOS-X"]["on_hand"] == lines["DOS-Y"]["on_hand"] == "0"
    assert "DOS-0" not in lines
    takes = {need["part"] for job in json.loads(firm("loadout --json").out)["jobs"] for need in job["needs"]}
    assert {"DOS-X", "DOS-Y"} <= takes, "what was fitted under the old number is each family's own need now"
    assert "DOS-0" not in takes
    assert firm("fit B1 DOS-0 1").code == 0


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"parts": ("90,DAY,", "90,DAY,DOS-X;DOS-Y")}, "superseded_by: 'DOS-X;DOS-Y' names several parts. If several"),
        (
            {"parts": ("90,DAY,", "90,DAY,DOS-X"), "fits": ("YAR,DOS-0,0", "YAR,DOS-0,1")},
            "superseded_by: DOS-0 fits YAR, where DOS-X is not listed and DOS-Y is: add YAR,DOS-X to fits.csv",
        ),
        ({"parts": ("12,DAY,", "12,DAY,BSN-2")}, "BSN-2 -> ASN-3 -> BSN-2; leave it empty on the one to order"),
    ],
)
def test_what_is_no_chain_is_refused_with_the_way_to_write_it(
    vanstock: Run, tmp_path: Path, changes: dict[str, tuple[str, str]], told: str
) -> None:
    said = vanstock(f"import {written(tmp_path / 'folder', **changes)}", NOW, ledger=tmp_path / "none.db")
    assert said.code == 1
    assert told in said.err


def test_a_successor_that_fits_everywhere_or_there_too_is_no_split(vanstock: Run, tmp_path: Path) -> None:
    changes = {"parts": ("90,DAY,", "90,DAY,DOS-X"), "fits": ("YAR,DOS-0,0", "YAR,DOS-X,0.5")}
    said = vanstock(f"import {written(tmp_path / 'folder', **changes)}", NOW, ledger=tmp_path / "both.db")
    assert said.code == 0, said
