"""Seconds to pool two hundred packets, and to share from the demo clinic; asked: 10 s and 5 s on a quiet machine."""

import json
import random
import time

import pytest

from outcomes.club.packet import as_text, sealed

pytestmark = pytest.mark.benchmark


def packets(folder, count, template):
    """So many packets like one, each with its own clinic, sign and figures."""
    chance = random.Random(1)
    folder.mkdir()
    for k in range(count):
        packet = json.loads(json.dumps(template))
        packet |= {"clinic": f"{k:032x}", "sign": f"{k:04X}-0000"}
        for one in packet["endpoints"]:
            for point in one["curve"]:
                if point["error"] is not None:
                    point["share"] = round(min(0.98, max(0.05, point["share"] + chance.gauss(0, 0.08))), 3)
        packet["upkeep"]["rate"] = packet["upkeep"]["rate"] and round(packet["upkeep"]["rate"] * chance.uniform(0.6, 1.6), 4)
        (folder / f"packet_{k:04}.json").write_text(as_text(sealed(packet)))
    return folder


def test_two_hundred_packets(tmp_path, capsys):
    from outcomes.cli import main

    assert main(["demo", "--out", str(tmp_path / "demo"), "--quiet"]) == 0
    started = time.perf_counter()
    assert main(["share", "--store", str(tmp_path / "demo" / "demo.duckdb"), "--out", str(tmp_path / "own.json"), "--quiet"]) == 0
    shared = time.perf_counter() - started
    started = time.perf_counter()
    assert main(["plan-size", "--store", str(tmp_path / "demo" / "demo.duckdb"), "--quiet"]) == 0
    planned = time.perf_counter() - started
    folder = packets(tmp_path / "packets", 200, json.loads((tmp_path / "own.json").read_text()))
    started = time.perf_counter()
    assert main(["pool", str(folder), "--out", str(tmp_path / "club")]) == 0
    pooled = time.perf_counter() - started
    with capsys.disabled():
        print(f"\nshare {shared:.1f} s, plan-size {planned:.1f} s, pooling 200 packets {pooled:.1f} s")
