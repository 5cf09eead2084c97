"""The rules across tables, run over the staged rows; each is a file in schemas/rules."""

from __future__ import annotations

import numpy as np
import pandas as pd

from outcomes import schemas
from outcomes.intake.log import Log
from outcomes.intake.problems import Problems
from outcomes.intake.staged import Staged
from outcomes.intake.words import suggestion


def run(staged: Staged, log: Log, problems: Problems) -> None:
    """Run every rule whose tables were all readable, and note what it finds."""
    for rule in _asked(log):
        problems.sentences[rule["name"]] = rule["sentence"]
        found = staged.breaches(rule)
        for table, part in found.groupby("table_name", sort=False):
            new = part[part["place"].notna()]  # a row the store holds is not now being checked
            places, columns = new["place"].to_numpy(dtype=np.int64), new["column_name"].tolist()
            order = np.argsort(places, kind="stable")
            places, columns = places[order], [columns[at] for at in order]
            remedy = _remedies(rule, staged, log, str(table), places, columns) if "suggest_from" in rule else rule["remedy"]
            problems.add(rule["severity"], rule["name"], str(table), places, columns, rule["sentence"], remedy)


def errors(staged: Staged, log: Log) -> dict[str, np.ndarray]:
    """Places by table at which any error rule finds something in what is staged now."""
    out: dict[str, list] = {}
    for rule in _asked(log):
        if rule["severity"] == "error":
            for table, part in staged.breaches(rule).groupby("table_name"):
                out.setdefault(str(table), []).extend(part["place"].dropna().astype(np.int64))
    return {table: np.unique(np.array(places, dtype=np.int64)) for table, places in out.items()}


def _asked(log: Log) -> list[dict]:
    """Rules whose tables could all be read and whose own table has rows."""
    return [rule for rule in schemas.rules().values() if not log.refused & set(rule.get("needs", [])) and ("table" not in rule or log.rows(rule["table"]))]


def _remedies(rule: dict, staged: Staged, log: Log, table: str, places: np.ndarray, columns: list[str]) -> list[str]:
    """The rule's remedy, with the nearest known words before it where any are near."""
    known_table, known_column = rule["suggest_from"].split(".")
    known = sorted({str(value) for (value,) in staged.connection.execute(f'SELECT DISTINCT "{known_column}" FROM "{known_table}" WHERE "{known_column}" IS NOT NULL').fetchall()})
    hints: dict[str, str] = {}
    out = []
    for place, column in zip(places, columns):
        value = log.frames[table][column].iloc[place]
        if pd.isna(value) or len(known) > 2000:
            out.append(rule["remedy"])
            continue
        if value not in hints:
            hint = suggestion(value, known)
            hints[value] = f"{hint} {rule['remedy']}" if hint.startswith("Did") else rule["remedy"]
        out.append(hints[value])
    return out
