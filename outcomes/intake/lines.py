"""The day sheet and the set-up as the rules across tables see them: plain columns, and what the expansion made of each line."""

from __future__ import annotations

import numpy as np
import pandas as pd

from outcomes.intake.sites import DENTURE_CELLS, Sites, named_positions


def views(sites: Sites, day_sheet: pd.DataFrame, set_up: pd.DataFrame, parts: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Frames for the rules: day_sheet, set_up, day_sheet_positions (place, column_name, position, arch, in_place) and noticed_lines (line).

    ``day_sheet``, ``set_up``: the written tables without repeats of whole lines, of which nothing was made. ``parts``: the rows of parts_log that the lines made.
    """
    named = _positions(sites)
    return {"day_sheet": _day_sheet(sites, day_sheet, named), "set_up": _set_up(sites, set_up), "day_sheet_positions": named,
            "noticed_lines": pd.DataFrame({"line": parts.loc[parts["noticed_on_precision"].notna() & (parts["_from"] == "day_sheet"), "_at"].unique()}, dtype="int64")}


def nothing() -> dict[str, pd.DataFrame]:
    """The same frames where there is no day sheet."""
    def texts(*names: str) -> pd.DataFrame:
        return pd.DataFrame({name: pd.Series(dtype=object) for name in names})

    day_sheet = texts("reason", "arch", "why", "date_precision", "snap_lost_precision", "jaw").assign(speaks_of_denture=False, changed_count=0, level_elsewhere=False)
    set_up = texts("arch", "position", "level", "placed").assign(fitted_on=pd.Series(dtype="datetime64[s]"), line=pd.Series(dtype="Int64"), changed_before=pd.Series(dtype="Int64"))
    named = texts("column_name", "position", "arch").assign(place=pd.Series(dtype="int64"), in_place=False, changed=False)
    return {"day_sheet": day_sheet, "set_up": set_up, "day_sheet_positions": named, "noticed_lines": pd.DataFrame({"line": pd.Series(dtype="int64")})}


def _day_sheet(sites: Sites, frame: pd.DataFrame, named: pd.DataFrame) -> pd.DataFrame:
    plain = frame[["reason", "arch", "why", "date_precision", "snap_lost_precision"]].astype(object)
    plain = plain.where(plain.notna(), None)
    plain["jaw"] = sites.lines["jaw"].reindex(frame.index).to_numpy()
    plain["speaks_of_denture"] = frame[list(DENTURE_CELLS)].drop(columns="snap_lost").map(_says_something).any(axis=1)
    plain["speaks_of_denture"] &= frame.index.isin(sites.lines.index)
    listed = named[named["column_name"] == "inserts_changed"].groupby("place").size().reindex(frame.index).fillna(0)
    everything = frame["inserts_changed"].map(lambda cell: isinstance(cell, str) and cell == "all").astype(bool)
    plain["changed_count"] = listed.where(~everything, 1).astype("int64")
    elsewhere = named[(named["column_name"] == "level_now") & ~named["changed"]]
    plain["level_elsewhere"] = frame.index.isin(elsewhere["place"])
    return plain.assign(place=frame.index.astype("int64"))


def _says_something(cell) -> bool:
    return cell is not None and cell != "none"


def _set_up(sites: Sites, frame: pd.DataFrame) -> pd.DataFrame:
    plain = frame[["arch", "position", "level"]].astype(object)
    plain = plain.where(plain.notna(), None).assign(fitted_on=frame["fitted_on"], changed_before=frame["changed_before"].astype("Int64"))
    placed = sites.sets.reindex(frame.index)
    plain["placed"] = placed["placed"].astype(object).where(placed["placed"].notna(), None)
    plain["line"] = placed["line"].astype("Int64")
    return plain.assign(place=frame.index.astype("int64"))


def _positions(sites: Sites) -> pd.DataFrame:
    """Every position that a cell of a line names, whether a set was in place there by then, and whether its insert was changed."""
    named = named_positions(sites.lines).rename(columns={"line": "place", "column": "column_name"})
    placed = sites.in_place(sites.lines.loc[np.unique(named["place"])])[["line", "position"]].rename(columns={"line": "place"}).assign(in_place=True)
    named = named.merge(placed, how="left", on=["place", "position"])
    named["in_place"] = named["in_place"].eq(True)
    line = sites.lines.reindex(named["place"])
    changed = pd.MultiIndex.from_frame(named.loc[named["column_name"] == "inserts_changed", ["place", "position"]])
    everything = line["inserts_changed"].map(lambda cell: isinstance(cell, str) and cell == "all").to_numpy(dtype=bool)
    named["changed"] = everything | pd.MultiIndex.from_frame(named[["place", "position"]]).isin(changed)
    named["arch"] = line["arch"].astype(object).to_numpy()
    # A line whose jaw is not clear is one problem, not one for each position; a level elsewhere is named as such.
    named["in_place"] |= line["jaw"].isna().to_numpy() | ((named["column_name"] == "level_now") & ~named["changed"])
    return named
