"""A study club from the shell: plan, share, pool; what is refused, with which status, and that nothing is half-written."""

from __future__ import annotations

import json
import shutil

import pytest

from outcomes.cli import main


@pytest.fixture(scope="module")
def store(tmp_path_factory):
    """A simulated clinic of ninety patients, loaded as its files."""
    from outcomes import synthetic_data

    folder = tmp_path_factory.mktemp("clinic")
    files = synthetic_data.write(synthetic_data.simulate("demo", patients=90, seed=12), folder / "files", file="csv")
    assert main(["load", *map(str, files), "--store", str(folder / "clinic.duckdb"), "--good-rows", "--quiet"]) in (0, 1)
    return folder / "clinic.duckdb"


@pytest.fixture
def own(store, tmp_path):
    """The store alone in a folder, with nothing shared yet."""
    return shutil.copy(store, tmp_path / "clinic.duckdb")


def test_a_packet_its_preview_and_the_record_are_written(own, run, tmp_path):
    status, said = run("share", "--store", own, "--out", tmp_path / "out")
    assert status == 0, said
    (packet,), (page,) = (tmp_path / "out").glob("*.json"), (tmp_path / "out").glob("*.html")
    sign = json.loads(packet.read_text())["sign"]
    assert sign in packet.name and sign in said and sign in page.read_text()
    record = tmp_path / "clinic.sharing.json"
    assert record.exists() and record.stat().st_mode & 0o077 == 0
    before = packet.read_bytes()
    status, said = run("share", "--store", own, "--out", tmp_path / "out")
    assert status == 0 and "very packet" in said and packet.read_bytes() == before


def test_a_few_patients_more_are_refused_and_nothing_is_written(own, run, tmp_path):
    assert run("share", "--store", own, "--out", tmp_path / "first.json")[0] == 0
    (tmp_path / "plan.toml").write_text('[audit]\nperiod_from = ""\nperiod_to = "2025-06-30"\n')
    record = (tmp_path / "clinic.sharing.json").read_bytes()
    for last in ("2025-10-31", "2025-09-30", "2025-08-31", "2025-06-30", "2025-04-30", "2025-02-28"):
        (tmp_path / "plan.toml").write_text(f'[audit]\nperiod_to = "{last}"\n')
        status, said = run("share", "--store", own, "--plan", tmp_path / "plan.toml", "--out", tmp_path / "second.json")
        if status == 1:
            break
    assert status == 1 and "fewer than one shared before" in said and "Share again when" in said
    assert not (tmp_path / "second.json").exists() and (tmp_path / "clinic.sharing.json").read_bytes() == record


def test_three_patients_have_nothing_to_share(tmp_path, run):
    files = tmp_path / "files"
    files.mkdir()
    (files / "patients.csv").write_text("patient_id;audit_consent\nP1;yes\n")
    (files / "insert_levels.csv").write_text("level;system;retention;unit\nlight;A;6,7;N\n")
    (files / "set_up.csv").write_text("patient;arch;position;fitted_on;attachment;level\nP1;lower;33;2022-03-01;stud;light\nP1;lower;43;2022-03-01;stud;light\n")
    (files / "day_sheet.csv").write_text("patient;date;reason;parts_checked;snap\nP1;2022-03-01;delivery;all;just right\nP1;2022-03-08;review;all;just right\n")
    assert run("load", files, "--store", tmp_path / "c.duckdb")[0] == 0
    status, said = run("share", "--store", tmp_path / "c.duckdb", "--out", tmp_path / "p.json")
    assert status == 1 and "fewer than 10 patients" in said and not (tmp_path / "p.json").exists()
    status, said = run("plan-size", "--store", tmp_path / "c.duckdb")
    assert status == 0 and "cannot be told" in said


def test_planning_says_sentences_and_writes_a_table(own, run, tmp_path):
    status, said = run("plan-size", "--store", own, "--out", tmp_path / "plan.csv")
    assert status == 0 and "new patients a month" in said and "Light against firmer" in said
    lines = (tmp_path / "plan.csv").read_text(encoding="utf-8-sig").splitlines()
    assert lines[0].startswith("question,now,asked,patients_now") and len(lines) > 8
    assert run("plan-size", "--store", own, "--out", tmp_path / "plan.txt")[0] == 2


@pytest.fixture
def packets(own, run, tmp_path):
    """Six packets: the clinic's own, and the same with other figures under other names."""
    from outcomes.club.packet import as_text, sealed

    assert run("share", "--store", own, "--out", tmp_path / "own.json")[0] == 0
    folder, body = tmp_path / "packets", json.loads((tmp_path / "own.json").read_text())
    folder.mkdir()
    for k in range(6):
        packet = json.loads(json.dumps(body)) | {"clinic": f"{k:032x}", "sign": f"{k:04X}-ABCD"}
        for one in packet["endpoints"]:
            for point in one["curve"]:
                point["share"] = round(point["share"] - 0.02 * k, 3)
        (folder / f"clinic of somebody {k}.json").write_text(as_text(sealed(packet)))
    return folder


def test_pooling_writes_a_page_tables_and_a_manifest_that_are_the_same_again(packets, run, tmp_path):
    status, said = run("pool", packets, "--out", tmp_path / "club")
    assert status == 0, said
    page = (tmp_path / "club" / "index.html").read_text(encoding="utf-8")
    assert "in the mean of 6" in page and "A patient seen in two clinics cannot be detected" in page and "nothing here ranks" in page
    for part in (tmp_path / "club").rglob("*"):
        assert part.is_dir() or b"clinic of somebody" not in part.read_bytes()
    shown = (tmp_path / "club" / "tables" / "letters.csv").read_text(encoding="utf-8-sig")
    assert all(f"{k:04X}-ABCD" in shown for k in range(6))
    assert run("pool", *sorted(packets.glob("*.json"), reverse=True), "--out", tmp_path / "again")[0] == 0
    for part in sorted((tmp_path / "club").rglob("*")):
        if part.is_file():
            assert part.read_bytes() == (tmp_path / "again" / part.relative_to(tmp_path / "club")).read_bytes(), part.name


def test_a_packet_that_was_tampered_with_stops_the_pool(packets, run, tmp_path):
    victim = sorted(packets.glob("*.json"))[2]
    victim.write_text(victim.read_text().replace('"all patients": ', '"all patients": 1'))
    status, said = run("pool", packets, "--out", tmp_path / "club")
    assert status == 1 and victim.name in said and "changed after it was made" in said and not (tmp_path / "club").exists()


def test_one_packet_is_no_club_and_a_missing_file_is_misuse(packets, run, tmp_path):
    one = sorted(packets.glob("*.json"))[0]
    assert run("pool", one, "--out", tmp_path / "club")[0] == 1
    assert run("pool", tmp_path / "nothing.json", "--out", tmp_path / "club")[0] == 2


def test_two_clinics_are_shown_without_a_mean(packets, run, tmp_path):
    status, _ = run("pool", *sorted(packets.glob("*.json"))[:2], "--out", tmp_path / "club")
    page = (tmp_path / "club" / "index.html").read_text(encoding="utf-8")
    assert status == 0 and "a mean over clinics is given from three on" in page and "in the mean of" not in page


def test_a_rule_that_does_not_exist_is_named_with_the_nearest(own, run, tmp_path):
    (tmp_path / "plan.toml").write_text('[sharing]\npreset = "cns"\n')
    status, said = run("share", "--store", own, "--plan", tmp_path / "plan.toml", "--out", tmp_path / "p.json")
    assert status == 2 and "Did you mean cms?" in said
