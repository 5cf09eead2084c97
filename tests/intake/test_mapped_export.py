"""A practice's own export and the clinic's hand-kept log are the same log: they end in the same store. What is not taken is never read."""

from __future__ import annotations

import gc
import importlib.util
from pathlib import Path

import pytest

from outcomes import intake, synthetic_data
from outcomes.intake import mapped
from outcomes.intake.mapping import read_mapping
from outcomes.store import open_store

spec = importlib.util.spec_from_file_location("practice_export", Path(__file__).with_name("practice_export.py"))
practice_export = importlib.util.module_from_spec(spec)
spec.loader.exec_module(practice_export)


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    """A small simulated clinic, kept by hand and written out by a practice program; the mappings for the latter."""
    folder = tmp_path_factory.mktemp("clinic")
    clinic = synthetic_data.simulate("demo", patients=30, seed=4)
    by_hand = {path.stem: path for path in synthetic_data.write(clinic, folder / "by_hand", form="day sheet", file="csv")}
    tables = clinic.day_sheet_tables()
    exported = [practice_export.write(folder / "karteikarte_2024.csv", practice_export.visits(tables["day_sheet"])),
                practice_export.write(folder / "implantate.csv", practice_export.sets(tables["set_up"]))]
    maps = []
    for name, text in (("visits.toml", practice_export.VISITS), ("sets.toml", practice_export.SETS)):
        (folder / name).write_text(text, encoding="utf-8")
        maps.append(folder / name)
    rest = [path for name, path in by_hand.items() if name not in ("day_sheet", "set_up")]
    return folder, list(by_hand.values()), exported + rest, maps


def loaded(paths, store, maps=()):
    checked = intake.check(paths, options=intake.Options(mappings=tuple(read_mapping(one) for one in maps)))
    assert not checked.error_count, intake.summary(checked)
    with open_store(store, create=True) as opened:
        opened.load(checked)
        return opened.revision, opened.history_sentences(), checked


def test_a_mapped_export_and_the_day_sheet_kept_by_hand_end_in_the_same_store(both):
    folder, by_hand, exported, maps = both
    here, _, kept = loaded(by_hand, folder / "by_hand.duckdb")
    there, said, mapped_ = loaded(exported, folder / "exported.duckdb", maps)
    assert len(kept.tables["visits"]) > 100 and len(kept.tables["parts_log"]) > 200
    assert there == here
    assert any("read through the mapping visits.toml" in one for one in mapped_.decisions)
    assert "through the mapping visits.toml" in " ".join(said)
    with open_store(folder / "exported.duckdb", read_only=True) as store:
        decisions = store.connection.execute("SELECT decisions FROM kept.sources WHERE name = 'karteikarte_2024.csv'").fetchone()[0]
    assert any("mapping visits.toml (SHA-256" in one for one in decisions)


def test_what_no_mapping_takes_is_nowhere_in_memory_messages_or_the_store(both, monkeypatch):
    folder, _, exported, maps = both
    seen = []
    plain = mapped.apply
    monkeypatch.setattr(mapped, "apply", lambda reading, options: (seen.append({name: list(cells.values) for sheet in reading.sheets for name, cells in sheet.columns.items()}), plain(reading, options)))
    _, said, checked = loaded(exported, folder / "watched.duckdb", maps)
    everything = repr(seen) + repr(checked.problems.to_dict()) + repr([frame.astype(object).to_dict() for frame in checked.tables.values()]) + repr(checked.decisions) + repr(said)
    for secret in ("Zzyzx", "7946", "12.05.1948"):
        assert secret not in everything
    gc.collect()
    held = [one for one in gc.get_objects() if isinstance(one, (list, dict, tuple)) and len(one) < 100_000 and any(isinstance(cell, str) and cell.startswith("Zzyzx Canary ") for cell in (one.values() if isinstance(one, dict) else one))]
    assert not held
    assert b"Zzyzx" not in (folder / "watched.duckdb").read_bytes()


@pytest.mark.parametrize("hostile", ['"never closed', "=HYPERLINK(1)", "<script>alert(1)</script>", "\0", "a\nb", "'; DROP TABLE visits; --", "x" * 200_000])
def test_a_hostile_column_that_is_not_taken_changes_nothing(clinic, hostile):
    import csv

    path = clinic.folder / "export.csv"
    with open(path, "w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([["who", "note", "ok"], ["P1", hostile.replace("\0", " "), "ja"], ["P2", "", "ja"]])
    (clinic.folder / "m.toml").write_text('mapping = 1\n[patients]\npatient_id = "who"\naudit_consent = { from = "ok", values = { ja = "yes" } }\n')
    checked = clinic.check([path], mappings=(read_mapping(clinic.folder / "m.toml"),))
    assert not checked.error_count, intake.summary(checked)
    assert list(checked.tables["patients"]["patient_id"]) == ["P1", "P2"]
    assert hostile[:20] not in repr(checked.problems.to_dict())


def test_of_a_workbook_only_the_columns_taken_reach_the_sheet(clinic):
    from openpyxl import Workbook

    book = Workbook()
    book.active.title = "Auszug"
    for row in (["Praxis", None, None], [None, None, None], ["Name", "Nr", "ok"], ["Zzyzx Canary 1", 17, True], ["Zzyzx Canary 2", 18, True]):
        book.active.append(row)
    for cell in ("B4", "B5"):
        book.active[cell].number_format = "0000"
    book.save(clinic.folder / "auszug.xlsx")
    (clinic.folder / "m.toml").write_text('mapping = 1\n[file]\nsheet = "Auszug"\n[patients]\npatient_id = "Nr"\naudit_consent = { from = "ok", values = { "TRUE" = "yes" } }\n')
    checked = clinic.check([clinic.folder / "auszug.xlsx"], mappings=(read_mapping(clinic.folder / "m.toml"),))
    assert list(checked.tables["patients"]["patient_id"]) == ["0017", "0018"], intake.summary(checked)
    assert "Zzyzx" not in repr(checked.problems.to_dict())


def test_several_rows_of_the_export_are_one_visit(clinic):
    """An export with a row for each thing done, other treatments among them: what was done to inserts comes together in one line for each visit."""
    clinic.text("leistungen.csv", "Pat;Tag;Leistung;Zahn;Min;Zufrieden\n"
                "P1;04.05.2021;Eingliederung;;30;ja\nP1;02.03.2022;Füllung;16;20;\nP1;02.03.2022;Matrize neu;33;10;nein\nP1;02.03.2022;Matrize neu;43;5;\nP1;02.03.2023;Kontrolle;;15;ja\n")
    clinic.text("m.toml", '''
mapping = 1
[file]
name = "leistungen.csv"
date_form = "DD.MM.YYYY"
[day_sheet]
patient = "Pat"
date = "Tag"
reason = { from = "Leistung", values = { "Eingliederung" = "delivery", "Matrize neu" = "problem", "Kontrolle" = "recall" } }
parts_checked = { always = "all" }
snap = { from = "Zufrieden", values = { ja = "just right", nein = "a bit loose" } }
minutes = { from = "Min", together = "sum" }
inserts_changed = { from = "Zahn", when = { "Leistung" = ["Matrize neu"] } }
worn_at = { from = "Zahn", when = { "Leistung" = ["Matrize neu"] } }
why = { from = "Leistung", write = "worn", when = { "Leistung" = ["Matrize neu"] } }
level_now = { from = "Leistung", write = "light", when = { "Leistung" = ["Matrize neu"] } }
[day_sheet.rows]
together = true
only = { "Leistung" = ["Eingliederung", "Matrize neu", "Kontrolle"] }
''')
    fitted = [{"patient": "P1", "arch": "lower", "position": one, "fitted_on": "2021-05-04", "attachment": "stud", "level": "light"} for one in ("33", "43")]
    rest = clinic.csv({"patients": [{"patient_id": "P1", "audit_consent": "yes"}], "insert_levels": [{"level": "light", "system": "A", "retention": "6.7", "unit": "N"}], "set_up": fitted})
    checked = clinic.check([clinic.folder / "leistungen.csv", *rest], mappings=(read_mapping(clinic.folder / "m.toml"),))
    assert not checked.error_count, intake.summary(checked)
    visits = checked.tables["visits"]
    assert list(zip(visits["visit_id"], visits["reason"], visits["minutes"], visits["_line"])) == [
        ("P1/2021-05-04", "delivery", 30.0, 2), ("P1/2022-03-02", "problem", 15.0, 4), ("P1/2023-03-02", "recall", 15.0, 6)]
    log = checked.tables["parts_log"]
    assert list(log[(log["part"] == "insert") & (log["action"] == "replaced")]["position"]) == ["33", "43"]
    assert any("Day sheet takes 4 of 5 rows" in one for one in checked.decisions)


def test_rows_put_together_that_disagree_are_named_with_their_cell(clinic):
    clinic.text("x.csv", "Pat,ok\nP1,ja\nP1,nein\nP2,ja\nP2,\n")
    clinic.text("m.toml", 'mapping = 1\n[patients]\npatient_id = "Pat"\naudit_consent = { from = "ok", values = { ja = "yes", nein = "no" } }\n[patients.rows]\ntogether = true\n')
    checked = clinic.check([clinic.folder / "x.csv"], mappings=(read_mapping(clinic.folder / "m.toml"),))
    (one,) = checked.problems[checked.problems["severity"] == "error"].itertuples()
    assert (one.rule, one.cell, one.column) == ("rows do not agree", "B2", "audit_consent") and "together" in one.remedy
    assert list(checked.tables["patients"]["patient_id"]) == ["P2"]


def test_a_row_for_each_part_gives_the_long_tables(clinic):
    """An export with a row for each part looked at is visits and parts_log at once: each part row belongs to the visit of its own line."""
    clinic.text("teile.csv", "Pat,Tag,Art,Zahn,Teil,Befund,Tat,Stufe\nP1,2021-05-04,E,33/43,Abutment,neu,rein,\nP1,2021-05-04,E,33/43,Housing,neu,rein,\nP1,2021-05-04,E,33/43,Insert,neu,rein,light/light\nP1,2022-05-04,K,33,Insert,ab,neu,light\n")
    clinic.text("m.toml", '''
mapping = 1
[visits]
patient_id = "Pat"
visited_on = "Tag"
reason = { from = "Art", values = { E = "delivery", K = "recall" } }
parts_checked = { always = "listed only" }
arch = { always = "lower" }
[visits.rows]
together = true
[dentures]
patient_id = "Pat"
arch = { always = "lower" }
delivered_on = "Tag"
[dentures.rows]
only = { Art = "E", Teil = "Insert" }
[parts_log]
position = { from = "Zahn", each = "/" }
part = "Teil"
finding = { from = "Befund", values = { neu = "not present", ab = "worn" } }
action = { from = "Tat", values = { rein = "fitted", neu = "replaced" } }
change_reason = { from = "Tat", values = { rein = "", neu = "failed" } }
attachment = { from = "Teil", values = { Insert = "", Housing = "" }, write = "stud" }
level = { from = "Stufe", each = "/" }
''')
    rest = clinic.csv({"patients": [{"patient_id": "P1", "audit_consent": "yes"}], "insert_levels": [{"level": "light", "system": "A", "retention": "6.7", "unit": "N"}]})
    checked = clinic.check([clinic.folder / "teile.csv", *rest], mappings=(read_mapping(clinic.folder / "m.toml"),))
    assert not checked.error_count, intake.summary(checked)
    log = checked.tables["parts_log"]
    assert list(zip(log["visit_id"], log["position"], log["part"], log["_line"]))[:2] == [("P1/2021-05-04/lower", "33", "abutment", 2), ("P1/2021-05-04/lower", "43", "abutment", 2)]
    assert len(log) == 7 and list(checked.tables["visits"]["visit_id"]) == ["P1/2021-05-04/lower", "P1/2022-05-04/lower"]


@pytest.mark.parametrize("kind", ["csv", "xlsx"])
def test_a_marked_copy_of_an_export_holds_its_own_headings_and_only_the_columns_taken(clinic, kind):
    from openpyxl import Workbook, load_workbook

    rows = [["Name", "Nr", "ok"], ["Zzyzx Canary", "P1", "ja"], ["Zzyzx Canary", "P2", "vielleicht"]]
    if kind == "csv":
        clinic.text("auszug.csv", "\n".join(";".join(row) for row in rows) + "\n")
    else:
        book = Workbook()
        for row in rows:
            book.active.append(row)
        book.save(clinic.folder / "auszug.xlsx")
    (clinic.folder / "m.toml").write_text('mapping = 1\n[patients]\npatient_id = "Nr"\naudit_consent = { from = "ok", values = { ja = "yes" } }\n')
    checked = clinic.check([clinic.folder / f"auszug.{kind}"], mappings=(read_mapping(clinic.folder / "m.toml"),))
    (path,) = intake.marked_copy(checked, clinic.folder / "marked.xlsx")
    copy = load_workbook(path)
    assert copy.sheetnames[0] == "To do" and copy["To do"]["D2"].value == "vielleicht"
    sheet = copy.worksheets[1]
    assert [cell.value for cell in sheet[1]] == [None, "Nr", "ok"] and sheet["C3"].value == "vielleicht" and sheet["C3"].fill.fgColor.rgb == "00F2B8A6"
    assert "Zzyzx" not in repr([[cell.value for cell in row] for one in copy for row in one])


def test_tables_of_one_mapping_may_stand_in_several_sheets(clinic):
    from openpyxl import Workbook

    book = Workbook()
    book.active.title = "Leute"
    for row in (["Nr", "ok"], ["P1", "ja"]):
        book.active.append(row)
    other = book.create_sheet("Stufen")
    for row in (["Wort", "Kraft", "Nr"], ["weich", 1.5, "x"]):
        other.append(row)
    book.create_sheet("Privat").append(["Zzyzx Canary"])
    book.save(clinic.folder / "auszug.xlsx")
    text = '''mapping = 1
[patients]
patient_id = "Nr"
audit_consent = { from = "ok", values = { ja = "yes" } }
rows = { sheet = "Leute" }
[insert_levels]
level = "Wort"
system = { always = "A" }
retention = { from = "Kraft", unit = "lbf" }
unit = { always = "N" }
rows = { sheet = "Stufen" }
'''
    checked = clinic.check([clinic.folder / "auszug.xlsx"], mappings=(read_mapping(clinic.text("m.toml", text)),))
    assert not checked.error_count, intake.summary(checked)
    assert list(checked.tables["patients"]["patient_id"]) == ["P1"] and list(checked.tables["insert_levels"]["retention"]) == [6.67233242289075]
    gone = clinic.check([clinic.folder / "auszug.xlsx"], mappings=(read_mapping(clinic.text("m.toml", text.replace('"Stufen"', '"Level"'))),))
    assert gone.refused and "takes the sheet Level, which auszug.xlsx does not have" in intake.summary(gone)[0]


def test_a_mapped_file_whose_dates_or_decimals_cannot_be_told_is_refused_like_any_other(clinic):
    text = 'mapping = 1\n[insert_levels]\nlevel = "w"\nsystem = { always = "A" }\nretention = { from = "k", unit = "lbf" }\nunit = { always = "N" }\n'
    checked = clinic.check([clinic.text("x.csv", "w;k\na;1,500\n")], mappings=(read_mapping(clinic.text("m.toml", text)),))
    assert checked.refused and "--decimal" in intake.summary(checked)[0]
    checked = clinic.check([clinic.folder / "x.csv"], mappings=(read_mapping(clinic.text("m.toml", '[file]\ndecimal = ","\n'.join(text.split("\n", 1)).replace("mapping = 1[file]", "mapping = 1\n[file]"))),))
    assert list(checked.tables["insert_levels"]["retention"]) == [6.67233242289075]


def test_cells_with_another_number_of_pieces_are_named(clinic):
    clinic.text("x.csv", "Pat,Tag,Zahn,Stufe\nP1,2021-05-04,33/43,light/light/light\nP2,2021-05-04,33/43,light\n")
    clinic.text("m.toml", """
mapping = 1
[set_up]
patient = "Pat"
arch = { always = "lower" }
position = { from = "Zahn", each = "/" }
fitted_on = "Tag"
attachment = { always = "stud" }
level = { from = "Stufe", each = "/" }
""")
    checked = clinic.check([clinic.folder / "x.csv"], mappings=(read_mapping(clinic.folder / "m.toml"),))
    found = checked.problems[checked.problems["rule"] == "pieces do not match"]
    assert set(found["line"]) == {2} and set(found["severity"]) == {"error"}
    assert "as many as the other cell has" in found["remedy"].iloc[0]
