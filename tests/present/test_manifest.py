"""The manifest names what went in and what came out, and no time of day."""

from __future__ import annotations

import hashlib
import json

from outcomes.plan import read_plan
from outcomes.present import manifest


def test_the_manifest_lists_every_file_with_its_digest_and_not_itself(tmp_path):
    (tmp_path / "figures").mkdir()
    (tmp_path / "figures" / "a.svg").write_bytes(b"x")
    (tmp_path / "index.html").write_bytes(b"y")
    plan = read_plan()
    arguments = dict(report="clinic_audit", date="2025-06-14", inputs=[{"name": "log.xlsx", "sha256": "00"}], revision="abc", plan=plan, seed=1)
    first = manifest.write(tmp_path, **arguments).read_bytes()
    body = json.loads(first)
    assert body["outputs"] == {"figures/a.svg": hashlib.sha256(b"x").hexdigest(), "index.html": hashlib.sha256(b"y").hexdigest()}
    assert body["plan_digest"] == plan.digest and body["plan"]["audit"] == plan["audit"]
    assert body["versions"]["outcomes"] and body["versions"]["numpy"]
    assert manifest.write(tmp_path, **arguments).read_bytes() == first
