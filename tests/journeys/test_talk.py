"""The talk of a whole clinic: the page's numbers, nobody who could be recognised; and the talk of poor logs."""

from __future__ import annotations

import re
import subprocess
import zipfile
from collections import Counter
from pathlib import Path

import pandas as pd
import pytest

from outcomes import intake, synthetic_data
from outcomes.analyses import clinic_audit
from outcomes.plan import read_plan
from outcomes.present.words import METHOD_NAMES, SPACE
from outcomes.store import open_store


def audited(out: Path, files: list[Path], plan=None) -> Path:
    """The audit's folder of a log in files."""
    checked = intake.check(files)
    assert checked.error_count == 0 or len(checked.tables["patients"]) > 50, list(checked.problems["message"])
    with open_store(out / "clinic.duckdb", create=True) as store:
        store.load(checked, good_rows=True)
    with open_store(out / "clinic.duckdb", read_only=True) as store:
        clinic_audit.report(store, plan or read_plan(), out / "report")
    return out / "report"


@pytest.fixture(scope="module")
def logged(tmp_path_factory) -> tuple[Path, list[Path]]:
    out = tmp_path_factory.mktemp("talk")
    return out, [Path(file) for file in synthetic_data.write(synthetic_data.simulate("demo"), out / "files", form="long", file="csv")]


@pytest.fixture(scope="module")
def clinic(logged) -> Path:
    return audited(*logged)


def opened(report: Path):
    from pptx import Presentation

    return Presentation(str(report / "talk.pptx"))


def shown(slide) -> list[str]:
    """Texts on a slide, what is told of its pictures included."""
    told = [shape._element.nvPicPr.cNvPr.get("descr") for shape in slide.shapes if hasattr(shape, "image")]
    return [shape.text_frame.text for shape in slide.shapes if shape.has_text_frame and shape.text_frame.text] + told


def everything(report: Path) -> str:
    """All text of the package: slides, notes, properties, names of parts."""
    with zipfile.ZipFile(report / "talk.pptx") as package:
        return " ".join([*package.namelist(), *(package.read(name).decode("utf-8") for name in package.namelist() if name.endswith((".xml", ".rels")))])


def said(report: Path) -> str:
    return "\n".join(text for slide in opened(report).slides for text in shown(slide))


def test_the_talk_answers_its_questions_in_order(clinic):
    kickers = [shown(slide)[1] if place else "" for place, slide in enumerate(opened(clinic).slides)]
    assert kickers[1:] == ["Who is in it", "First repair of a denture", "Inserts: wear", "Housings: bond", "Is starting light wise?", "Are they happy?", "Standards", "Upkeep", "What I will change", "Before you quote this", "Spare slide"]
    for slide in list(opened(clinic).slides)[1:-1]:
        assert slide.shapes.title.text_frame.text.endswith("."), "the title is the message as a sentence"
        assert sum(hasattr(shape, "image") for shape in slide.shapes) <= 1


def test_shares_on_slides_are_those_of_the_page_and_of_its_tables(clinic):
    page = re.sub(r"<[^>]*>", " ", (clinic / "index.html").read_text(encoding="utf-8"))
    table = pd.read_csv(clinic / "tables" / "first_repair_shares.csv")
    title = next(slide.shapes.title.text_frame.text for slide in opened(clinic).slides if "First repair of a denture" in shown(slide))
    found, years = re.match(rf"(\d+){SPACE}% of dentures had needed no repair (\d) years? after delivery", title).groups()
    row = table[table["years"] == int(years)].iloc[0]
    column = next(name for name in ("share", "still_working", "value") if name in table)
    assert round(100 * row[column]) == int(found)
    assert f"{found}{SPACE}%" in page
    answers = pd.read_csv(clinic / "tables" / "answers.csv").set_index("answer")
    deck = said(clinic)
    assert answers.loc["snap", "number"] in deck and answers.loc["starting level", "number"] in deck
    assert answers.loc["satisfaction", "number"].lstrip("'+") in deck


def test_no_pseudonym_is_anywhere_in_the_deck(logged, clinic):
    patients = pd.concat([pd.read_csv(file, dtype=str) for file in logged[1] if file.stem == "patients"])["patient_id"]
    text = everything(clinic)
    assert len(patients) > 50
    assert not [name for name in patients if re.search(rf"\b{re.escape(name)}\b", text)]


def test_no_count_of_few_people_or_parts_is_shown_even_in_the_notes(clinic):
    deck = opened(clinic)
    for slide in deck.slides:
        for text in [*shown(slide), slide.notes_slide.notes_text_frame.text]:
            assert not re.search(r"(?<!fewer than )(?<![\d.,\u00a0–-])\b[1-9] (patients?|people|dentures?|inserts?|housings?|visits?|recalls?)\b", text.replace("Fewer", "fewer")), text
            for part, whole in re.findall(r"(?<!about )(?<![\d.,\u00a0])\b(\d+) of (\d+)\b(?!\u00a0%)", text):
                assert "points" in text or int(part) == 0 or int(part) == int(whole) or min(int(part), int(whole) - int(part)) >= 10 or re.search(rf"(ewer|ore) than {part} of {whole}", text), text


def test_method_names_stand_only_in_the_notes(clinic):
    assert not [name for name in METHOD_NAMES if name in said(clinic).lower()]
    notes = " ".join(slide.notes_slide.notes_text_frame.text for slide in opened(clinic).slides).lower()
    assert "turnbull" in notes and "kaplan" in notes


def test_the_manifest_names_the_deck(clinic):
    """That the deck is the same to the byte from another process is looked at with the page (test_page)."""
    assert "talk.pptx" in (clinic / "manifest.json").read_text(encoding="utf-8")


def rendered(report: Path, out: Path) -> list[tuple[float, float, list[tuple[float, float, float, float, str]]]]:
    """Of each slide as another program sets it: width, height, and (left, top, right, bottom, word) in points."""
    subprocess.run(["soffice", "--headless", f"-env:UserInstallation=file://{out}/profile", "--convert-to", "pdf", "--outdir", str(out), str(report / "talk.pptx")], check=True, capture_output=True, timeout=180)
    text = subprocess.run(["pdftotext", "-bbox", str(out / "talk.pdf"), "-"], check=True, capture_output=True, text=True).stdout
    pages = []
    for head, body in re.findall(r"<page ([^>]*)>(.*?)</page>", text, flags=re.S):
        wide, high = (float(value) for value in re.findall(r'"([\d.]+)"', head))
        words = [(*(float(edge) for edge in found[:4]), found[4]) for found in re.findall(r'<word xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">(.*?)</word>', body)]
        pages.append((wide, high, words))
    return pages


@pytest.mark.needs_office
def test_rendered_every_word_stays_in_its_own_box(clinic, tmp_path):
    import html

    deck, pages = opened(clinic), rendered(clinic, tmp_path)
    assert len(pages) == len(deck.slides)
    for slide, (wide, high, found) in zip(deck.slides, pages):
        assert (wide, high) == pytest.approx((960, 540), abs=1)
        for shape in slide.shapes:
            if not shape.has_text_frame or not shape.text_frame.text:
                continue
            left, top, right, bottom = shape.left.pt, shape.top.pt, shape.left.pt + shape.width.pt, shape.top.pt + shape.height.pt
            inside = Counter(html.unescape(word) for x0, y0, x1, y1, word in found if x0 >= left - 2 and x1 <= right + 2 and (y0 + y1) / 2 >= top and (y0 + y1) / 2 <= bottom)
            wanted = Counter(shape.text_frame.text.replace(SPACE, " ").split())
            inside = Counter(part for word, times in inside.items() for part in word.replace(SPACE, " ").split() for _ in range(times))
            assert not wanted - inside, (shape.text_frame.text, wanted - inside)


LEVELS = "level;system;retention;unit\nlight;A;6,7;N\n"


def poor(folder: Path, **tables: str) -> list[Path]:
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in tables.items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return sorted(folder.glob("*.csv"))


def test_of_one_patient_the_talk_says_in_a_sentence_why_it_shows_nothing(tmp_path):
    files = poor(tmp_path / "files", patients="patient_id;audit_consent\nQX1;yes\n", insert_levels=LEVELS,
                 set_up="patient;arch;position;fitted_on;attachment;level\nQX1;lower;33;2022-03-01;stud;light\n",
                 day_sheet="patient;date;reason;parts_checked;snap\nQX1;2022-03-01;delivery;all;just right\nQX1;2023-03-02;recall;all;just right\n")  # fmt: skip
    report = audited(tmp_path, files)
    assert "it takes 10 patients" in said(report)
    assert "QX1" not in everything(report)
    assert len(opened(report).slides) == 3 and not any(hasattr(shape, "image") for slide in opened(report).slides for shape in slide.shapes)


def test_an_empty_log_still_gives_a_deck(tmp_path):
    with open_store(tmp_path / "clinic.duckdb", create=True) as store:
        clinic_audit.report(store, read_plan(), tmp_path / "report")
    assert "cannot be shared yet" in said(tmp_path / "report")


def test_without_questionnaires_the_talk_says_that_it_cannot_say(tmp_path, logged):
    report = audited(tmp_path, [file for file in logged[1] if file.stem not in ("questionnaires", "answers")])
    slide = next(slide for slide in opened(report).slides if "Are they happy?" in shown(slide))
    assert slide.shapes.title.text_frame.text == "The log cannot say how satisfaction changed: no questionnaire was answered."


def test_of_failures_only_no_curve_and_no_share_is_shown(tmp_path):
    people = [f"QX{number:02d}" for number in range(30)]
    days = "".join(f"{name};2019-03-01;delivery;all;just right;none;;;\n" for name in people)
    days += "".join(f"{name};2023-{1 + place % 9:02d}-10;problem;listed only;a bit loose;all;worn;33;light\n" for place, name in enumerate(people[:14]))
    files = poor(tmp_path / "files", patients="patient_id;audit_consent\n" + "".join(f"{name};yes\n" for name in people), insert_levels=LEVELS,
                 set_up="patient;arch;position;fitted_on;attachment;level\n" + "".join(f"{name};lower;{site};2019-03-01;stud;light\n" for name in people for site in (33, 43)),
                 day_sheet="patient;date;reason;parts_checked;snap;inserts_changed;why;worn_at;level_now\n" + days)  # fmt: skip
    report = audited(tmp_path, files)
    slide = next(slide for slide in opened(report).slides if "How long parts last" in shown(slide))
    assert "lists failures but not the visits where nothing was wrong" in slide.shapes.title.text_frame.text
    assert not any(hasattr(shape, "image") for shape in slide.shapes)
    assert not re.search(r"still held|needed no repair|silence means sound", everything(report))
