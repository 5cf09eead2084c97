"""The files written are those a clinic would keep, the same bytes each time."""

import zipfile

import pandas as pd
import pytest

from outcomes.errors import Misuse
from outcomes.synthetic_data import simulate, write


def test_the_workbook_is_the_same_bytes_each_time(demo, tmp_path):
    (one,), (two,) = write(demo, tmp_path / "a"), write(simulate("demo"), tmp_path / "b")
    assert one.read_bytes() == two.read_bytes()
    with zipfile.ZipFile(one) as inside:
        assert {info.date_time for info in inside.infolist()} == {(2000, 1, 1, 0, 0, 0)}


def test_the_workbook_holds_a_sheet_for_each_table(demo, tmp_path):
    (path,) = write(demo, tmp_path)
    sheets = pd.read_excel(path, sheet_name=None)
    assert list(sheets) == ["Day sheet", "Set-up", "Insert levels", "Patients", "Dentures", "Implants", "Questionnaires"]
    sheet = sheets["Day sheet"]
    assert len(sheet) == len(demo.day_sheet_tables()["day_sheet"])
    assert pd.api.types.is_datetime64_any_dtype(sheet["date"]), "whole days are dates, not text"
    assert sheet["worn at"].dropna().map(type).eq(str).all(), "33 stays text"


@pytest.mark.parametrize("form", ["day sheet", "long"])
def test_csv_files_read_back_as_the_tables(demo, tmp_path, form):
    paths = write(demo, tmp_path, form=form, file="csv")
    tables = demo.tables(form)
    assert {path.stem for path in paths} == set(tables)
    for path in paths:
        back = pd.read_csv(path, dtype=str, keep_default_na=False)
        assert list(back.columns) == list(tables[path.stem].columns)
        for name in back.columns:
            expected = tables[path.stem][name]
            expected = expected.map(lambda cell: "" if pd.isna(cell) else f"{cell:g}" if not isinstance(cell, str) else cell)
            assert back[name].tolist() == expected.tolist(), (path.stem, name)


def test_csv_files_in_the_habits_of_another_country(demo, tmp_path):
    write(demo, tmp_path, file="csv", separator=";", decimal=",", date_order="day first", encoding="utf-8-sig")
    text = (tmp_path / "insert_levels.csv").read_bytes()
    assert text.startswith("\ufefflevel;system;retention".encode()) and b"light;A;1,5;lbf" in text and b"\r\n" in text
    sheet = pd.read_csv(tmp_path / "day_sheet.csv", sep=";", dtype=str, encoding="utf-8-sig")
    assert sheet["date"].str.fullmatch(r"\d\d\.\d\d\.20\d\d").all()
    back = pd.to_datetime(sheet["date"], format="%d.%m.%Y").dt.strftime("%Y-%m-%d")
    assert back.tolist() == demo.day_sheet_tables()["day_sheet"]["date"].tolist()
    assert sheet["snap_lost"].dropna().str.fullmatch(r"\d{4}-\d\d|\d\d\.\d\d\.\d{4}").all()


def test_large_clinics_are_written_block_by_block(tmp_path, monkeypatch):
    from outcomes.synthetic_data import clinic

    monkeypatch.setattr(clinic, "BLOCK", 30)
    paths = write(simulate("demo", patients=70, seed=3), tmp_path, form="long", file="csv")
    for path in paths:
        lines = path.read_text().splitlines()
        assert lines.count(lines[0]) == 1, "one heading"
    assert len(pd.read_csv(tmp_path / "patients.csv")) == 70
    assert len(pd.read_csv(tmp_path / "insert_levels.csv")) == 6


def test_choices_that_cannot_be_are_refused(demo, tmp_path, monkeypatch):
    from outcomes.synthetic_data import files

    for wrong in ({"form": "wide"}, {"file": "ods"}, {"file": "csv", "date_order": "any"}, {"file": "csv", "separator": ","  , "decimal": ","}):
        with pytest.raises(Misuse):
            write(demo, tmp_path, **wrong)
    monkeypatch.setattr(files, "SHEET_ROWS", 100)
    with pytest.raises(Misuse, match="Write CSV files instead"):
        write(demo, tmp_path)
