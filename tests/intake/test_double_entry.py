"""Two people's entry of the same notes side by side."""

from __future__ import annotations

import csv

import pytest

from outcomes.cli import main
from outcomes.errors import DataProblem
from outcomes.intake.double_entry import compare

HEAD = ["patient", "date", "arch", "reason", "minutes", "parts_checked", "snap", "inserts_changed", "level_now"]
LINES = [["P1", "2024-03-14", "", "recall", "15", "all", "just right", "none", ""], ["P1", "2024-09-10", "", "problem", "30", "all", "a bit loose", "33 43", "light"],
         ["P2", "2024-03", "", "recall", "15,5", "all", "not asked", "", ""], ["P3", "2024-05-02", "lower", "recall", "", "all", "far too loose", "33", "33:soft"]]


def entry(folder, lines, name="day_sheet", head=HEAD, separator=";"):
    folder.mkdir(exist_ok=True)
    with open(folder / f"{name}.csv", "w", encoding="utf-8", newline="") as file:
        csv.writer(file, delimiter=separator).writerows([head, *lines])
    return [folder / f"{name}.csv"]


def other(**changed):
    """The lines with one cell changed: row_column=value."""
    lines = [list(line) for line in LINES]
    for place, value in changed.items():
        row, column = place.removeprefix("r").split("_", 1)
        lines[int(row)][HEAD.index(column)] = value
    return lines


def differing(found):
    return found.differences()[["column", "first_cell", "first", "second_cell", "second"]].to_numpy().tolist()


def test_the_same_entry_has_no_difference(tmp_path):
    found = compare(entry(tmp_path / "anna", LINES), entry(tmp_path / "berta", LINES))
    assert found.names == ("anna/day_sheet.csv", "berta/day_sheet.csv")
    assert len(found.tables["day_sheet"].first) == 4 and differing(found) == [] and found.tables["day_sheet"].alone.empty


def test_two_ways_of_writing_the_same_are_the_same(tmp_path):
    """Decimal mark, date order, separator, capitals of codes, order of lines and of columns are no difference."""
    head = list(reversed(HEAD))
    lines = other(r0_date="14.03.2024", r1_date="10.09.2024", r3_date="02.05.2024", r0_minutes="15.0", r2_minutes="15.5", r0_snap="Just right", r1_reason="PROBLEM")
    found = compare(entry(tmp_path / "anna", LINES), entry(tmp_path / "berta", [list(reversed(line)) for line in reversed(lines)], head=head, separator=","))
    assert differing(found) == [] and len(found.tables["day_sheet"].first) == 4


def test_a_difference_is_named_by_its_cell_in_both_files(tmp_path):
    found = compare(entry(tmp_path / "anna", LINES), entry(tmp_path / "berta", [["P0", "2020-01-01", "", "recall", "", "all", "", "", ""], *other(r1_snap="far too loose", r0_minutes="", r3_level_now="33:firm")]))
    assert differing(found) == [
        ["minutes", "day_sheet.csv, E2", "15", "day_sheet.csv, E3", ""], ["snap", "day_sheet.csv, G3", "a bit loose", "day_sheet.csv, G4", "far too loose"],
        ["level_now", "day_sheet.csv, I5", "33 soft", "day_sheet.csv, I5", "33 firm"][:3] + ["day_sheet.csv, I6", "33 firm"]]
    assert found.tables["day_sheet"].alone[["who", "patient", "_line"]].to_numpy().tolist() == [[1, "P0", 2]]


def test_a_mistyped_day_or_patient_is_a_difference_and_not_two_lines(tmp_path):
    found = compare(entry(tmp_path / "anna", LINES), entry(tmp_path / "berta", other(r1_date="2024-09-11", r3_patient="P4")))
    assert [(one[0], one[2], one[4]) for one in differing(found)] == [("patient", "P3", "P4"), ("date", "2024-09-10", "2024-09-11")]
    assert found.tables["day_sheet"].alone.empty


def test_where_two_lines_could_be_meant_none_is_guessed(tmp_path):
    anna = [["P1", "2024-03-14", *LINES[0][2:]], ["P1", "2024-04-14", *LINES[0][2:]]]
    berta = [["P1", "2024-03-15", *LINES[0][2:]], ["P1", "2024-04-15", *LINES[0][2:]]]
    found = compare(entry(tmp_path / "anna", anna), entry(tmp_path / "berta", berta))
    assert found.tables["day_sheet"].first.empty and len(found.tables["day_sheet"].alone) == 4


def test_a_cell_that_cannot_be_read_is_compared_as_typed_and_counted(tmp_path):
    found = compare(entry(tmp_path / "anna", LINES), entry(tmp_path / "berta", other(r0_minutes="fifteen", r1_snap="loosish")))
    assert found.unread == [0, 2] and [(one[2], one[4]) for one in differing(found)] == [("15", "fifteen"), ("a bit loose", "loosish")]


def test_entries_without_a_common_table_are_refused(tmp_path):
    with pytest.raises(DataProblem, match="no table in common"):
        compare(entry(tmp_path / "anna", LINES), entry(tmp_path / "berta", [["P1", "yes"]], name="patients", head=["patient_id", "audit_consent"]))


def test_long_tables_are_paired_without_their_derived_keys(tmp_path):
    head = ["patient_id", "visited_on", "reason", "parts_checked"]
    found = compare(entry(tmp_path / "anna", [["P1", "2024-03-14", "recall", "all"]], "visits", head), entry(tmp_path / "berta", [["P1", "2024-03-14", "review", "all"]], "visits", head))
    assert differing(found) == [["reason", "visits.csv, C2", "recall", "visits.csv, C2", "review"]]


def test_the_command_tells_agreement_kappa_and_cells_but_no_content(tmp_path, capsys):
    days = [["P%d" % (n % 7), f"2024-{1 + n // 20:02d}-{1 + n % 20:02d}", "", "recall", "15", "all", ("just right", "a bit loose", "far too loose")[n % 3], "none", ""] for n in range(60)]
    berta = [[*line[:6], "far too loose" if n in (0, 9) else line[6], *line[7:]] for n, line in enumerate(days)]
    berta[5][4] = "=1+1"
    one, two = entry(tmp_path / "anna", days)[0], entry(tmp_path / "berta", [*berta, ["P9", "2024-12-01", "", "recall", "", "all", "", "", ""]])[0]
    assert main(["compare", str(one), str(two), "--out", str(tmp_path / "d.csv")]) == 0
    out = capsys.readouterr().out
    assert out.startswith("anna/day_sheet.csv and berta/day_sheet.csv: in 60 lines that both have, 417 of the 420 cells that either filled are the same (99 %, likely range 98 to over 99 %). "
                          "They differ most often in snap (2) and minutes (1).")
    # By hand: po 58/60; Anna 20 20 20, Berta 18 20 22, so pe = 1/3 and kappa .95. Weighted, two steps of four lost twice: 1 - (2/60 * .5) / (2/9) = .925.
    line = next(line.split() for line in out.splitlines() if line.startswith("Day sheet: snap"))
    assert line[3:7] == ["58", "of", "60", "97"] and "0.95" in line and ("0.93" in line or "0.92" in line)
    assert "In the other 5 fields not one cell differs." in out and "1 line stands in berta/day_sheet.csv only (line 62)." in out
    assert "1 cell of berta/day_sheet.csv could not be read and was compared as typed." in out
    assert "minutes: day_sheet.csv, E7 and day_sheet.csv, E7" in out and "P5" not in out and "=1+1" not in out
    listed = (tmp_path / "d.csv").read_text(encoding="utf-8-sig")
    assert "'=1+1" in listed and "a bit loose" not in listed and "only one has it,day_sheet,\"P9, 2024-12-01\",,,,\"day_sheet.csv, line 62\"," in listed


def test_the_command_says_where_kappa_is_not_defined(tmp_path, capsys):
    one = entry(tmp_path / "anna", LINES)[0]
    two = entry(tmp_path / "berta", LINES)[0]
    assert main(["compare", str(one), str(two), "--all"]) == 0
    out = capsys.readouterr().out
    assert "kappa is not defined for parts_checked: both used one word throughout" in out and "No cell differs." in out
    assert main(["compare", str(one), str(tmp_path / "none.xlsx")]) == 2
