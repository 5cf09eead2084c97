"""Writes the fixture of the version of the store that this program makes: a small clinic with a correction, a withdrawal and an undo behind it.

Run with the program as released: python tests/store/released/make.py FOLDER. Writes ``version_N.duckdb.gz`` and ``version_N.json`` (rows of each
table, the history, and what verify said). Do so before the version number is raised, and commit both.
"""

from __future__ import annotations

import getpass
import gzip
import json
import sys
import tempfile
from datetime import date
from pathlib import Path

import duckdb

from outcomes import __version__, intake, schemas
from outcomes.store import layout, open_store

FILES = {
    "patients": "patient_id;audit_consent;birth_year;left_on;left_reason\nP1;yes;1948;;\n0042;yes;;2024-03;moved\n=P3;unknown;1950;not known;died\n",
    "insert_levels": "level;system;retention;unit\nlight;A;6,7;N\nfirm;A;12;N\n",
    "set_up": "patient;arch;position;fitted_on;attachment;level\nP1;lower;33;2022-03-01;stud;light\nP1;lower;43;2022-03-01;stud;light\n0042;lower;33;2021-05;ball;unknown\n",
    "day_sheet": "patient;date;reason;parts_checked;snap;minutes;inserts_changed;why;worn_at;level_now\nP1;2022-03-01;delivery;all;just right;40;;;;\nP1;2022-03-08;review;all;just right;10;;;;\n"
                 "P1;2023-03-02;recall;all;a bit loose;15,5;all;worn;33;light\n0042;2021-05;delivery;notes silent;not asked;;;;;\n",
    "questionnaires": "patient_id;answered_on;instrument;item;response\nP1;2022-04;ohip_14;1;3\nP1;2022-04;ohip_14;2;0\n",
}


def written(folder: Path, **changed: str) -> list[Path]:
    """The files, with some changed."""
    for name, text in (FILES | changed).items():
        (folder / f"{name}.csv").write_text(text, encoding="utf-8")
    return sorted(folder.glob("*.csv"))


def make(out: Path) -> None:
    """Load, correct, withdraw, take back, correct again."""
    getpass.getuser = lambda: "assistant"
    days = FILES["day_sheet"]
    with tempfile.TemporaryDirectory() as place:
        files, path = Path(place) / "files", Path(place) / "clinic.duckdb"
        files.mkdir()
        with open_store(path, create=True) as store:
            for withdraw, text in ((False, days), (True, days.replace("a bit loose;15,5", "far too loose;20").replace("P1;2022-03-08;review;all;just right;10;;;;\n", ""))):
                checked = intake.check(written(files, day_sheet=text), store=store, today=date(2026, 1, 1))
                assert not checked.error_count, intake.summary(checked)
                store.load(checked, withdraw=withdraw)
            store.undo()
            store.load(intake.check(written(files, day_sheet=days.replace("15,5", "18")), store=store, today=date(2026, 1, 1)))
            said = {
                "version": layout.VERSION, "program": __version__, "duckdb": duckdb.__version__, "wrong": store.verify(),
                "rows": {name: [list(map(str, row)) for row in store.connection.execute(f"SELECT {layout.names(layout.content(table))} FROM {name} ORDER BY ALL").fetchall()] for name, table in schemas.stored_tables().items()},
                "columns": {name: layout.content(table) for name, table in schemas.stored_tables().items()},
                "history": store.history_sentences(),
            }
        (out / f"version_{layout.VERSION}.duckdb.gz").write_bytes(gzip.compress(path.read_bytes(), mtime=0))
        (out / f"version_{layout.VERSION}.json").write_text(json.dumps(said, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


if __name__ == "__main__":
    make(Path(sys.argv[1]))
