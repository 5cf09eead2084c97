"""Day sheets for today's patients, as the assistant prints them."""

from __future__ import annotations

import re
import subprocess
from html.parser import HTMLParser

import pytest

from outcomes import schemas
from outcomes.cli import main

PATIENTS = "patient_id;audit_consent;left_on;left_reason\nP1;yes;;\nP2;yes;;\nP3;no;;\nP4;yes;2023-02-01;moved\n<b>&;yes;;\nP6;yes;;\n"
LEVELS = "level;system;retention;unit;kind\nlight;A;6,7;N;final\nfirm;A;3;lbf;final\nsoft red;A;1;N;processing\n"
EIGHT = [f"{side}{place}" for side in (4, 3) for place in range(1, 5)]
SETS = ["P1;lower;33;2022-03-01;stud;light", "P1;lower;43;2022-03-01;stud;light", "P2;lower;33;2022;ball;light", "P2;lower;43;not known;ball;unknown", "P2;upper;13;2022-05-10;stud;light", "P2;upper;23;2022-05-10;stud;light",
        "P3;lower;33;2022-05-10;stud;light", "P4;lower;33;2022-05-10;stud;light", "<b>&;lower;33;2022-05-10;stud;light", *(f"P6;lower;{position};2022-05-10;stud;light" for position in EIGHT)]
DAYS = ["P1;2022-03-01;;delivery;all;not asked;;;;", "P1;2022-03-08;;review;all;a bit loose;;;;", "P1;2023-03-02;;recall;inserts only;just right;33;worn;33;firm", "P1;2023-09-01;;contact only;none;not asked;;;;",
        "P2;2023-01-10;lower;recall;all;far too loose;;;;", "P2;2022-05-10;upper;delivery;all;a bit firm;;;;", "P3;2022-05-10;;delivery;all;just right;;;;", "P4;2022-05-10;;delivery;all;just right;;;;",
        "<b>&;2022-05-10;;delivery;all;just right;;;;", "P6;2022-05-10;;delivery;all;just right;;;;"]


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    folder = tmp_path_factory.mktemp("clinic")
    files = {"patients": PATIENTS, "insert_levels": LEVELS, "set_up": "patient;arch;position;fitted_on;attachment;level\n" + "\n".join(SETS),
             "day_sheet": "patient;date;arch;reason;parts_checked;snap;inserts_changed;why;worn_at;level_now\n" + "\n".join(DAYS)}
    for name, text in files.items():
        (folder / f"{name}.csv").write_text(text + "\n", encoding="utf-8")
    assert main(["load", *(str(folder / f"{name}.csv") for name in files), "--store", str(folder / "clinic.duckdb"), "--quiet"]) == 0
    return folder / "clinic.duckdb"


@pytest.fixture
def run(store, tmp_path, capsys):
    def go(*words, date: str = "2023-10-01") -> tuple[int, str, str]:
        out = tmp_path / "sheets.html"
        try:
            status = main(["day-sheets", "--store", str(store), "--out", str(out), "--date", date, *map(str, words)])
        except SystemExit as stop:
            status = stop.code
        said = capsys.readouterr()
        assert "Traceback" not in said.out + said.err
        return status, said.out + said.err, out.read_text(encoding="utf-8") if out.exists() else ""

    return go


class Reader(HTMLParser):
    """The text of each sheet of the page."""

    def __init__(self, html: str):
        super().__init__()
        self.sheets, self.cells, self._cell = [], [], False
        self.feed(html)

    def handle_starttag(self, tag, attrs):
        if tag == "section":
            self.sheets.append("")
            self.cells.append([])
        self._cell = tag == "td"
        if self._cell:
            self.cells[-1].append("")

    def handle_data(self, data):
        if self.sheets:
            self.sheets[-1] += data
            if self._cell and data.strip():
                self.cells[-1][-1] += data


def sheets(html: str) -> list[str]:
    return [" ".join(text.replace("\u00a0", " ").split()) for text in Reader(html).sheets]


def test_a_sheet_says_what_is_in_the_mouth_when_it_was_looked_at_the_last_snap_and_what_is_due(run):
    status, said, html = run("--patients", "P1")
    assert status == 0 and "1 sheet on 1 A4 page" in said
    (text,) = sheets(html)
    cells = [cell.replace("\u00a0", " ") for cell in Reader(html).cells[0]]
    assert cells[:7] == ["43", "stud", "light, 6.7 N", "1 March 2022", "1 March 2022", "1 March 2022", "2 March 2023"]
    assert cells[7:14] == ["33", "stud", "firm, 13.3 N", "2 March 2023", "1 March 2022", "1 March 2022", "2 March 2023"]  # 3 lbf by definition: 13.34 N
    assert "Last visit 1 September 2023: contact only. Last word on the snap: just right, 2 March 2023." in text
    assert "Last looked at earlier than the inserts: housings 8 March 2022 and abutments 8 March 2022." in text
    assert "Recall: " in text or "Parts to look at: " in text


def test_nothing_later_than_the_day_printed_is_shown(run):
    html = run("--patients", "P1", date="2022-06-01")[2]
    (text,) = sheets(html)
    assert "light, 6.7 N" in text and "firm, 13.3" not in text and "Last word on the snap: a bit loose, 8 March 2022." in text


def test_each_jaw_has_a_sheet_with_its_own_snap_and_dates_as_precise_as_known(run):
    upper, lower = sheets(run("--patients", "P2")[2])
    assert lower.startswith("P2 lower") and "far too loose, 10 January 2023" in lower and "not known" in lower and " 2022 " in lower
    assert upper.startswith("P2 upper") and "a bit firm, 10 May 2022" in upper and "unknown" not in upper


def test_the_boxes_have_the_words_and_order_of_the_workbooks_columns(run):
    html = run("--patients", "P1", "N9")[2]
    columns = schemas.tables()["day_sheet"].columns
    known, new = (re.findall(r'<span class="head[^"]*">([^<]*?)(?: <small>.*?</small>)?</span>', part) for part in html.split("<section")[1:])
    assert known == new == [column.name.replace("_", " ") for column in columns]
    for column in columns:
        if column.codes and column.name != "arch":
            assert all(f"</i>{word}</span>" in html for word in column.code_list)
    assert "</i>light</span>" in html and "soft red" not in html  # a level for processing is not one to leave the chair with


def test_a_new_patient_gets_a_blank_sheet_with_room_for_the_set(run):
    status, said, html = run("--patients", "N9")
    (text,) = sheets(html)
    assert status == 0 and "Of the patients named, number 1 is not in the store and has a blank sheet" in said and "Not in the store yet." in text
    assert [f">{column.name.replace('_', ' ')}</th>" in html for column in schemas.tables()["set_up"].columns if column.name not in ("patient", "arch")].count(False) == 0
    assert "</i>upper</span>" in html and "</i>lower</span>" in html


def test_who_did_not_agree_to_audit_has_nothing_shown_and_who_left_is_asked_about(run):
    refused, left = sheets(run("--patients", "P3", "P4")[2])
    assert "did not agree to audit" in refused and "just right, 10" not in refused and "10 May" not in refused
    assert "left care on 1 February 2023 (moved): is it the right pseudonym?" in left


def test_a_list_gives_the_order_and_each_patient_once(run, tmp_path):
    (tmp_path / "today.csv").write_text("\ufeffpatient_id;time\nP6;9:00\n\nP1;9:30\nP6;10:00\n", encoding="utf-8")
    texts = sheets(run("--patients", "P1", "--list", tmp_path / "today.csv")[2])
    assert [text.split()[0] for text in texts] == ["P1", "P6"]


def test_what_a_log_holds_stays_text_and_the_same_day_is_the_same_bytes(run):
    first, second = run("--patients", "<b>&", "P1")[2], run("--patients", "<b>&", "P1")[2]
    assert first == second and "<b>&</" not in first and "&lt;b&gt;&amp;" in first and "http" not in first and "<script" not in first


@pytest.mark.parametrize(("words", "said"), [
    ([], "No patient was named"), (["--patients", "Ann Example"], "number 1 of --patients looks like a name"), (["--list", "nowhere.txt"], "There is no file"),
    (["--patients", "P1", "--out", "x.pdf"], "written as an .html file"), (["--patients", "P1", "--date", "1.2.2023"], "takes a day as YYYY-MM-DD"),
])  # fmt: skip
def test_misuse_is_said_in_a_sentence_and_no_name_is_repeated(run, words, said):
    status, told, _ = run(*words)
    assert status == 2 and said in told and "Ann" not in told


def test_a_store_without_a_visit_gives_blank_sheets(tmp_path, capsys):
    (tmp_path / "patients.csv").write_text("patient_id,audit_consent\nP1,yes\n")
    assert main(["load", str(tmp_path / "patients.csv"), "--store", str(tmp_path / "s.duckdb"), "--quiet"]) == 0
    assert main(["day-sheets", "--store", str(tmp_path / "s.duckdb"), "--patients", "P1", "N1", "--date", "2024-01-01", "--out", str(tmp_path / "d.html")]) == 0
    known, new = sheets((tmp_path / "d.html").read_text(encoding="utf-8"))
    assert "nothing in place" in known and "Not in the store yet" in new


@pytest.mark.needs_browser
@pytest.mark.parametrize(("patients", "count"), [(["P6", "P2", "N1", "<b>&"], 5), (["P6", "P6x" * 12, "P1"], 3)])
def test_two_dentures_to_an_a4_page_and_no_box_is_cut_off(run, tmp_path, patients, count):
    run("--patients", *patients)
    pdf = tmp_path / "sheets.pdf"
    subprocess.run(["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--no-pdf-header-footer", f"--print-to-pdf={pdf}", str(tmp_path / "sheets.html")], check=True, capture_output=True, timeout=120)
    facts = subprocess.run(["pdfinfo", str(pdf)], check=True, capture_output=True, text=True).stdout
    assert int(re.search(r"Pages:\s+(\d+)", facts)[1]) == -(-count // 2) and re.search(r"Page size:\s+59[45]\S* x 84[12]", facts)
    text = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], check=True, capture_output=True, text=True).stdout
    assert text.count("visit order") == text.count("snap lost") == count
    assert text.count("reason") >= count
