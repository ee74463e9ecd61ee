"""Reading the import folder: what it accepts, and every kind of mistake with its file and line."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest

from tests.exchange import broken
from vanstock.errors import BadValue, ImportRefused
from vanstock.exchange.checks import Known
from vanstock.exchange.folder import FolderContents, read_folder
from vanstock.model import Catalogue, Family, GoesWith, Job, OpeningStock, Part, Supplier, Used, Usual

Read = Callable[..., FolderContents]
TODAY = date(2027, 3, 1)


def problems(read: Read, **changed: str | bytes | None) -> list[str]:
    with pytest.raises(ImportRefused) as refused:
        read(**changed)
    return [str(problem) for problem in refused.value.problems]


def test_the_good_folder_reads_as_what_it_says(read: Read) -> None:
    found = read()
    assert found.parts[0] == Part(
        "VAP-1", "vaporiser", "vaporiser", cost=1_249_000, supplier="DAY", gtin="9520000000011", superseded_by="VAP-2"
    )
    assert found.parts[3].pack_size == 5000
    assert found.used[0] == Used("J1", "FLU-1", 2500, 0)
    assert found.stock[1] == OpeningStock("FLU-1", "store", 10_000, 5_600)
    assert found.stock[2] == OpeningStock("GKT-1", "van", 4, 1_540)
    assert found.jobs[1].codes == ("P20CB", "P246B")


def test_windows_line_ends_and_a_byte_order_mark_change_nothing(read: Read) -> None:
    text = "\n".join(broken.GOOD["parts.csv"]) + "\n"
    assert read(parts=text).parts == read(parts=b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode()).parts


def test_a_quoted_line_break_is_kept_and_lines_after_it_are_still_counted_right(read: Read) -> None:
    text = 'family,name\nAAA,"Alder\nsecond line, with ""quotes"""\nBBB,Beck\nCCC,Crane\n'
    assert read(families=text).families[0].name == 'Alder\nsecond line, with "quotes"'
    assert problems(read, families=text + ",nameless\n") == ["families.csv:6: family is empty: every row needs one"]


def test_blank_lines_and_spaces_around_cells_do_not_matter(read: Read) -> None:
    assert read(families="family , NAME\n\n AAA , Alder \n,\nBBB,Beck\nCCC,\n").families[0] == Family("AAA", "Alder")


def test_absent_files_and_optional_columns_are_fine_when_the_ledger_knows_the_names(tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text("job,date,family,job_type\nJ7,2027-03-02,AAA,clean\n")
    known = Known(Catalogue(families={"AAA": Family("AAA")}))
    assert read_folder(tmp_path, known, today=TODAY).jobs == (Job("J7", date(2027, 3, 2), "", "AAA", "clean"),)


def test_all_problems_of_all_files_are_listed_in_order(read: Read) -> None:
    found = problems(
        read,
        suppliers="supplier,order_days\nDAY,Someday\nWEEK,Tue\n",
        stock="part,place,qty\nVAP-2,attic,1\nGONE,van,1\nVAP-2,van,-1\n",
        fits="family,part\nZZZ,VAP-1\n",
    )
    assert [line.split(": ")[0] for line in found] == [
        "suppliers.csv:2", "fits.csv:2", "stock.csv:2", "stock.csv:3", "stock.csv:4",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("file", "text", "says"),
    [
        ("families", b"family,name\nAAA,Alder\nBBB,caf\xe9\n", "families.csv:3: this line is not UTF-8"),
        ("families", b"", "families.csv:1: the file is empty"),
        ("families", b"family,name\nAAA,A\x00B\n", "families.csv:2: name holds"),
        ("families", b"family,name\nAAA,A\x1b[31m\n", "families.csv:2: name holds"),
        ("families", b"family,family\nAAA,AAA\n", "families.csv:1: column family stands twice"),
        ("families", b"family,colour\nAAA,red\n", "families.csv:1: unknown column colour"),
        ("families", b"name\nAlder\n", "families.csv:1: column family is missing"),
        ("families", b'family,name\nAAA,"Alder\nBBB,Beck\n', "families.csv:2: a quote"),
        ("families", b'family,name\nAAA,"Al"der\n', "families.csv:2: the quoting is broken"),
        ("families", b"family,name\nAAA\n", "families.csv:2: 1 cells where the first row has 2"),
        ("families", b"family,name\n*,every\n", "families.csv:2: family * stands for every family"),
        (
            "parts",
            b"part,superseded_by\nA,B\nB,C\nC,A\n",
            "parts.csv:2: superseded_by goes in a loop: A -> B -> C",
        ),
        ("parts", b"part,gtin\nA,9520000000012\n", "parts.csv:2: gtin: '9520000000012' has a wrong check digit"),
        ("colours", b"colour\nred\n", "colours.csv:1: import does not know this file"),
        ("places", b"place,kind\nVan,van\n", "places.csv:2: 'Van' is 'van' in other letters"),
        ("places", b"place,kind\nDepot,store\ndepot,store\n", "places.csv:3: 'depot' is 'Depot'"),
        ("places", b"place,kind\ncustomer,van\n", "places.csv:2: 'customer' is the name of a place outside"),
    ],
)
def test_a_mistake_is_told_with_file_line_and_what_to_do(read: Read, file: str, text: bytes, says: str) -> None:
    assert any(line.startswith(says) for line in problems(read, **{file: text})), problems(read, **{file: text})


def test_the_unit_of_a_part_that_the_ledger_has_cannot_change(tmp_path: Path) -> None:
    (tmp_path / "parts.csv").write_text("part,unit\nFLU-1,C62\n")
    known = Known(Catalogue(parts={"FLU-1": Part("FLU-1", unit="LTR")}))
    with pytest.raises(ImportRefused) as refused:
        read_folder(tmp_path, known, today=TODAY)
    assert str(refused.value.problems[0]).startswith("parts.csv:2: unit: the ledger keeps FLU-1 in LTR")


def test_a_file_that_cannot_be_read_at_all_is_one_problem_and_not_one_for_each_row_of_others(
    read: Read,
) -> None:
    assert problems(read, families="family;name\nAAA;Alder\n") == [
        "families.csv:1: the cells are separated by ; and must be by commas: save the file as comma-separated CSV"
    ]


@pytest.mark.parametrize(
    ("file", "good", "bad", "says"),
    [
        ("parts", "FLU-1,fluid,cleaning fluid,LTR", "FLU-1,fluid,cleaning fluid,GAL", "parts.csv:5: unit"),
        ("parts", "WEEK,,", "WEEK,,,,", "parts.csv:5: 11 cells"),
        ("parts", "FLU-1,fluid", "FLU-1,flu\x07id", "parts.csv:5: description holds"),
        ("families", "AAA,Alder,2010,2014", "AAA,Alder,2010,2014,", "families.csv:2: 5 cells"),
        ("suppliers", "DAY,Day Round", 'DAY,"Day Round', "suppliers.csv:2: a quote"),
        ("jobs", "J1,2026-05-04", "J1,2026-05-34", "jobs.csv:2: date"),
        ("jobs", "J1,2026-05-04", "J1,2026,05,04", "jobs.csv:2: 11 cells"),
    ],
)
def test_one_bad_row_is_one_problem_and_not_one_for_each_row_that_names_it(
    read: Read, file: str, good: str, bad: str, says: str
) -> None:
    text = "\n".join(broken.GOOD[f"{file}.csv"]) + "\n"
    assert good in text
    found = problems(read, **{file: text.replace(good, bad)})
    assert len(found) == 1, found
    assert found[0].startswith(says)


JOBS = "job,date,family,job_type,chosen,readings\n"


def test_the_rare_columns_read_as_what_they_say(read: Read) -> None:
    jobs = JOBS + "J1,2027-03-02,AAA,clean, VAP-2 ; FLU-1;VAP-2, Idle 45mbar; after idle 0,8 kPa \n"
    jobs = jobs.replace(", Idle", ',"Idle').replace("kPa ", 'kPa"')
    found = read(
        jobs=jobs,
        used=None,
        parts="part,bulk_litres,unit,component\nVAP-1,2.5,,vaporiser\nVAP-2,,,vaporiser\nGKT-1,0,,vaporiser gasket\n"
        "FLU-1,1.1,LTR,cleaning fluid\nHOS-1,,MTR,pressure hose\n",
        suppliers="supplier,comes_at,least_order\nDAY,9:05,45\nWEEK,,\n",
    )
    assert found.jobs[0].chosen == ("VAP-2", "FLU-1")
    assert found.jobs[0].readings == "idle 45 mbar;after idle 0.8 kPa"
    assert [part.bulk_ml for part in found.parts] == [2500, None, 0, 1100, None]
    assert [supplier.comes_at for supplier in found.suppliers] == ["09:05", ""]
    assert [supplier.least_order for supplier in found.suppliers] == [45_00, 0]


@pytest.mark.parametrize(
    ("file", "text", "says"),
    [
        ("jobs", JOBS + "J1,2027-03-02,AAA,clean,GONE,\n", "jobs.csv:2: unknown part 'GONE': add it to parts.csv"),
        ("jobs", JOBS + "J1,2027-03-02,AAA,clean,VAP-2;GONE,\n", "jobs.csv:2: unknown part 'GONE'"),
        ("jobs", JOBS + "J1,2027-03-02,AAA,clean,,idle 45\n", "jobs.csv:2: readings: idle '45' has no unit"),
        ("jobs", JOBS + "J1,2027-03-02,AAA,clean,,boost 1 bar\n", "jobs.csv:2: readings: reading 'boost' is not one"),
        ("jobs", JOBS + "J1,2027-03-02,AAA,clean,,after\n", "jobs.csv:2: readings: reading '' is not one of"),
        (
            "suppliers",
            "supplier,comes_at\nDAY,25:00\nWEEK,\n",
            "suppliers.csv:2: comes_at: time '25:00' does not exist",
        ),
        ("suppliers", "supplier,least_order\nDAY,-1\nWEEK,\n", "suppliers.csv:2: least_order: '-1' is below zero"),
        ("suppliers", "supplier,least_order\nDAY,some\nWEEK,\n", "suppliers.csv:2: least_order: "),
        ("parts", "part,bulk_litres\nVAP-1,-1\n", "parts.csv:2: bulk_litres: '-1' is below zero"),
        ("parts", "part,bulk_litres\nVAP-1,big\n", "parts.csv:2: bulk_litres: "),
    ],
)
def test_what_cannot_stand_in_a_rare_column_is_told_with_file_and_line(
    read: Read, file: str, text: str, says: str
) -> None:
    found = problems(read, **{file: text}, **({} if file != "jobs" else {"used": None}))
    assert any(line.startswith(says) for line in found), found


def test_a_part_chosen_in_a_row_that_could_not_be_read_is_no_second_problem(read: Read) -> None:
    parts = "\n".join(broken.GOOD["parts.csv"]).replace("VAP-2,vaporiser,vaporiser,C62,130.00", "VAP-2,x,x,C62,dear")
    found = problems(read, parts=parts + "\n", jobs=JOBS + "J1,2026-05-04,AAA,clean,VAP-2,\n", used=None)
    assert [line.split(": ")[0] for line in found] == ["parts.csv:3"]


LEDGER = Known(
    Catalogue(
        parts={
            "HOS-1": Part("HOS-1", component="hose", unit="MTR", gtin="9520000000011"),
            "CLP-1": Part("CLP-1"),
            "SCR-1": Part("SCR-1"),
        },
        families={"AAA": Family("AAA")},
        suppliers={"DAY": Supplier("DAY")},
        goes_with=(GoesWith("HOS-1", "CLP-1", 2), GoesWith("CLP-1", "SCR-1", 1)),
        usual=(Usual("clean", "*", "hose", 0.5, 2500, 8),),
    ),
    {"J1": Job("J1", date(2026, 5, 4), "", "AAA", "clean")},
)


@pytest.mark.parametrize(
    ("file", "text", "says"),
    [
        ("parts", "part,gtin\nNEW,09520000000011\n", "parts.csv:2: gtin 09520000000011 is that of HOS-1"),
        ("parts", "part,superseded_by\nNEW,HOS-1\n", "parts.csv:2: superseded_by: HOS-1 is kept in MTR"),
        ("parts", "part\nhos-1\n", "parts.csv:2: 'hos-1' is 'HOS-1' in other letters"),
        ("suppliers", "supplier\nDay\n", "suppliers.csv:2: 'Day' is 'DAY' in other letters"),
        ("families", "family\naaa\n", "families.csv:2: 'aaa' is 'AAA' in other letters"),
        (
            "jobs",
            "job,date,family,job_type\nj1,2027-03-02,AAA,clean\n",
            "jobs.csv:2: 'j1' is 'J1' in other letters",
        ),
        ("goes_with", "part,also\nSCR-1,HOS-1\n", "goes_with.csv:2: SCR-1 goes with HOS-1, which leads back"),
        (
            "parts",
            "part,component,unit\nHOS-1,pipe,MTR\n",
            "parts.csv:2: component: usual jobs in the ledger take a 'hose'",
        ),
        (
            "parts",
            "part,component,unit\nHOS-1,pipe,MTR\nNEW,hose,C62\n",
            "parts.csv:2: component: usual jobs in the ledger take a 'hose'",
        ),
    ],
)
def test_rows_are_checked_against_what_the_ledger_has(tmp_path: Path, file: str, text: str, says: str) -> None:
    (tmp_path / f"{file}.csv").write_text(text)
    with pytest.raises(ImportRefused) as refused:
        read_folder(tmp_path, LEDGER, today=TODAY)
    assert [str(problem)[: len(says)] for problem in refused.value.problems] == [says]


def test_a_part_that_only_the_ledger_has_may_be_chosen(tmp_path: Path) -> None:
    (tmp_path / "jobs.csv").write_text(JOBS + "J2,2027-03-02,AAA,clean,HOS-1,\n")
    assert read_folder(tmp_path, LEDGER, today=TODAY).jobs[0].chosen == ("HOS-1",)


def test_what_the_ledger_has_already_may_stand_in_the_folder_again(tmp_path: Path) -> None:
    (tmp_path / "parts.csv").write_text("part,component,unit,gtin\nHOS-1,hose,MTR,9520000000011\nCLP-1,,,\n")
    (tmp_path / "goes_with.csv").write_text("part,also,qty\nHOS-1,CLP-1,3\n")
    assert len(read_folder(tmp_path, LEDGER, today=TODAY).parts) == 2


def test_a_gtin_may_pass_from_one_part_to_another_in_one_import(tmp_path: Path) -> None:
    (tmp_path / "parts.csv").write_text("part,component,unit,gtin\nHOS-1,hose,MTR,\nNEW,,,9520000000011\n")
    assert len(read_folder(tmp_path, LEDGER, today=TODAY).parts) == 2


def test_an_apostrophe_before_a_formula_is_taken_off_and_no_other_is(read: Read) -> None:
    text = "family,name\nAAA,'=1+1\nBBB,'tis\nCCC,''=1+1\n"
    assert [family.name for family in read(families=text).families] == ["=1+1", "'tis", "'=1+1"]


def test_a_folder_that_is_none_or_holds_nothing_known_is_told(tmp_path: Path) -> None:
    with pytest.raises(BadValue, match=r"there is no .*none: name the folder"):
        read_folder(tmp_path / "none", Known(), today=TODAY)
    with pytest.raises(BadValue, match="holds none of"):
        read_folder(tmp_path, Known(), today=TODAY)


def test_two_hundred_broken_folders_are_each_refused_at_the_right_file_and_line(tmp_path: Path) -> None:
    for number, (name, files, (file, line)) in enumerate(broken.broken_folders(200, seed=7)):
        folder = broken.write(tmp_path / str(number), files)
        with pytest.raises(ImportRefused) as refused:
            read_folder(folder, Known(), today=TODAY)
        assert (file, line) in {(p.file, p.line) for p in refused.value.problems}, name


@pytest.mark.slow
@pytest.mark.parametrize("megabytes", [6, pytest.param(50, marks=pytest.mark.long)])
def test_a_file_of_many_megabytes_reads_and_its_last_line_is_told_when_it_is_wrong(
    tmp_path: Path, megabytes: int
) -> None:
    files = broken.as_bytes(broken.GOOD)
    folder = broken.write(tmp_path / "big", files)
    jobs = range(12_000 * megabytes)
    reference = "B-" + "0" * 40
    with (folder / "jobs.csv").open("ab") as out:
        for number in jobs:
            out.write(b"K%06d,2026-05-04,08:30,AAA,clean,P2463,done,van,%s\r\n" % (number, reference.encode()))
    assert (folder / "jobs.csv").stat().st_size > megabytes * 1_000_000
    assert len(read_folder(folder, Known(), today=TODAY).jobs) == len(jobs) + 4
    with (folder / "jobs.csv").open("ab") as out:
        out.write(b"LAST,2026-02-31,08:30,AAA,clean,P2463,done,van,\r\n")
    with pytest.raises(ImportRefused) as refused:
        read_folder(folder, Known(), today=TODAY)
    assert [str(p).split(": ")[:2] for p in refused.value.problems] == [[f"jobs.csv:{len(jobs) + 6}", "date"]]
