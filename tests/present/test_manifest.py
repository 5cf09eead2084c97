"""The manifest names what went in and what came out, and no time of day."""

from __future__ import annotations

import hashlib
import json

from outcomes.plan import read_plan
from outcomes.present import manifest
from outcomes.present.folder import Folder


def test_the_manifest_lists_every_file_written_with_its_digest_and_no_other(tmp_path):
    (tmp_path / "figures").mkdir()
    (tmp_path / "figures" / "a.svg").write_bytes(b"x")
    (tmp_path / "index.html").write_bytes(b"y")
    plan = read_plan()
    arguments = dict(name="clinic_audit", date="2025-06-14", inputs=[{"name": "log.xlsx", "sha256": "00"}], revision="abc", plan=plan, seed=1)
    (tmp_path / "clinic.duckdb").write_bytes(b"not of the report")
    files = [tmp_path / "figures" / "a.svg", tmp_path / "index.html"]
    first = manifest.write(tmp_path, files, **arguments).read_bytes()
    body = json.loads(first)
    assert body["outputs"] == {"figures/a.svg": hashlib.sha256(b"x").hexdigest(), "index.html": hashlib.sha256(b"y").hexdigest()}
    assert body["plan_digest"] == plan.digest and body["plan"]["audit"] == plan["audit"]
    assert body["versions"]["outcomes"] and body["versions"]["numpy"]
    assert manifest.write(tmp_path, files[::-1], **arguments).read_bytes() == first


def test_figures_of_the_report_before_are_taken_away_and_nothing_else(tmp_path, handmade):
    def write(stems):
        folder = Folder(tmp_path)
        for stem in stems:
            folder.picture(stem, handmade.DRAWINGS[stem], "finding", "caption", {f"{stem}_counts": handmade.counts().table()})
        folder.grid("counts", "Counts", handmade.counts().table())
        folder.finish(handmade.report(), name="r", date="2025-06-14", inputs=[], revision="", plan=read_plan(), seed=1)

    write(["housings", "flow"])
    (tmp_path / "figures" / "mine.png").write_bytes(b"the clinic's own")
    write(["flow"])
    assert {path.name for path in (tmp_path / "figures").iterdir()} == {"mine.png", "flow.png", "flow.svg", "flow.pdf"}
    assert set(json.loads((tmp_path / "manifest.json").read_text())["outputs"]) == {"figures/flow.png", "figures/flow.svg", "figures/flow.pdf", "tables/counts.csv", "tables/flow_counts.csv", "index.html"}
