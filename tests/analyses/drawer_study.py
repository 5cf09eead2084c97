"""Do the drawer's ranges hold what they say? Simulated clinics of known truth: the log is cut a year (or more) before its end, the next
year is forecast, and the inserts that were then used are counted.

    python tests/analyses/drawer_study.py [CLINICS]     writes drawer_study.json beside this file; about 5 s of processor time a clinic
"""

from __future__ import annotations

import importlib.util
import json
import sys
from pathlib import Path

import pandas as pd

HERE = Path(__file__).resolve().parent
SIZES, YEARS, BACK, DRAWS, YEAR = (50, 100, 200), 8, (1, 2, 3), 300, 365.25


def store(patients: int, seed: int):
    spec = importlib.util.spec_from_file_location("simulated_store", HERE / "simulated_store.py")
    module = importlib.util.module_from_spec(spec)
    sys.modules["simulated_store"] = module
    spec.loader.exec_module(module)
    import datetime

    return module.store(patients, seed, clinic={"start": datetime.date(2018, 1, 1), "closing": datetime.date(2025, 12, 31)}, cast={"last_delivery_years": 0.0})


def trials(patients: int, seed: int) -> list[dict]:
    """One row per cut and level: what was forecast, and what was used."""
    from outcomes.analyses.cohort import read_log
    from outcomes.analyses.drawer_history import EPOCH, fitted, history, used
    from outcomes.longevity import replacement_forecast
    from outcomes.plan import read_plan

    log = read_log(store(patients, seed).connection, read_plan())
    rows, closing, out = fitted(log), (pd.Timestamp(log.closing) - EPOCH).days, []
    for back in BACK:
        known = history(log, rows, closing - round(back * YEAR))
        table = replacement_forecast(known, YEAR, draws=DRAWS, seed=seed).table().set_index("level")
        came = used(rows, known, YEAR)
        came.loc["all"] = came.sum()
        for level in table.index:
            for what in ("replaced", "new", "total"):
                number = int(came[what].get(level, 0))
                low, high = table.loc[level, [f"{what}_low", f"{what}_high"]]
                out.append({"patients": patients, "seed": seed, "back": back, "level": level, "what": what, "mean": float(table.loc[level, what]), "low": int(low), "high": int(high), "used": number, "held": bool(low <= number <= high)})
    return out


def summary(frame: pd.DataFrame) -> list[dict]:
    """Share of ranges that held what came, and used over forecast, by size, for all levels together and for single levels with at least one expected."""
    out = []
    for size in (*SIZES, "all"):
        mine = frame if size == "all" else frame[frame["patients"] == size]
        for what in ("replaced", "new", "total"):
            for name, rows in (("all levels together", mine[mine["level"] == "all"]), ("single levels", mine[(mine["level"] != "all") & (mine["mean"] >= 1)])):
                rows = rows[rows["what"] == what]
                out.append({"patients": size, "what": what, "of": name, "ranges": len(rows), "held": round(float(rows["held"].mean()), 3), "used_over_forecast": round(float(rows["used"].sum() / rows["mean"].sum()), 3)})
    return out


def main(clinics: int) -> None:
    rows = [row for seed in range(1, clinics + 1) for size in SIZES for row in trials(size, seed)]
    body = {"clinics": clinics * len(SIZES), "years_of_log": YEARS, "range": 0.8, "draws": DRAWS, "results": summary(pd.DataFrame(rows))}
    (HERE / "drawer_study.json").write_text(json.dumps(body, indent=1) + "\n", encoding="utf-8")
    print(pd.DataFrame(body["results"]).to_string())


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 40)
