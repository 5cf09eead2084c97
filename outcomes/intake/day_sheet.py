"""Day sheet and set-up to long tables, by fixed rules. Every long row keeps the file, sheet and line it came from.

The rules, each tested under its name in tests/intake/test_day_sheet.py:

1. A line is one row of visits.
2. A set fitted on the day of a line is three rows at each position: abutment, housing, insert (bar, housing, clip for a bar); fitted
   where none was in place, replaced where one was.
3. A set that was there before the first line enters with that line as already in place. Where its insert was changed before, on days not
   known, the one in place is of unknown age, and how often it was changed is kept with it.
4. Inserts changed are replaced; why, worn_at and parts_checked say what was found and why it was changed.
5. The cells housings, abutments and denture are read by their grammar; fine is written only where parts_checked does not say so.
6. snap_lost is the day on which the failing inserts of the line were noticed, else its failing housings.
7. Nothing is written for parts that parts_checked covers.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from outcomes import schemas
from outcomes.intake import dates, keys, phrases
from outcomes.intake.log import TRACE, Log
from outcomes.intake.sites import Sites

RETENTIVE = ["insert", "clip"]
FAILED_INSERT = ["worn", "torn", "lost"]
FAILED_HOUSING = ["debonded", "loose in its seat", "lost"]
SILENT = ["notes silent", "not checked"]
CHANGE_REASONS = {"wanted firmer": "wanted firmer", "wanted lighter": "wanted lighter", "routine": "routine", "other work": "with reline or housing work"}


def expand(log: Log, sites: Sites, held: dict[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """The long rows of visits, parts_log, denture_log, dentures and implants that the day sheet and the set-up make.

    ``held``: dentures that sheets loaded before made, and implants of the store; what the sheets do not speak of is kept from them.
    Implants typed into their own table get the divergence they lack from the set-up.
    """
    sources = {name: log.frames[name] for name in ("day_sheet", "set_up")}
    lines = sites.lines.assign(visit_id=keys.visit_ids(*(sites.lines[name] for name in ("patient", "date", "date_precision", "arch", "visit_order"))))
    parts = noticed(combined(set_parts(lines, sites), said_parts(lines, sites)), lines)
    parts["visit_id"] = lines["visit_id"].reindex(parts["line"]).to_numpy()
    found = {
        "visits": visits(lines), "parts_log": parts, "denture_log": denture_rows(lines), "dentures": dentures(sites, held["dentures"]),
        "implants": implants(sites, log.frames["implants"], held["implants"]),
    }
    return {name: as_declared(rows, schemas.tables()[name], sources) for name, rows in found.items()}


def visits(lines: pd.DataFrame) -> pd.DataFrame:
    """Rule 1: one row of visits for each line, its columns as given."""
    rows = lines.rename(columns={"patient": "patient_id", "date": "visited_on", "date_precision": "visited_on_precision"})
    return rows.assign(source="day_sheet", row=lines.index, cell=None)


def set_parts(lines: pd.DataFrame, sites: Sites) -> pd.DataFrame:
    """Rules 2 and 3: the rows of each set at the line of its day, or at the first line of its jaw where it was there before."""
    sets = sites.sets[sites.sets["placed"].isin(["fitted", "already in place"])].rename_axis("row").reset_index().astype({"line": "int64"})
    line = lines.reindex(sets["line"])
    before = (sets["placed"] == "already in place").to_numpy()
    conversion = (line["reason"] == "conversion").to_numpy()
    checked = line["parts_checked"].to_numpy()
    bar = (sets["attachment"] == "bar").to_numpy()
    pieces = []
    for part, on_bar in (("abutment", "bar"), ("housing", "housing"), ("insert", "clip")):
        rows = sets[["line", "row", "position", "attachment", "patient"]].copy()
        rows["part"] = np.where(bar, on_bar, part)
        there = _still_there(sets, sites, part)
        rows["action"] = np.select([before, there], ["none", "replaced"], "fitted")
        covered = np.isin(checked, ["all", "inserts only"] if part == "insert" else ["all"])
        rows["finding"] = np.select([before & covered, before, there], ["sound", "not checked", "sound"], "not present")
        rows["change_reason"] = np.where(there & ~before & conversion, "conversion", None)
        rows["in_place_since"] = sets["fitted_on"].where(before)
        rows["in_place_since_precision"] = sets["fitted_on_precision"].where(before)
        undated = before & (part == "insert") & (sets["changed_before"].fillna(0) > 0).to_numpy(dtype=bool)
        rows["changed_before"] = sets["changed_before"].where(undated)
        rows.loc[undated, "in_place_since"] = pd.NaT
        rows.loc[undated, "in_place_since_precision"] = "not known"
        for name, of in (("level", "insert"), ("torque_ncm", "abutment"), ("height_mm", "abutment"), ("pick_up", "housing")):
            rows[name] = sets[name] if of == part else pd.Series(index=sets.index, dtype=sets[name].dtype)
        pieces.append(rows)
    return pd.concat(pieces, ignore_index=True).assign(source="set_up", cell="position")


def _still_there(sets: pd.DataFrame, sites: Sites, part: str) -> np.ndarray:
    """Whether such a part is in place at the set's position just before it: an abutment stays with the patient, the others with their denture."""
    frame = sets[["patient", "jaw", "position", "turn", "fitted_on"]].copy()
    frame["carrier"] = 0 if part == "abutment" else _denture_at(frame, sites)
    earlier = frame.sort_values("turn", kind="stable").groupby(["patient", "position", "carrier"])["turn"].shift(1).reindex(frame.index)
    stored = pd.MultiIndex.from_frame(sites.stored[["patient", "position"]])
    known = pd.MultiIndex.from_frame(frame[["patient", "position"]]).isin(stored) & (frame["carrier"] <= 1).to_numpy()
    earlier = earlier.where(earlier.notna() | ~known, -1.0)
    taken = _removals(sites, part)
    last = frame.assign(row=frame.index, earlier=earlier).merge(taken, on=["patient", "position"])
    last = last[(last["removed"] < last["turn"]) & (last["removed"] >= last["earlier"])]
    return (earlier.notna() & ~frame.index.isin(last["row"])).to_numpy()


def _denture_at(frame: pd.DataFrame, sites: Sites) -> np.ndarray:
    """How many dentures the patient had had in that jaw by that day, that day's included."""
    begun = frame.rename_axis("row").reset_index().merge(sites.dentures[["patient", "jaw", "day"]], on=["patient", "jaw"])
    begun = begun[begun["day"].isna() | (begun["day"] <= begun["fitted_on"])]
    return frame.index.map(begun.groupby("row").size()).fillna(1).to_numpy()


def _removals(sites: Sites, part: str) -> pd.DataFrame:
    """(patient, position, removed): the turns of lines that say the part was taken out for good."""
    cell = "abutments" if part == "abutment" else "housings"
    found = [(patient, entry.position, turn) for patient, turn, value in zip(*(sites.lines[name].tolist() for name in ("patient", "turn", cell)))
             if isinstance(value, tuple) for entry in value if entry.action == "removed"]
    return pd.DataFrame(found, columns=["patient", "position", "removed"])


def said_parts(lines: pd.DataFrame, sites: Sites) -> pd.DataFrame:
    """Rules 4 and 5: what the cells of the lines say of inserts, housings and abutments."""
    rows = [changed_inserts(lines, sites), cell_parts(lines, sites, "housings"), cell_parts(lines, sites, "abutments")]
    return pd.concat([part.astype({"line": "int64", "row": "int64"}) for part in rows], ignore_index=True)


def changed_inserts(lines: pd.DataFrame, sites: Sites) -> pd.DataFrame:
    """Rule 4: a row for each insert changed, and one for each found worn and left in."""
    every = lines[lines["inserts_changed"].map(lambda cell: isinstance(cell, str) and cell == phrases.EVERY).astype(bool)]
    changed = pd.concat([_listed(lines, "inserts_changed"), sites.in_place(every)[["line", "position"]]], ignore_index=True)
    changed["cell"] = "inserts_changed"
    worn = _listed(lines, "worn_at").assign(cell="worn_at")
    rows = changed.merge(worn[["line", "position"]].assign(worn=True), how="outer", on=["line", "position"])
    rows["changed"] = rows["cell"].notna()
    rows["cell"] = rows["cell"].fillna("worn_at")
    rows["worn"] = rows["worn"].eq(True)
    line = lines.reindex(rows["line"])
    why, some_worn = line["why"].to_numpy(dtype=object), line["worn_at"].notna().to_numpy()
    worn_here, was_changed = rows["worn"].to_numpy(), rows["changed"].to_numpy()
    failed = np.isin(why.astype(str), FAILED_INSERT) | (pd.isna(why) & some_worn)
    culprit = failed & (worn_here | ~some_worn)
    seen_sound = np.where(line["parts_checked"].isin(["all", "inserts only"]), "sound", "not checked")
    reason = np.array([CHANGE_REASONS.get(word) for word in why], dtype=object)
    rows["finding"] = np.select(
        [~was_changed | (worn_here & ~culprit), culprit, pd.isna(why) & ~failed],
        ["worn", np.where(pd.isna(why), "worn", why.astype(str)), "notes silent"], seen_sound)
    rows["action"] = np.where(was_changed, "replaced", "none")
    rows["change_reason"] = np.select([~was_changed, culprit, failed, pd.isna(why)], [None, "failed", "with its pair", "not recorded"], reason)
    rows["level"] = _levels(rows, lines)
    return _on_site(rows, lines, sites, "insert").drop(columns=["worn", "changed"])


def _levels(rows: pd.DataFrame, lines: pd.DataFrame) -> np.ndarray:
    """level_now at the position, for inserts that were changed."""
    out = []
    for line, position, changed in zip(rows["line"], rows["position"], rows["changed"]):
        levels = lines.at[line, "level_now"] if changed else None
        out.append(dict(levels).get(position) if isinstance(levels, tuple) else levels)
    return np.array(out, dtype=object)


def cell_parts(lines: pd.DataFrame, sites: Sites, cell: str) -> pd.DataFrame:
    """Rule 5: a row for each entry of the cell; fine is a sound row for each site in place where parts_checked does not cover it."""
    part = schemas.tables()["day_sheet"].column(cell).part
    single, everywhere = [], []
    for line, value in lines[cell].dropna().items():
        for entry in value if isinstance(value, tuple) else ():
            (everywhere if entry.position == phrases.EVERY else single).append((line, entry.position, entry.finding, entry.action, entry.change_reason))
    names = ["line", "position", "finding", "action", "change_reason"]
    rows, each = pd.DataFrame(single, columns=names), pd.DataFrame(everywhere, columns=names).drop(columns="position")
    fine = lines.index[(lines[cell].map(lambda value: isinstance(value, str)).astype(bool)) & (lines["parts_checked"] != "all")]
    each = pd.concat([each, pd.DataFrame({"line": fine, "finding": "sound", "action": "none", "change_reason": None})], ignore_index=True)
    placed = sites.in_place(lines.loc[lines.index.isin(each["line"])])[["line", "position"]]
    rows = pd.concat([rows, each.astype({"line": "int64"}).merge(placed, on="line")], ignore_index=True)
    return _on_site(rows.assign(cell=cell, level=None), lines, sites, part)


def _listed(lines: pd.DataFrame, cell: str) -> pd.DataFrame:
    listed = lines.loc[lines[cell].map(lambda value: isinstance(value, tuple)).astype(bool), cell].explode()
    return pd.DataFrame({"line": listed.index, "position": listed.to_numpy()}, dtype=object).astype({"line": "int64"})


def _on_site(rows: pd.DataFrame, lines: pd.DataFrame, sites: Sites, part: str) -> pd.DataFrame:
    """The part's own name at its site: on a bar the retentive part is a clip, and what carries it is the bar."""
    known = sites.in_place(lines.loc[lines.index.isin(rows["line"])])
    attachment = rows.merge(known, how="left", on=["line", "position"])["attachment"]
    on_bar = (attachment == "bar").to_numpy() | rows["position"].str.contains("-", regex=False).fillna(False).to_numpy(dtype=bool)
    return rows.assign(part=np.where(on_bar, {"insert": "clip", "abutment": "bar"}.get(part, part), part), source="day_sheet", row=rows["line"])


def combined(made: pd.DataFrame, said: pd.DataFrame) -> pd.DataFrame:
    """One row for each line, position and part: the set says what was fitted, the line what was found and why."""
    both = made.merge(said, how="outer", on=["line", "position", "part"], suffixes=("", "_said"))
    has_set, has_said = both["source"].notna(), both["source_said"].notna()
    fitted = has_set & both["action"].isin(["fitted", "replaced"])
    stated = has_said & ~(fitted & ((both["action"] == "fitted") | both["finding_said"].isin(SILENT)))
    changed_here = has_said & ~fitted
    out = both[["line", "position", "part", "attachment", "torque_ncm", "height_mm", "pick_up", "in_place_since", "in_place_since_precision", "changed_before"]].copy()
    out["finding"] = both["finding_said"].where(stated, both["finding"])
    out["action"] = both["action_said"].where(changed_here, both["action"])
    out["change_reason"] = both["change_reason_said"].where(changed_here, both["change_reason"])
    renewed = changed_here & (both["action_said"] == "replaced")
    out["level"] = both["level_said"].where(renewed | ~has_set, both["level"])
    # The set's own cells are the ones to mend, unless the line itself spoke of the part.
    for name in ("source", "row", "cell"):
        out[name] = both[name + "_said"].where(has_said & ~fitted, both[name])
    return out


def noticed(parts: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    """Rule 6: snap_lost becomes noticed_on of the failing inserts of its line, else of its failing housings."""
    line = lines.reindex(parts["line"])
    lost = line["snap_lost_precision"].notna().to_numpy()
    insert = lost & parts["part"].isin(RETENTIVE).to_numpy() & parts["finding"].isin(FAILED_INSERT).to_numpy()
    housing = lost & (parts["part"] == "housing").to_numpy() & parts["finding"].isin(FAILED_HOUSING).to_numpy()
    housing &= ~parts["line"].isin(parts.loc[insert, "line"]).to_numpy()
    here = insert | housing
    return parts.assign(noticed_on=line["snap_lost"].where(here).to_numpy(), noticed_on_precision=line["snap_lost_precision"].where(here).to_numpy())


def denture_rows(lines: pd.DataFrame) -> pd.DataFrame:
    """Rule 5 for the denture: a row for each thing found or done; fine is a sound row."""
    rows = [(line, entry.finding, entry.action) for line, value in lines["denture"].dropna().items()
            for entry in (value if isinstance(value, tuple) else (phrases.Entry("", "sound", "none"),))]
    rows = pd.DataFrame(rows, columns=["line", "finding", "action"]).astype({"line": "int64"})
    return rows.assign(visit_id=lines["visit_id"].reindex(rows["line"]).to_numpy(), source="day_sheet", row=rows["line"], cell="denture")


def dentures(sites: Sites, held: pd.DataFrame) -> pd.DataFrame:
    """One denture for the first set of a jaw, and one for each renewal, which retires the one before."""
    rows = sites.dentures
    out = pd.DataFrame({
        "denture_id": rows["patient"] + "/" + rows["jaw"] + "/" + rows["number"].astype(str), "patient_id": rows["patient"], "arch": rows["jaw"],
        "delivered_on": rows["day"], "delivered_on_precision": rows["precision"], "retired_on": rows["retired_day"], "retired_on_precision": rows["retired_precision"],
        "retired_reason": np.where(rows["retired_precision"].notna(), "remade", None), "existing": np.where(rows["reason"] == "conversion", "yes", None),
        "source": rows["source"], "row": rows["row"], "cell": np.where(rows["source"] == "set_up", "fitted_on", "denture"),
    })
    out = out[rows["source"].isin(["set_up", "day_sheet"])]
    if held.empty:
        return out
    renewed = rows[(rows["source"] == "store") & (rows["retiring_row"] >= 0)]
    old = renewed[["denture_id", "retired_day", "retired_precision", "retiring_row"]].merge(held[held["retired_on_precision"].isna()], on="denture_id")
    old = old.assign(retired_on=old["retired_day"], retired_on_precision=old["retired_precision"], retired_reason="remade", source="day_sheet", row=old["retiring_row"], cell="denture")
    return pd.concat([_kept(out, sites, held), old], ignore_index=True)


def _kept(made: pd.DataFrame, sites: Sites, held: pd.DataFrame) -> pd.DataFrame:
    """Made dentures with what the store knows beside: its other columns, and its retirement unless a line of that very day speaks against it."""
    both = made.merge(held, how="left", on="denture_id", suffixes=("", "_held"))
    restated = pd.MultiIndex.from_frame(both[["patient_id", "arch", "retired_on_held"]]).isin(pd.MultiIndex.from_frame(sites.lines[["patient", "jaw", "date"]]))
    for name in held.columns.difference(["denture_id", "patient_id", "arch", "delivered_on", "delivered_on_precision"]):
        if name not in made:
            continue
        stands = both[name].isna() & ~(restated & name.startswith("retired"))
        both[name] = both[name].where(~stands, both[name + "_held"])
    return both.drop(columns=[name for name in both if name.endswith("_held")])


def implants(sites: Sites, given: pd.DataFrame, held: pd.DataFrame) -> pd.DataFrame:
    """One implant for each single site of a set, in use, unless the implants table has it; its divergence as first written.

    Of an implant that the store holds, only a divergence not yet known is added.
    """
    sets = sites.sets[~sites.sets["position"].str.contains("-", regex=False)].rename_axis("row").reset_index()
    rows = sets.groupby(["patient", "position"], as_index=False, sort=False).agg(divergence_deg=("divergence_deg", "first"), row=("row", "first"))
    measured = rows.set_index(["patient", "position"])["divergence_deg"].reindex(pd.MultiIndex.from_arrays([given["patient_id"].astype(object), given["position"].astype(object)]))
    given["divergence_deg"] = given["divergence_deg"].where(given["divergence_deg"].notna(), measured.to_numpy())
    named = pd.MultiIndex.from_arrays([given["patient_id"].astype(object), given["position"].astype(object)])
    rows = rows[~pd.MultiIndex.from_frame(rows[["patient", "position"]]).isin(named)]
    rows = rows.rename(columns={"patient": "patient_id"}).assign(source="set_up", cell="position")
    rows = rows.merge(held, how="left", on=["patient_id", "position"], suffixes=("", "_held"), indicator="there")
    rows["divergence_deg"] = rows["divergence_deg"].where(rows["divergence_deg"].notna(), rows["divergence_deg_held"].astype("float64"))
    rows["state"] = rows["state"].astype(object).where(rows["there"] == "both", "in use")
    return rows


def as_declared(rows: pd.DataFrame, table: schemas.Table, sources: dict[str, pd.DataFrame]) -> pd.DataFrame:
    """Rows with every declared column in the kind that typed frames have, and with the file, sheet and line of the written row each rests on."""
    count, out = len(rows), {}
    for column in table.columns:
        values = rows[column.name] if column.name in rows else pd.Series([None] * count, index=rows.index, dtype=object)
        if column.type == "date":
            precision = rows[column.name + "_precision"] if column.name in rows else values
            out[column.name] = pd.to_datetime(values).astype("datetime64[s]").to_numpy()
            out[column.name + "_precision"] = pd.Categorical(precision.astype(object), categories=list(dates.PRECISIONS))
        elif column.type == "code":
            out[column.name] = pd.Categorical(values.astype(object), categories=list(column.code_list))
        elif column.type == "number":
            out[column.name] = pd.to_numeric(values).astype("float64").to_numpy()
        elif column.type == "whole":
            out[column.name] = pd.array(pd.to_numeric(values), dtype="Int32")
        else:
            out[column.name] = pd.array(values.astype(object).where(values.notna(), None), dtype="string[pyarrow]")
    frame = pd.DataFrame(out, index=range(count))
    trace = {name: np.zeros(count, dtype=np.int64) for name in ("_file", "_line", "_at")}
    sheets = np.full(count, "", dtype=object)
    for name, source in sources.items():
        here = (rows["source"] == name).to_numpy()
        at = rows["row"].to_numpy()[here].astype(np.int64)
        for key in trace:
            trace[key][here] = source[key].to_numpy()[at]
        sheets[here] = source["_sheet"].astype(object).to_numpy()[at]
    frame["_file"], frame["_sheet"], frame["_line"] = trace["_file"].astype(np.int32), pd.Categorical(sheets), trace["_line"].astype(np.int32)
    frame["_from"] = pd.Categorical(rows["source"].astype(object).to_numpy())
    frame["_at"], frame["_cell"] = trace["_at"], pd.Categorical(rows["cell"].astype(object).to_numpy())
    assert set(TRACE) <= set(frame.columns)
    return frame
