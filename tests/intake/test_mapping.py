"""What a mapping may say, and how it answers where it cannot be used: what, where, what to do."""

from __future__ import annotations

from datetime import date, datetime
from fractions import Fraction

import pytest

from outcomes.errors import Misuse
from outcomes.intake import date_forms, notations, positions, summary, units
from outcomes.intake.mapping import read_mapping

PATIENTS = 'mapping = 1\n[patients]\naudit_consent = { always = "yes" }\npatient_id = '


def refusal(clinic, text: str) -> str:
    with pytest.raises(Misuse) as refused:
        read_mapping(clinic.text("own.toml", text))
    assert "own.toml" in str(refused.value)
    return str(refused.value)


@pytest.mark.parametrize("text, words", [
    ("[patients", "no valid TOML"),
    ("[patients]\n", "Write mapping = 1"),
    ("mapping = 2\n[patients]\n", "version 2; this program reads version 1. Use a newer program"),
    ("mapping = 1\n", "takes no column"),
    ('mapping = 1\n[patient]\n', "patient is no table of the log. Did you mean patients?"),
    ('mapping = 1\n[file]\nseperator = ";"\n', "seperator is no setting of [file]. Did you mean separator?"),
    ('mapping = 1\n[file]\nseparator = "|"\n', "separator in [file] is none of"),
    ('mapping = 1\n[file]\nyears_ahead = "543"\n', "years_ahead in [file] is of the wrong kind. Write a whole number"),
    ('mapping = 1\n[file]\ndate_form = "DD.MM"\n', "it has no year"),
    ('mapping = 1\n[file]\ndate_form = "D MMM YYYY"\n', "MMM needs months"),
    ('mapping = 1\n[file]\nnumbering = "Universel"\n', "numbering in [file]"),
    ('mapping = 1\n[file]\nnumbering = { upper_right = "UR#", upper_left = "UL#", lower_left = "LL#" }\n', "needs each of upper_right"),
    ('mapping = 1\n[file]\nnumbering = { upper_right = "R#", upper_left = "L#", lower_left = "L#", lower_right = "R#" }\n', "written alike"),
    (PATIENTS + '"Nr"\nsmokes = "x"\n', "smokes is no column of [patients]. Did you mean smoker?"),
    (PATIENTS + '{ form = "Nr" }', "form is no setting of [patients.patient_id]. Did you mean from?"),
    (PATIENTS + '{ from = "Nr", always = "x" }', "needs one of from"),
    (PATIENTS + '{ from = [] }', "names no heading"),
    (PATIENTS + '{ from = "Nr", split = "/" }', "split and part in [patients.patient_id] go together"),
    (PATIENTS + '"Patient name"', "looks like a name. Leave the column out"),
    (PATIENTS + '{ from = "Patient name", pseudonymise = true }', "a key is needed"),
    (PATIENTS + '"Nr"\nbirth_year = "Date of birth"', "looks like a date of birth"),
    (PATIENTS + '"Nr"\nsmoker = { from = "R", pseudonymise = true }', "for a column that names a person"),
    (PATIENTS + '"Nr"\nsmoker = { from = "R", values = { j = "yess" } }', "yess is no word for smoker ([patients.smoker]). Did you mean yes?"),
    (PATIENTS + '"Nr"\nsmoker = { from = "R", unit = "N" }', "unit in [patients.smoker] does not fit smoker"),
    ('mapping = 1\n[patients]\npatient_id = "Nr"\n', "[patients] lacks audit_consent"),
    ('mapping = 1\n[pull_tests]\nvisit_id = "v"\nforce_n = { from = "F", unit = "lb" }\n', "Known are: N, lbf"),
])
def test_a_mapping_that_cannot_be_used_says_what_where_and_what_to_do(clinic, text, words):
    assert words in refusal(clinic, text)


def test_a_mapping_that_is_not_there(clinic):
    with pytest.raises(Misuse, match="own.toml cannot be read"):
        read_mapping(clinic.folder / "own.toml")


def test_a_mapping_for_none_of_the_files_is_misuse(clinic):
    mapping = read_mapping(clinic.text("own.toml", 'mapping = 1\n[file]\nname = "export_*.csv"\n[patients]\npatient_id = "Nr"\naudit_consent = { always = "yes" }\n'))
    with pytest.raises(Misuse, match="own.toml is for none of the files"):
        clinic.check([clinic.text("patients.csv", "patient_id,audit_consent\nP1,yes\n")], mappings=(mapping,))


def run(clinic, text, export, **options):
    return clinic.check([clinic.text("export.csv", export)], mappings=(read_mapping(clinic.text("own.toml", text)),), **options)


def test_a_heading_that_the_file_does_not_have_is_named_with_the_column_that_may_be_meant(clinic):
    checked = run(clinic, PATIENTS + '"Patienten-Nr"', "Patientennr;x\nP1;y\n")
    assert checked.refused == ["export.csv"]
    assert "takes a column Patienten-Nr that export.csv does not have; column A may be meant" in summary(checked)[0]


def test_of_two_headings_alike_one_is_named_by_its_number(clinic):
    assert run(clinic, PATIENTS + '"Nr"', "Nr;Nr\nP1;P9\n").refused
    assert list(run(clinic, PATIENTS + '"Nr [2]"', "Nr;Nr\nP1;P9\n").tables["patients"]["patient_id"]) == ["P9"]


def test_words_without_a_meaning_are_counted_at_their_cells_and_their_rows_wait(clinic):
    checked = run(clinic, PATIENTS + '"Nr"\nsmoker = { from = "R", values = { ja = "yes", nein = "no", "?" = "" } }', "Nr;R\nP1;ja\nP2;manchmal\nP3;?\nP4;YES\nP5;manchmal\n")
    found = checked.problems
    assert list(zip(found["rule"], found["cell"], found["value"])) == [("no meaning in the mapping", "B3", "manchmal"), ("no meaning in the mapping", "B5".replace("5", "6"), "manchmal")]
    assert "2 cells: a word to which the mapping gives no meaning (Patients, smoker), first at export.csv, B3, then B6. Add it to [patients.smoker.values] in own.toml" in summary(checked)[0]
    assert "manchmal" not in " ".join(summary(checked))
    good = checked.tables["patients"]
    assert list(zip(good["patient_id"], good["smoker"].astype(object).where(good["smoker"].notna(), None))) == [("P1", "yes"), ("P3", None), ("P4", "yes")]


def test_other_words_may_be_given_one_meaning(clinic):
    checked = run(clinic, PATIENTS + '"Nr"\nsmoker = { from = "R", values = { ja = "yes" }, other = "no" }', "Nr;R\nP1;ja\nP2;nie\n")
    assert list(checked.tables["patients"]["smoker"]) == ["yes", "no"]


def test_a_birth_date_gives_its_year_and_no_more(clinic):
    checked = run(clinic, PATIENTS + '"Nr"\nbirth_year = { from = "Date of birth", keep = "year", date_form = "DD/MM/YYYY" }', "Nr;Date of birth\nP1;12/05/1948\n")
    assert list(checked.tables["patients"]["birth_year"]) == [1948]
    assert "12/05" not in repr(checked.problems.to_dict()) + repr(checked.decisions)


@pytest.mark.parametrize("headings", ["العمر;الرقم", "年齢;番号", "อายุ;หมายเลข"])
def test_headings_in_any_script(clinic, headings):
    year, number = headings.split(";")
    checked = run(clinic, PATIENTS + f'"{number}"\nbirth_year = "{year}"', f"{headings}\n1948;P1\n१९५०;P2\n")
    assert not checked.error_count, summary(checked)
    assert list(checked.tables["patients"]["birth_year"]) == [1948, 1950] and list(checked.tables["patients"]["patient_id"]) == ["P1", "P2"]


# Exact by definition: 1 lbf = 0.45359237 kg x 9.80665 m/s2 (pound and inch of 1959, standard gravity of CGPM 1901), 1 in = 25.4 mm.
@pytest.mark.parametrize("value, given, unit, expected", [
    ("1", "lbf", "N", 4.4482216152605), ("1.5", "lbf", "N", 6.67233242289075), ("1", "gf", "N", 0.00980665), ("1", "kgf", "N", 9.80665),
    ("1", "lbf·in", "N·cm", 11.29848290276167), ("1", "ozf·in", "N·cm", 0.7061551814226044), ("0.25", "N·m", "N·cm", 25.0), ("0.25", "h", "min", 15.0), ("900", "s", "min", 15.0),
    ("0.3", "cm", "mm", 3.0), ("1", "in", "mm", 25.4),
])
def test_units_by_their_definitions(value, given, unit, expected):
    assert units.converted(Fraction(value), given, unit) == expected


def test_a_unit_under_a_decimal_comma(clinic):
    rest = clinic.csv({"insert_levels": [{"level": "x", "system": "A", "retention": "1", "unit": "N"}]})
    clinic.text("f.csv", "Wort;Kraft\nweich;1,5\nfest;3\n")
    mapping = read_mapping(clinic.text("own.toml", 'mapping = 1\n[file]\nname = "f.csv"\n[insert_levels]\nlevel = "Wort"\nsystem = { always = "A" }\nunit = { always = "N" }\nretention = { from = "Kraft", unit = "lbf" }\n'))
    checked = clinic.check([clinic.folder / "f.csv", *rest], mappings=(mapping,))
    assert list(checked.tables["insert_levels"]["retention"]) == [6.67233242289075, 13.3446648457815, 1.0]


@pytest.mark.parametrize("value, form, more, expected", [
    ("14.03.2024", "DD.MM.YYYY", {}, "2024-03-14"), ("3/14/24", "M/D/YY", {"today": date(2026, 1, 1)}, "2024-03-14"), ("3/14/48", "M/D/YY", {"today": date(2026, 1, 1)}, "1948-03-14"),
    ("20240314", "YYYYMMDD", {}, "2024-03-14"), ("14 mars 2024", "D MMM YYYY", {"months": ("janv", "févr", "mars", "avr", "mai", "juin", "juil", "août", "sept", "oct", "nov", "déc")}, "2024-03-14"),
    ("2024年3月14日", "YYYY年M月D日", {}, "2024-03-14"), ("14/03/2567", "DD/MM/YYYY", {"years_ahead": 543}, "2024-03-14"), ("١٤/٠٣/٢٠٢٤", "DD/MM/YYYY", {}, "2024-03-14"),
    ("14.03.2024 08:30", "DD.MM.YYYY hh:mm", {}, "2024-03-14"), ("03.2024", "MM.YYYY", {}, "2024-03"), ("2024-03", "DD.MM.YYYY", {}, "2024-03"), ("Not known", "DD.MM.YYYY", {}, "not known"),
    (datetime(2024, 3, 14, 8, 30), "DD.MM.YYYY", {}, "2024-03-14"), ("29.02.2024", "DD.MM.YYYY", {}, "2024-02-29"), ("12.05.1948", "DD.MM.YYYY", {"keep": "month"}, "1948-05"),
])
def test_dates_in_a_declared_form(value, form, more, expected):
    assert date_forms.read(value, form, **more) == expected


@pytest.mark.parametrize("value, why", [("29.02.2023", "no such day"), ("03/14/2024", "not written DD.MM.YYYY"), ("1.3.2024", "not written"), ("14.13.2024", "no such day")])
def test_a_date_not_in_the_declared_form_says_so_without_its_value(value, why):
    with pytest.raises(ValueError, match=why) as problem:
        date_forms.read(value, "DD.MM.YYYY")
    assert value not in str(problem.value)


def test_a_cell_that_is_not_as_the_mapping_says_is_named_at_its_place(clinic):
    checked = run(clinic, PATIENTS + '"Nr"\nleft_on = "Weg"\nleft_reason = { always = "moved" }\n[file]\ndate_form = "DD.MM.YYYY"\n', "Nr;Weg\nP1;14.03.2024\nP2;14/03/2024\n")
    found = checked.problems[checked.problems["severity"] == "error"]
    assert list(zip(found["rule"], found["cell"])) == [("does not fit the mapping", "B3")]
    assert "change [patients.left_on] in own.toml" in found["remedy"].iloc[0]


ALL = sorted(positions.SITES)
PALMER = {"upper_right": "UR#", "upper_left": "UL#", "lower_left": "LL#", "lower_right": "LR#"}
HADERUP = {"upper_right": "#+", "upper_left": "+#", "lower_left": "-#", "lower_right": "#-"}
CORNERS = {"upper_right": "#┘", "upper_left": "└#", "lower_left": "┌#", "lower_right": "#┐"}


@pytest.mark.parametrize("scheme", [PALMER, HADERUP, CORNERS])
def test_quadrant_notations_reach_each_site_once(scheme):
    """Quadrants by the patient's own right and left, numbers from the midline, as in ISO 3950 (quadrants 1 to 4, then 1 to 8)."""
    read = notations.converter(scheme)
    order = ("upper_right", "upper_left", "lower_left", "lower_right")
    written = [scheme[quadrant].replace("#", str(number)) for quadrant in order for number in range(1, 9)]
    assert [read(one) for one in written] == [f"{quadrant}{number}" for quadrant in range(1, 5) for number in range(1, 9)]
    for wrong in ("", "9", "UR9", "33", "+", "x3"):
        with pytest.raises(ValueError):
            read(wrong)


def test_universal_numbers_reach_each_site_once():
    # ISO = 19 - u (1-8), u + 12 (9-16), 55 - u (17-24), u + 16 (25-32); the lower canines are 22 and 27.
    read = notations.converter("Universal")
    assert sorted(read(str(number)) for number in range(1, 33)) == ALL
    assert (read("22"), read("#27"), read("6"), read("11")) == ("33", "43", "13", "23")
    for wrong in ("0", "33", "A"):
        with pytest.raises(ValueError):
            read(wrong)


def test_universal_numbers_are_read_only_where_declared(clinic):
    export = "p;a;z;d\nP1;lower;22;2021-05-04\nP1;lower;27;2021-05-04\n"
    sets = 'mapping = 1\n{}\n[set_up]\npatient = "p"\narch = "a"\nposition = "z"\nfitted_on = "d"\nattachment = {{ always = "stud" }}\nlevel = {{ always = "unknown" }}\n'
    assert run(clinic, sets.format(""), export).refused == ["export.csv"]
    declared = run(clinic, sets.format('[file]\nnumbering = "Universal"'), export)
    assert not declared.refused
    assert list(declared.problems["value"]).count("22") == 0
