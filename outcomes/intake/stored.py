"""What a store holds already, as far as the files now checked can touch it."""

from __future__ import annotations

import pandas as pd
import pyarrow as pa

from outcomes import schemas
from outcomes.intake.log import Log


class Held:
    """Rows of the store for the patients of the files; with no store, nothing."""

    def __init__(self, store, log: Log):
        self.tables: dict[str, pa.Table] = {}
        self.sets = log.frames.get("set_up")
        if store is not None:
            self._read(store.connection, log)

    def _read(self, connection, log: Log) -> None:
        connection.register("intake_patients", pa.table({"patient_id": pa.array(sorted(_patients(log)), pa.string())}))
        connection.register("intake_visits", pa.table({"visit_id": pa.array(sorted(_visits(log)), pa.string())}))
        try:
            touched = ("SELECT patient_id FROM intake_patients UNION SELECT patient_id FROM visits WHERE visit_id IN (SELECT visit_id FROM intake_visits)")
            connection.execute(f"CREATE OR REPLACE TEMP TABLE intake_touched AS {touched}")
            for name, table in schemas.stored_tables().items():
                names = {column.name for column in table.columns}
                if "patient_id" in names:
                    where = "WHERE patient_id IN (SELECT patient_id FROM intake_touched)"
                elif "visit_id" in names:
                    where = "WHERE visit_id IN (SELECT visit_id FROM visits WHERE patient_id IN (SELECT patient_id FROM intake_touched))"
                else:
                    where = ""
                self.tables[name] = connection.sql(f'SELECT * FROM "{name}" {where}').to_arrow_table()
            connection.execute("DROP TABLE intake_touched")
        finally:
            connection.unregister("intake_patients")
            connection.unregister("intake_visits")

    def frame(self, name: str) -> pd.DataFrame:
        """The held rows of a table, with its stored columns (none without a store)."""
        names = [column for column, _ in schemas.stored_tables()[name].stored_columns]
        if name not in self.tables:
            return pd.DataFrame({column: pd.Series(dtype="datetime64[s]" if kind == "DATE" else object) for column, kind in schemas.stored_tables()[name].stored_columns})
        frame = self.tables[name].to_pandas(date_as_object=False)[names]
        for column, kind in schemas.stored_tables()[name].stored_columns:
            if kind == "DATE":
                frame[column] = frame[column].astype("datetime64[s]")
        return frame

    def sites(self) -> pd.DataFrame:
        """(patient, jaw, position, attachment) of sites where an insert or clip is in place as far as the store knows.

        Left out are sites whose first set these files state themselves: a file that is loaded again tells the same story again.
        """
        empty = pd.DataFrame(columns=["patient", "jaw", "position", "attachment"], dtype=object)
        if not self.tables or not self.tables["parts_log"].num_rows:
            return empty
        parts = self.frame("parts_log").merge(self.frame("visits")[["visit_id", "patient_id", "visited_on", "visit_order"]], on="visit_id")
        parts = parts[parts["part"].isin(["insert", "clip"])].merge(self.frame("dentures")[["denture_id", "arch"]], on="denture_id")
        parts = parts.sort_values(["visited_on", "visit_order"], na_position="first", kind="stable")
        parts["attachment"] = parts.groupby(["patient_id", "position"])["attachment"].ffill()
        parts = parts[~self._told_again(parts)]
        last = parts.drop_duplicates(["patient_id", "position"], keep="last")
        last = last[~last["action"].isin(["removed", "moved"])]
        return last.rename(columns={"patient_id": "patient", "arch": "jaw"})[["patient", "jaw", "position", "attachment"]].astype(object).reset_index(drop=True)

    def _told_again(self, parts: pd.DataFrame) -> pd.Series:
        """Whether a set-up line of these files was fitted at the part's site no later than the store first knows of a part there."""
        if self.sets is None:
            return pd.Series(False, index=parts.index)
        sets = pd.DataFrame({"patient_id": self.sets["patient"].astype(object), "position": self.sets["position"].astype(object),
                             "fitted": self.sets["fitted_on"].fillna(pd.Timestamp("1900-01-01"))}).groupby(["patient_id", "position"])["fitted"].min()
        first = parts.groupby(["patient_id", "position"])["visited_on"].transform("min")
        fitted = pd.Series(sets.reindex(pd.MultiIndex.from_frame(parts[["patient_id", "position"]])).to_numpy(), index=parts.index)
        return fitted.notna() & (first.isna() | (fitted <= first))

    def dentures(self) -> pd.DataFrame:
        """Dentures as ``sites.arrange`` wants them: patient, jaw, day, precision."""
        frame = self.frame("dentures").rename(columns={"patient_id": "patient", "arch": "jaw", "delivered_on": "day", "delivered_on_precision": "precision"})
        return frame[["patient", "jaw", "day", "precision", "denture_id"]]


def _patients(log: Log) -> set[str]:
    found: set[str] = set()
    for frame in log.frames.values():
        for name in ("patient", "patient_id"):
            if name in frame:
                found |= set(frame[name].dropna().unique())
    return found


def _visits(log: Log) -> set[str]:
    found: set[str] = set()
    for frame in log.frames.values():
        if "visit_id" in frame:
            found |= set(frame["visit_id"].dropna().unique())
    return found
