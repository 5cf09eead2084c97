"""What sits where in a day sheet's log: the jaw of each line, the line at which each set was fitted, the sites in place, the dentures."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from outcomes.intake import positions

DENTURE_CELLS = ("inserts_changed", "worn_at", "level_now", "housings", "abutments", "denture", "snap_lost")
POSITION_CELLS = ("inserts_changed", "worn_at", "level_now", "housings", "abutments")
RESTATED = pd.Timedelta(days=31)  # a file whose first set lies no later than this after a stored denture's delivery states that denture anew


@dataclass
class Sites:
    """Lines and sets put in order.

    ``lines``: day-sheet lines that can be expanded (index: row of the day sheet) with ``jaw`` and ``turn``, their order in time within a
    jaw. ``sets``: set-up lines with ``jaw``, ``turn`` and ``line`` they belong to, and ``placed``: "fitted", "already in place",
    "older" (another set of before the log took its place), "no line" or "no visit". ``stored``: sites the store knows
    (patient, jaw, position, attachment). ``dentures``: each with patient, jaw, number, first day, and the set or line it starts with.
    ``gone``: patient, position and day of implants lost, taken out or broken. ``restated``: ids of stored dentures that the file states anew.
    """

    lines: pd.DataFrame
    sets: pd.DataFrame
    stored: pd.DataFrame
    dentures: pd.DataFrame
    gone: pd.DataFrame
    restated: list[str]

    def in_place(self, lines: pd.DataFrame) -> pd.DataFrame:
        """(line, position, attachment): every site of the line's jaw with parts in place by then."""
        known = self.sets.loc[self.sets["placed"].isin(["fitted", "already in place"]), ["patient", "jaw", "position", "attachment", "turn"]]
        known = pd.concat([self.stored.assign(turn=-1), known], ignore_index=True)
        found = lines[["patient", "jaw", "turn", "date"]].rename_axis("line").reset_index().merge(known, on=["patient", "jaw"], suffixes=("", "_set"))
        found = found[found["turn_set"] <= found["turn"]].sort_values("turn_set", kind="stable")
        lost = found.reset_index().merge(self.gone, on=["patient", "position"])
        found = found.drop(index=lost.loc[lost["day"] <= lost["date"], "index"])
        return found.drop_duplicates(["line", "position"], keep="last")[["line", "position", "attachment"]].sort_values(["line", "position"]).reset_index(drop=True)


def arrange(lines: pd.DataFrame, sets: pd.DataFrame, given: pd.DataFrame, implants: pd.DataFrame, stored_sites: pd.DataFrame, stored_dentures: pd.DataFrame) -> Sites:
    """Put lines, sets and dentures in order.

    ``given``, ``implants``: the tables dentures and implants as typed, in these files or before; ``stored_sites`` (patient, jaw, position,
    attachment) and ``stored_dentures`` (patient, jaw, day, precision, denture_id): what the store knows from sheets loaded before. A patient whose dentures are given has none made.
    """
    sets = _objects(sets, ["patient", "arch", "position", "attachment", "level", "fitted_on_precision", "pick_up"])
    sets = sets[sets["patient"].notna() & sets["position"].notna() & sets["fitted_on_precision"].notna()].copy()
    sets["jaw"] = sets["arch"].where(sets["arch"].notna(), sets["position"].map(positions.arch_of))
    lines = _objects(lines, ["patient", "arch", "reason", "parts_checked", "why", "date_precision", "snap_lost_precision"])
    lines = lines[lines["patient"].notna() & lines["date"].notna()].copy()
    lines["jaw"] = _jaws(lines, sets, given, stored_dentures)
    order = lines.assign(order=lines["visit_order"].fillna(1).astype(int), row=lines.index).sort_values(["date", "order", "row"])
    lines["turn"] = pd.Series(np.arange(len(order)), index=order.index)
    sets = _placed(sets, lines)
    dentures, restated = _dentures(lines, sets, given, stored_dentures)
    lost = implants[implants["state"].isin(["lost", "removed", "fractured"]) & implants["state_on"].notna()]
    gone = pd.DataFrame({"patient": lost["patient_id"].astype(object), "position": lost["position"].astype(object), "day": lost["state_on"]})
    return Sites(lines, sets, stored_sites, dentures, gone, restated)


def _objects(frame: pd.DataFrame, names: list[str]) -> pd.DataFrame:
    """A copy in which these columns hold plain text or None: joins need one kind on both sides."""
    return frame.assign(**{name: frame[name].astype(object).where(frame[name].notna(), None) for name in names})


def _jaws(lines: pd.DataFrame, sets: pd.DataFrame, given: pd.DataFrame, stored: pd.DataFrame) -> pd.Series:
    """The jaw of each line: as written, or that of the positions named, or that of the patient's only overdenture by then; else None."""
    jaw = lines["arch"].copy()
    open_lines = lines[jaw.isna()]
    mentioned = named_positions(open_lines)
    mentioned = mentioned.assign(jaw=mentioned["position"].map(positions.arch_of)).groupby("line")["jaw"].agg(["nunique", "first"])
    jaw.update(mentioned.loc[mentioned["nunique"] == 1, "first"])
    known = pd.concat([
        pd.DataFrame({"patient": sets["patient"], "jaw": sets["jaw"], "since": sets["fitted_on"]}),
        pd.DataFrame({"patient": given["patient_id"].astype(object), "jaw": given["arch"].astype(object), "since": given["delivered_on"]}).dropna(subset=["patient", "jaw"]),
        stored[["patient", "jaw", "day"]].rename(columns={"day": "since"}),
    ], ignore_index=True)
    known = known.assign(since=known["since"].fillna(pd.Timestamp("1900-01-01"))).groupby(["patient", "jaw"], as_index=False)["since"].min()
    rest = lines.loc[jaw.isna(), ["patient", "date"]].rename_axis("line").reset_index().merge(known, on="patient")
    by_then = rest[rest["since"] <= rest["date"]]
    rest = pd.concat([by_then, rest[~rest["line"].isin(by_then["line"])]])
    only = rest.groupby("line")["jaw"].agg(["nunique", "first"])
    jaw.update(only.loc[only["nunique"] == 1, "first"])
    return jaw


def named_positions(lines: pd.DataFrame) -> pd.DataFrame:
    """(line, column, position): every position that a cell of a line names."""
    found = []
    for column in POSITION_CELLS:
        for line, value in zip(lines.index.tolist(), lines[column].tolist()):
            if isinstance(value, tuple):
                found += [(line, column, text) for one in value if (text := one if isinstance(one, str) else one[0] if isinstance(one, tuple) else one.position) != "all"]
    return pd.DataFrame(found, columns=["line", "column", "position"]).astype({"line": "int64", "column": object, "position": object})


def _placed(sets: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    """Each set with the line it belongs to: that of its day, or the first of its jaw where it was there before."""
    ordered = lines[lines["jaw"].notna()].rename_axis("line").reset_index().sort_values("turn")
    by_day = ordered[ordered["date_precision"] == "day"].drop_duplicates(["patient", "jaw", "date"])[["patient", "jaw", "date", "line", "turn"]]
    first = ordered.drop_duplicates(["patient", "jaw"])[["patient", "jaw", "date", "line", "turn"]].rename(columns={"date": "first_date", "line": "first_line", "turn": "first_turn"})
    out = sets.rename_axis("set").reset_index()
    out = out.merge(by_day, how="left", left_on=["patient", "jaw", "fitted_on"], right_on=["patient", "jaw", "date"]).merge(first, how="left", on=["patient", "jaw"])
    on_day = (out["fitted_on_precision"] == "day") & out["line"].notna()
    before = out["first_line"].notna() & ~on_day & (out["fitted_on"].isna() | (out["fitted_on"] <= out["first_date"]))
    out["placed"] = np.select([on_day, before, out["first_line"].isna()], ["fitted", "already in place", "no visit"], "no line")
    out["line"] = out["line"].where(on_day, out["first_line"].where(before))
    out["turn"] = out["turn"].where(on_day, out["first_turn"].where(before))
    early = out[out["placed"] == "already in place"].sort_values("fitted_on", na_position="first", kind="stable")
    out.loc[early.index[early.duplicated(["patient", "position"], keep="last")], "placed"] = "older"
    return out.set_index("set").drop(columns=["date", "first_date", "first_line", "first_turn"])


def _dentures(lines: pd.DataFrame, sets: pd.DataFrame, given: pd.DataFrame, stored: pd.DataFrame) -> tuple[pd.DataFrame, list[str]]:
    """Dentures by patient and jaw in order of delivery: those stored that stand, the first set's, and one for each renewal; and the stored ones restated.

    A renewal is a line that says remade, or whose reason is delivery, while a denture is in use. ``number``: 1, 2, …;
    ``source`` ("set_up", "day_sheet"; "store" and "given" are not made here) and ``row`` it rests on.
    """
    firsts = sets[sets["placed"] != "no line"].assign(turn=lambda f: f["turn"].fillna(-0.5)).sort_values(["turn", "fitted_on"], na_position="last", kind="stable")
    firsts = firsts.drop_duplicates(["patient", "jaw"])
    first = pd.DataFrame({"patient": firsts["patient"], "jaw": firsts["jaw"], "day": firsts["fitted_on"], "precision": firsts["fitted_on_precision"],
                          "source": "set_up", "row": firsts.index, "turn": firsts["turn"],
                          "reason": lines["reason"].reindex(firsts["line"].where(firsts["placed"] == "fitted")).to_numpy()})
    standing = _standing(stored, first, lines)
    has_standing = first.merge(standing[["patient", "jaw"]].drop_duplicates(), how="left", on=["patient", "jaw"], indicator=True)["_merge"].to_numpy() == "both"
    first = first[~has_standing]
    begun = pd.concat([standing, first], ignore_index=True)
    since = begun.groupby(["patient", "jaw"], as_index=False).agg(first_turn=("turn", "min"), last_day=("day", "max"))
    remade = lines["denture"].map(lambda entries: isinstance(entries, tuple) and any(entry.action == "remade" for entry in entries)).astype(bool)
    renewing = lines[(remade | (lines["reason"] == "delivery")) & lines["jaw"].notna()].rename_axis("row").reset_index().merge(since, on=["patient", "jaw"])
    renewing = renewing[(renewing["turn"] > renewing["first_turn"]) & ~(renewing["date"] <= renewing["last_day"])]
    renewals = pd.DataFrame({"patient": renewing["patient"], "jaw": renewing["jaw"], "day": renewing["date"], "precision": renewing["date_precision"],
                             "source": "day_sheet", "row": renewing["row"], "turn": renewing["turn"], "reason": None}).drop_duplicates(["patient", "jaw", "day"])
    out = pd.concat([begun, renewals], ignore_index=True).sort_values(["patient", "jaw", "turn", "day"], na_position="first", kind="stable")
    named = pd.MultiIndex.from_arrays([given["patient_id"].astype(object), given["arch"].astype(object)])
    out = pd.concat([out[~pd.MultiIndex.from_frame(out[["patient", "jaw"]]).isin(named)], _given(given)], ignore_index=True)
    out["number"] = out.groupby(["patient", "jaw"], sort=False).cumcount() + 1
    groups = out.groupby(["patient", "jaw"], sort=False)
    for name in ("day", "precision"):
        out["retired_" + name] = groups[name].shift(-1)
    out["retiring_row"] = groups["row"].shift(-1)
    return out.reset_index(drop=True), stored.loc[~stored["denture_id"].isin(standing["denture_id"]), "denture_id"].tolist()


def _standing(stored: pd.DataFrame, first: pd.DataFrame, lines: pd.DataFrame) -> pd.DataFrame:
    """Dentures of the store that stand beside the file's; the others are those that the file states anew, from its first set on.

    A set "already in place" of a later file does not state an old denture anew where the store knows of a newer one by then.
    """
    seen = lines.dropna(subset=["jaw"]).groupby(["patient", "jaw"], as_index=False)["date"].min().rename(columns={"date": "first_line"})
    both = stored.merge(first[["patient", "jaw", "day"]].rename(columns={"day": "first_set"}), how="left", on=["patient", "jaw"], indicator=True).merge(seen, how="left", on=["patient", "jaw"])
    has_set = both["_merge"] == "both"
    reached = both["first_set"].isna() | both["day"].isna() | (both["first_set"] <= both["day"] + RESTATED)
    newer = (both["day"] > both["first_set"].fillna(pd.Timestamp("1900-01-01")) + RESTATED) & (both["day"] <= both["first_line"])
    newer = newer.groupby([both["patient"], both["jaw"]]).transform("any") if len(both) else newer
    stands = both[~(has_set & reached & ~newer)]
    return stands[["patient", "jaw", "day", "precision", "denture_id"]].assign(source="store", row=-1, turn=-1.0, reason=None)


def _given(given: pd.DataFrame) -> pd.DataFrame:
    """Dentures as written. One whose delivery is known less than to the day began when the one it follows went out of use."""
    out = pd.DataFrame({"patient": given["patient_id"].astype(object), "jaw": given["arch"].astype(object), "day": given["delivered_on"],
                        "precision": given["delivered_on_precision"].astype(object), "source": "given", "row": given.index})
    ends = pd.Series(given["retired_on"].to_numpy(), index=given["denture_id"].astype(object).to_numpy())
    before = given["follows"].astype(object).map(ends[~ends.index.duplicated() & ends.index.notna()]).astype("datetime64[s]")
    coarse = (out["precision"] != "day") & before.notna() & ~(before < out["day"])
    out["day"] = out["day"].mask(coarse, before)
    return out.dropna(subset=["patient", "jaw"]).sort_values(["patient", "jaw", "day"], na_position="first", kind="stable")
