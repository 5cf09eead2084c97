"""What a store holds already, as far as the files now checked can touch it."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyarrow as pa
import pyarrow.compute as pc

from outcomes import schemas
from outcomes.intake.headings import table_of
from outcomes.intake.log import Log

MAKERS = ("day_sheet", "set_up")


class Held:
    """Rows of the store for the patients of the files; with no store, nothing."""

    def __init__(self, store, log: Log):
        self.tables: dict[str, pa.Table] = {}
        self._written: dict[str, pd.DataFrame] = {}
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
            for name in ("dentures", "implants"):
                self._written[name] = self._keys_written(connection, name)
            connection.execute("DROP TABLE intake_touched")
        finally:
            connection.unregister("intake_patients")
            connection.unregister("intake_visits")

    @staticmethod
    def _keys_written(connection, name: str) -> pd.DataFrame:
        """Keys of rows that were typed into their own table, not made from a day sheet or set-up."""
        key = schemas.stored_tables()[name].key
        columns = ", ".join(f'k."{column}"' for column in key)
        found = connection.sql(f'SELECT {columns}, k._sheet AS sheet, s.name AS file FROM kept."{name}" k JOIN kept.sources s ON s.source = k._source WHERE k._ended IS NULL').df()
        made = [table_of(sheet if isinstance(sheet, str) and sheet else file.rsplit(".", 1)[0], inside=True) in MAKERS for sheet, file in zip(found["sheet"], found["file"])]
        return found.loc[~np.array(made, dtype=bool), list(key)]

    def written(self, name: str) -> pd.DataFrame:
        """The held rows of dentures or implants that were typed into their own table."""
        return self.frame(name).merge(self._written[name], on=list(self._written[name])) if name in self._written else self.frame(name)

    def made(self, name: str) -> pd.DataFrame:
        """The held rows of dentures or implants that a day sheet or set-up made."""
        frame = self.frame(name)
        if name not in self._written:
            return frame
        return frame.merge(self._written[name], how="left", indicator="_from", on=list(self._written[name])).query("_from == 'left_only'").drop(columns="_from")

    def forget(self, name: str, keys) -> None:
        """Leave rows with these single keys out from now on: the files state anew what they stood for."""
        if name in self.tables and len(keys):
            column = schemas.stored_tables()[name].key[0]
            table = self.tables[name]
            self.tables[name] = table.filter(pc.invert(pc.is_in(table[column], pa.array(list(keys), table.schema.field(column).type))))

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
        """Dentures made from sheets before, as ``sites.arrange`` wants them: patient, jaw, day, precision, denture_id."""
        frame = self.made("dentures").rename(columns={"patient_id": "patient", "arch": "jaw", "delivered_on": "day", "delivered_on_precision": "precision"})
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
