"""A simulated clinic in a database in memory, as a report finds a store: views of the kept tables, a revision, a history."""

from __future__ import annotations

import duckdb
import pandas as pd

from outcomes import schemas, synthetic_data


class SimulatedStore:
    """Reads like an open store. ``clinic``: the simulated clinic, whose truth is known."""

    revision = "0" * 64

    def __init__(self, clinic):
        self.clinic, self.connection = clinic, duckdb.connect()
        frames = clinic.stored_tables()
        for name, table in schemas.stored_tables().items():
            frame = frames[name] if name in frames else pd.DataFrame({column.name: pd.Series(dtype=object) for column in schemas.tables()[name].columns})
            self.connection.register("given", frame)
            dates = [column.name for column in schemas.tables()[name].columns if column.type == "date"]
            days = f" REPLACE ({', '.join(f'CAST({day} AS DATE) AS {day}' for day in dates)})" if dates else ""
            self.connection.execute(f'CREATE TABLE "{name}" AS SELECT *{days} FROM given')
            self.connection.unregister("given")

    def history(self) -> pd.DataFrame:
        return pd.DataFrame({"files": [("log.xlsx",)], "sha256": [("ab" * 32,)], "undone": [False]})


def store(patients: int, seed: int, like: str = "demo", **sections) -> SimulatedStore:
    """A store of a clinic of ``patients`` by a scenario with settings laid over it."""
    return SimulatedStore(synthetic_data.simulate(synthetic_data.scenario(like, **sections), patients=patients, seed=seed))
