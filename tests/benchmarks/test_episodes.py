"""Part histories and insert endpoint times from a log of ten million rows, beside the least any method must do: join the rows to their visits and sort them by site.

Ten million rows are 693,000 patients with up to eight years of visits. Run with ``pytest -m benchmark -s tests/benchmarks/test_episodes.py``; EPISODE_PATIENTS sets another size.
"""

from __future__ import annotations

import os
import time

import duckdb
import pytest

from outcomes import schemas
from outcomes.episodes import declared
from outcomes.episodes.definitions import definitions
from outcomes.plan import read_plan

PATIENTS = int(os.environ.get("EPISODE_PATIENTS", 693_000))
INSERT_ENDPOINTS = ["insert worn", "insert worn or reported loose", "insert worn, reported or unclear", "any insert change"]
SOURCES = ("patients", "dentures", "implants", "insert_levels", "visits", "parts_log", "denture_log")

LOG = {
    "patients": """
        SELECT 'P' || lpad(n::VARCHAR, 7, '0') AS patient_id, CASE WHEN n % 200 = 0 THEN 'no' ELSE 'yes' END AS audit_consent,
            CASE WHEN hash(n, 1) % 10 = 0 THEN DATE '2018-01-01' + (hash(n, 2) % 2900)::INT END AS left_on,
            CASE WHEN hash(n, 1) % 10 = 0 THEN 'day' END AS left_on_precision,
            CASE WHEN hash(n, 1) % 10 = 0 THEN CASE WHEN n % 2 = 0 THEN 'died' ELSE 'moved' END END AS left_reason
        FROM range({patients}) AS people (n)""",
    "dentures": """
        SELECT patient_id || '/lower/1' AS denture_id, patient_id, 'lower' AS arch, DATE '2016-01-01' + (hash(patient_id) % 2500)::INT AS delivered_on,
            'day' AS delivered_on_precision, 'complete denture' AS opposing, 'everyday' AS "use"
        FROM patients""",
    "implants": "SELECT patient_id, position, 5.0 AS divergence_deg, 'in use' AS state FROM patients, (VALUES ('33'), ('43')) AS site (position)",
    "insert_levels": "SELECT * FROM (VALUES ('light', 'A', 6.7, 'N'), ('medium', 'A', 2.7, 'lbf')) AS level (level, system, retention, unit)",
    "visits": """
        SELECT patient_id || '/' || visited_on AS visit_id, patient_id, visited_on, 'day' AS visited_on_precision, 'A' AS clinician, 20.0 AS minutes,
            CASE WHEN number = 0 THEN 'delivery' WHEN hash(patient_id, number, 5) % 3 = 0 THEN 'problem' ELSE 'recall' END AS reason,
            CASE WHEN hash(patient_id, number, 6) % 4 = 0 THEN 'listed only' ELSE 'all' END AS parts_checked,
            CASE hash(patient_id, number, 7) % 4 WHEN 0 THEN 'a bit loose' WHEN 1 THEN 'just right' ELSE 'not asked' END AS snap,
            CASE hash(patient_id, number, 8) % 4 WHEN 0 THEN 'was right before' WHEN 1 THEN 'never right' END AS snap_history
        FROM (SELECT patient_id, number, delivered_on + CASE WHEN number = 0 THEN 0 ELSE (number * 330 + hash(patient_id, number) % 60)::INT END AS visited_on
              FROM dentures, range(0, 9) AS visit (number))
        WHERE visited_on < DATE '2024-06-01'""",
    "parts_log": """
        SELECT visit_id, patient_id || '/lower/1' AS denture_id, position, part,
            CASE WHEN reason = 'delivery' THEN 'not present' WHEN part = 'housing' THEN 'debonded' WHEN part = 'abutment' THEN 'loose in its seat'
                WHEN chance < 35 THEN 'worn' WHEN parts_checked = 'all' THEN 'sound' ELSE 'not checked' END AS finding,
            CASE WHEN reason = 'delivery' THEN 'fitted' WHEN part = 'housing' THEN 'picked up again' WHEN part = 'abutment' THEN 'tightened' ELSE 'replaced' END AS action,
            CASE WHEN reason <> 'delivery' AND part = 'insert' THEN CASE WHEN chance < 35 THEN 'failed' WHEN chance < 60 THEN 'wanted firmer' ELSE 'routine' END END AS change_reason,
            'stud' AS attachment, CASE WHEN part = 'insert' THEN 'light' END AS level, CASE WHEN part = 'abutment' THEN 25.0 END AS torque_ncm, 'chairside' AS pick_up
        FROM (SELECT *, hash(visit_id, position, part) % 100 AS chance FROM visits, (VALUES ('33'), ('43')) AS site (position), (VALUES ('abutment'), ('housing'), ('insert')) AS kind (part))
        WHERE reason = 'delivery' OR (part = 'insert' AND chance < 70) OR (part <> 'insert' AND chance < 8)""",
    "denture_log": "SELECT visit_id, patient_id || '/lower/1' AS denture_id, 'base fractured' AS finding, 'repaired' AS action FROM visits WHERE reason = 'problem' AND hash(visit_id) % 20 = 0",
}

BARE = """
CREATE OR REPLACE TEMP TABLE bare AS
SELECT visits.patient_id, visits.visited_on, parts_log.finding, parts_log.action,
    row_number() OVER (PARTITION BY parts_log.denture_id, parts_log.position, parts_log.part ORDER BY visits.visited_on) AS number
FROM parts_log JOIN visits USING (visit_id)
"""


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    """A store-like file: the declared tables as views over rows written to disk, opened for reading only."""
    path = str(tmp_path_factory.mktemp("log") / "log.duckdb")
    with duckdb.connect(path) as connection:
        for name in SOURCES:
            columns = schemas.stored_tables()[name].stored_columns
            connection.execute(f"CREATE TABLE {name} ({', '.join(f'{chr(34)}{c}{chr(34)} {kind}' for c, kind in columns)})")
            connection.execute(f"INSERT INTO {name} BY NAME {LOG[name].format(patients=PATIENTS)}")
    with duckdb.connect(path, read_only=True, config={"threads": 2}) as connection:
        yield connection


def timed(act):
    wall, processor = time.perf_counter(), time.process_time()
    act()
    return time.perf_counter() - wall, time.process_time() - processor


@pytest.mark.benchmark
def test_part_histories_cost_little_more_than_sorting_the_log(log):
    rows = log.execute("SELECT count(*) FROM parts_log").fetchone()[0]
    bare = timed(lambda: log.execute(BARE))
    log.execute("DROP TABLE bare")
    steps = {}
    log.execute("SET preserve_insertion_order = false")

    def prepare():
        declared.make_words(log)
        declared.make_settings(log, read_plan(), bonds=False, under_care=False)
        declared.make_endpoints(log, declared.chosen_endpoints(read_plan(), INSERT_ENDPOINTS))

    steps["words and settings"] = timed(prepare)
    for definition in definitions().values():
        steps[definition.name] = timed(lambda: log.execute(definition.statement))
    upto = list(steps).index("part_lives") + 1
    lives = [sum(seconds[i] for seconds in list(steps.values())[:upto]) for i in (0, 1)]
    every = [sum(seconds[i] for seconds in steps.values()) for i in (0, 1)]
    times, observed = log.execute("SELECT count(*), count(*) FILTER (observed) FROM endpoint_days").fetchone()
    print(f"\n{rows:,} rows of the parts log: {log.execute('SELECT count(*) FROM part_lives').fetchone()[0]:,} parts, {times:,} endpoint times of which {observed:,} found")
    for name, (wall, processor) in {**steps, "bare join and sort": bare, "part histories": lives, "with insert endpoint times": every}.items():
        if wall > 0.1:
            print(f"  {name:28} {wall:6.2f} s, {processor:6.2f} s of processor time")
    print(f"  ratio to the bare join and sort, processor time: part histories {lives[1] / bare[1]:.1f}, with endpoint times {every[1] / bare[1]:.1f}")
    assert times == 4 * log.execute("SELECT count(*) FROM part_lives WHERE part = 'insert'").fetchone()[0]
    assert every[1] < 15 * bare[1]
