"""When to censor: logs in which a failure brings the patient in, or does not, read under both rules and held against the truth.

One part per patient, life Weibull with shape 1.5 and scale 4 years, closing 1 to 8 years after fitting, recalls at an interval (give or take 30 days) or
none, or only for some; a failure brings the patient in within 1 to 27 days with a given probability, else it waits for a recall. After Lesko et al., Am J Epidemiol
2018;187:623-632. True share without failure after 3 years: exp(-(3/4)^1.5) = 0.522.
"""

from __future__ import annotations

import numpy as np
import pyarrow as pa
from clinic_log import ARROW, connect

from outcomes import schemas
from outcomes.episodes import build
from outcomes.plan import read_plan

YEAR = 365.25
HORIZON = 1096
SHAPE, SCALE = 1.5, 4.0
TRUE_SHARE = float(np.exp(-((HORIZON / (SCALE * YEAR)) ** SHAPE)))
RULES = ("examination", "patient", "first gap", "only the un-failed capped")
UNDER_CARE_DAYS = 550
CELLS = {
    "failures come, no recalls": {"comes": 1.0, "recall": None},
    "failures come, recalls every 2 years": {"comes": 1.0, "recall": 730},
    "failures come, half recalled yearly and half never": {"comes": 1.0, "recall": 365, "never": 0.5},
    "failures come, recalls yearly": {"comes": 1.0, "recall": 365},
    "half of failures come, recalls every 2 years": {"comes": 0.5, "recall": 730},
    "half of failures come, recalls yearly": {"comes": 0.5, "recall": 365},
    "failures are silent, recalls yearly": {"comes": 0.0, "recall": 365},
}
ENDPOINT = {"name": "insert gone", "unit": "insert", "findings": ["lost"], "noticed_by": "patient"}


def simulated_log(patients: int, *, comes: float, recall: int | None, never: float = 0.0, seed: int):
    """(visits, parts_log) as frames of arrays: the life of one insert per patient and what the clinic saw of it."""
    draw = np.random.default_rng(seed)
    life = np.maximum(np.ceil(SCALE * YEAR * draw.exponential(size=patients) ** (1 / SHAPE)), 1).astype(int)
    closing = np.floor(draw.uniform(1, 8, patients) * YEAR).astype(int)
    call = np.where(draw.uniform(size=patients) < comes, life + draw.integers(1, 28, patients), 10**6)
    rounds = np.arange(1, 1 if recall is None else int(8.5 * YEAR / recall) + 2)
    recalls = rounds[None, :] * (recall or 0) + draw.integers(-30, 31, (patients, len(rounds)))
    recalls[draw.uniform(size=patients) < never] = 10**6
    found_at_recall = np.where(recalls >= life[:, None], recalls, 10**6).min(axis=1, initial=10**6)
    found = np.minimum(call, found_at_recall)
    found = np.where(found <= closing, found, 10**6)
    kept = recalls <= np.minimum(closing, found)[:, None]
    who, which = np.nonzero(kept)
    came = np.flatnonzero((call <= found_at_recall) & (call <= closing))
    visits = {
        "patient": np.concatenate([np.arange(patients), who, came]),
        "day": np.concatenate([np.zeros(patients, int), recalls[who, which], call[came]]),
        "reason": np.concatenate([np.full(patients, "delivery"), np.full(len(who), "recall"), np.full(len(came), "problem")]),
    }
    failed = np.flatnonzero(found < 10**6)
    parts = {
        "patient": np.concatenate([np.arange(patients), failed]), "day": np.concatenate([np.zeros(patients, int), found[failed]]),
        "finding": np.concatenate([np.full(patients, "not present"), np.full(len(failed), "lost")]),
        "action": np.concatenate([np.full(patients, "fitted"), np.full(len(failed), "replaced")]),
    }  # fmt: skip
    return visits, parts, closing


def endpoint_rows(patients: int, **cell):
    """left and right by each rule for every first insert, read from the log by the build. Each patient leaves at a closing day of their own.

    Beside the two rules: care ending for everybody at the first gap of 550 days between contacts; and, to show what it does, the follow-up of the un-failed
    alone capped at 550 days after the last contact.
    """
    visits, parts, closing = simulated_log(patients, **cell)
    start = np.datetime64("2010-01-01")
    names = np.char.add("P", np.char.zfill(np.arange(patients).astype(str), 7))

    def visit_ids(rows):
        return np.char.add(np.char.add(names[rows["patient"]], "/"), rows["day"].astype(str))

    tables = {
        "patients": {"patient_id": names, "audit_consent": np.full(patients, "yes"), "left_on": start + closing, "left_reason": np.full(patients, "moved")},
        "dentures": {"denture_id": np.char.add(names, "/lower/1"), "patient_id": names, "arch": np.full(patients, "lower"), "delivered_on": np.full(patients, start)},
        "visits": {"visit_id": visit_ids(visits), "patient_id": names[visits["patient"]], "visited_on": start + visits["day"], "reason": visits["reason"],
                   "parts_checked": np.full(len(visits["day"]), "all")},
        "parts_log": {"visit_id": visit_ids(parts), "denture_id": np.char.add(names[parts["patient"]], "/lower/1"), "position": np.full(len(parts["day"]), "33"),
                      "part": np.full(len(parts["day"]), "insert"), "finding": parts["finding"], "action": parts["action"]},
    }  # fmt: skip
    connection = connect()
    for name, columns in tables.items():
        kinds = dict(schemas.stored_tables()[name].stored_columns)
        precise = {f"{column}_precision": np.full(len(values), "day") for column, values in columns.items() if values.dtype.kind == "M"}
        table = pa.table({column: pa.array(values).cast(ARROW[kinds[column]]) for column, values in (columns | precise).items()})
        listed = ", ".join(f'"{column}"' for column in table.column_names)
        connection.register("given", table)
        connection.execute(f"INSERT INTO {name} ({listed}) SELECT {listed} FROM given")
        connection.unregister("given")
    plan = dict(read_plan()) | {"endpoints": [ENDPOINT]}
    build(connection, plan, endpoints=[ENDPOINT["name"]], under_care=True)
    main, until_gap = (connection.execute(f"SELECT left_look, left_care, right_day FROM {table} WHERE serial = 1 ORDER BY patient_id").df().astype(float)
                       for table in ("endpoint_times", "endpoint_times_under_care"))  # fmt: skip
    right = main["right_day"].fillna(np.inf).to_numpy()
    look, care = main["left_look"].to_numpy(), main["left_care"].to_numpy()
    capped = np.where(np.isinf(right), np.minimum(care, look + UNDER_CARE_DAYS), care)  # the last contact was the last look
    return {
        "examination": (look, right), "patient": (care, right), "first gap": (until_gap["left_care"].to_numpy(), until_gap["right_day"].fillna(np.inf).to_numpy()),
        "only the un-failed capped": (capped, right),
    }  # fmt: skip


def shares(patients: int, repetitions: int, **cell) -> dict[str, np.ndarray]:
    """The share without failure after 3 years by each rule, once per repetition; one build for all of them."""
    from outcomes.longevity import turnbull

    rows = endpoint_rows(patients * repetitions, **cell)
    found = {}
    for rule in RULES if cell["recall"] == 365 else RULES[:2]:  # a gap in care must be longer than the recall interval
        left, right = (side.reshape(repetitions, patients) for side in rows[rule])
        found[rule] = np.array([float(np.asarray(turnbull(a, b).survival_at(HORIZON)).item()) for a, b in zip(left, right, strict=True)])
    return found


def study(patients: int = 200, repetitions: int = 500, seed: int = 20260) -> dict[str, dict]:
    """Mean and Monte Carlo error of the bias after 3 years, by cell and rule."""
    found = {}
    for number, (name, cell) in enumerate(CELLS.items()):
        by_rule = shares(patients, repetitions, **cell, seed=seed + number)
        found[name] = {rule: {"bias": round(float(share.mean() - TRUE_SHARE), 4), "error": round(float(share.std(ddof=1) / np.sqrt(repetitions)), 4)} for rule, share in by_rule.items()}
    return found
