"""What to have in the drawer: inserts of each level for the months to come, and how such forecasts fared in this log."""

from __future__ import annotations

import difflib
from dataclasses import dataclass, replace

import pandas as pd

from outcomes import longevity
from outcomes.analyses.drawer_history import EPOCH, UNKNOWN, fitted, history, used
from outcomes.analyses.lifetimes import YEAR
from outcomes.errors import Misuse
from outcomes.present import words
from outcomes.present.content import Notice, Prose, Section

ANCHOR = "drawer"
MOST_YEARS_BACK = 3
BACK_DRAWS = 200
HELD = (0.75, 0.87)  # of 80 % ranges for a year, on simulated clinics: least and most over what was forecast (tests/analyses/drawer_study.json)
USED = 0.94  # of what was forecast for inserts in place, on the same clinics; the cause was looked for and not found
LATELY = 365


@dataclass(frozen=True, eq=False)
class Stock:
    """``rows``: a row per level that may be needed, lightest first, then "all": level, newtons, replaced, new and total with _low and _high,
    packs (None: the plan gives no pack). ``why``: why there is no forecast. ``past``: a row per past year and level, forecast beside used."""

    months: float
    begins: pd.Timestamp
    ends: pd.Timestamp
    inserts: int
    patients: int
    rows: pd.DataFrame
    share: float
    why: str = ""
    past: pd.DataFrame | None = None
    method: str = ""

    @property
    def all(self):
        """The row of all levels together."""
        return self.rows[self.rows["level"] == "all"].iloc[0]


def settings(plan, levels) -> dict:
    """The plan's [stock], checked. Raises Misuse for what cannot be."""
    stock = plan["stock"]
    if not 0.5 <= stock["months"] <= 60:
        raise Misuse("months in [stock] of the plan must lie between half a month and 60.")
    if not 0.5 <= stock["share"] <= 0.99:
        raise Misuse("share in [stock] of the plan must lie between 0.5 and 0.99.")
    for name, least in (("minimum_patients", 5), ("minimum_changes", 5), ("deliveries_months", 3), ("draws", 50)):
        if stock[name] < least:
            raise Misuse(f"{name} in [stock] of the plan must be at least {least}.")
    for level, pieces in stock["packs"].items():
        if level not in levels:
            near = difflib.get_close_matches(level, list(levels), n=1, cutoff=0.5)
            raise Misuse(f"packs in [stock] of the plan names the level {level}, which is not among the clinic's insert levels. {f'Did you mean {near[0]}?' if near else 'Write the level as in Insert levels.'}")
        if isinstance(pieces, bool) or not isinstance(pieces, int) or pieces < 1:
            raise Misuse(f"packs in [stock] of the plan needs whole pieces to a pack, 1 or more, for the level {level}.")
    return stock


def stock(log, months: float | None = None, *, past: bool = False) -> Stock:
    """The forecast from the log's closing day on, made once however often it is asked for; with ``past``, held against the years that the log holds."""
    plan = settings(log.plan, set(log.levels["level"]) | set(log.episodes["level"].dropna()))
    months = float(plan["months"] if months is None else months)
    key = ("drawer", months)
    if key not in log.worked_out:
        log.worked_out[key] = _forecast(log, plan, months)
    found = log.worked_out[key]
    return replace(found, past=_past(log, plan)) if past and not found.why else found


def _forecast(log, plan, months: float) -> Stock:
    begins = pd.Timestamp(log.closing)
    days = months * YEAR / 12
    ends = begins + pd.Timedelta(days=round(days))
    if log.visits.empty or log.dentures.empty:
        return Stock(months, begins, ends, 0, 0, pd.DataFrame(), plan["share"], "No forecast: the log holds no overdenture with a visit.")
    known = history(log, fitted(log), (begins - EPOCH).days)
    made = Stock(months, begins, ends, known.in_place, known.patients_in_place, pd.DataFrame(), plan["share"], _too_few(known, plan))
    if made.why:
        return made
    found = longevity.replacement_forecast(known, days, draws=plan["draws"], level=plan["share"], seed=log.plan["report"]["seed"])
    return replace(made, rows=_ordered(found.table(), log, plan["packs"]), method=found.method)


def _too_few(known, plan) -> str:
    """Why no forecast can be made, with counts; "" where it can."""
    least, changes = plan["minimum_patients"], plan["minimum_changes"]
    if known.patients_in_place >= least and known.patients_with_changes >= least and known.changes >= changes:
        return ""
    return (f"No forecast: it takes at least {least} patients with inserts in place, {least} patients with an insert ever changed and {changes} changed inserts. "
            f"The log holds {words.count(known.in_place, 'insert')} in place in {words.count(known.patients_in_place, 'patient')}, and {words.count(known.changes, 'changed insert')} of {words.count(known.patients_with_changes, 'patient')}.")  # fmt: skip


def _ordered(table: pd.DataFrame, log, packs: dict) -> pd.DataFrame:
    """Levels that may be needed, lightest first; unknown and all last."""
    force = log.episodes.dropna(subset=["level"]).groupby("level")["retention_n"].max()
    table = table.assign(newtons=table["level"].map(force).astype(float))
    last = table["level"].map({"all": 2, UNKNOWN: 1}).fillna(0)
    table = table.assign(last=last).sort_values(["last", "newtons", "level"], kind="stable")
    table = table[(table["level"] == "all") | (table["total_high"] > 0) | (table["total"] >= 0.05)].reset_index(drop=True)
    table["packs"] = [-(-high // packs[level]) if level in packs else None for level, high in zip(table["level"], table["total_high"])]
    return table[["level", "newtons", *[f"{what}{end}" for what in ("replaced", "new", "total") for end in ("", "_low", "_high")], "packs"]]


def _past(log, plan) -> pd.DataFrame:
    """Each past year forecast from what was known before it, beside what was then used; years known too little are left out."""
    rows, closing, out = fitted(log), (pd.Timestamp(log.closing) - EPOCH).days, []
    for back in range(MOST_YEARS_BACK, 0, -1):
        on = closing - round(back * YEAR)
        if on <= (log.visits["day"].min() - EPOCH).days:
            continue
        known = history(log, rows, on)
        if _too_few(known, plan):
            continue
        table = longevity.replacement_forecast(known, YEAR, draws=BACK_DRAWS, level=plan["share"], seed=log.plan["report"]["seed"]).table().set_index("level")
        came = used(rows, known, YEAR)
        came.loc["all"] = came.sum()
        for level, row in table.iterrows():
            for what in ("replaced", "new", "total"):
                number = int(came[what].get(level, 0))
                out.append({"from": f"{EPOCH + pd.Timedelta(days=on):%Y-%m-%d}", "to": f"{EPOCH + pd.Timedelta(days=on + round(YEAR)):%Y-%m-%d}", "level": level, "what": what, "forecast": row[what], "low": int(row[f"{what}_low"]), "high": int(row[f"{what}_high"]), "used": number,
                            "within": bool(row[f"{what}_low"] <= number <= row[f"{what}_high"])})  # fmt: skip
    return pd.DataFrame(out, columns=["from", "to", "level", "what", "forecast", "low", "high", "used", "within"])


def last_year(log, most: int = 4) -> str:
    """What the last year took from the drawer, by level: "light 58, medium 39"; "" for nothing."""
    taken = log.inserts_in[log.inserts_in["day"] > pd.Timestamp(log.closing) - pd.Timedelta(days=LATELY)]
    by_level = taken.assign(level=taken["level"].replace("", UNKNOWN)).groupby("level")["inserts"].sum().sort_values(ascending=False, kind="stable")
    return ", ".join([f"{words.shortened(level, 24)} {count}" for level, count in by_level.head(most).items()] + ([f"others {by_level.iloc[most:].sum()}"] if len(by_level) > most else []))


def short(found: Stock) -> str:
    """The forecast for the front page, after its number."""
    parts = [f"{words.shortened(row.level, 24)} {row.total_high}" for row in found.rows[~found.rows["level"].isin(("all", UNKNOWN))].sort_values("total_high", ascending=False, kind="stable").head(4).itertuples() if row.total_high]
    return (f"inserts are likely to be needed in the next {words.days(found.months * YEAR / 12)} (range {found.all['total_low']} to {found.all['total_high']}, {words.percent(found.share)}){'; enough in the drawer, level by level: ' + ', '.join(parts) if parts else ''}")


def shown(found: Stock) -> pd.DataFrame:
    """The table as it is read."""
    rows = found.rows
    table = pd.DataFrame({
        "level": rows["level"].replace("all", "all levels"), "force": [words.newtons(force) if force == force else "–" for force in rows["newtons"]], "have": rows["total_high"].astype(str), "likely": ["under 1" if 0 < value < 0.5 else words.number(value) for value in rows["total"]],
        f"range ({words.percent(found.share)})": [f"{low} to {high}" for low, high in zip(rows["total_low"], rows["total_high"])], "for those in place": [f"{words.number(value)} ({low} to {high})" for value, low, high in zip(rows["replaced"], rows["replaced_low"], rows["replaced_high"])],
        "for new sets": [f"{words.number(value)} ({low} to {high})" for value, low, high in zip(rows["new"], rows["new_low"], rows["new_high"])],
    })  # fmt: skip
    table.loc[table["level"].isin(("all levels", UNKNOWN)), "have"] = "–"
    if rows["packs"].notna().any():
        table["packs"] = ["–" if pd.isna(packs) else str(int(packs)) for packs in rows["packs"]]
    return table


def sentences(found: Stock, log) -> list[str]:
    """The forecast in sentences, and how such forecasts fared."""
    span = f"{words.day(found.begins)} to {words.day(found.ends)}"
    said = [f"Inserts for {span}, from {words.count(found.inserts, 'insert')} in place in {words.count(found.patients, 'patient')} and the sets that are likely to be delivered.",
            f"“Have” is the upper end of the range: so many of a level are enough in about {round(10 * (1 + found.share) / 2)} of 10 such times. Each level has its own range, so the ends do not add up to those of all levels."]  # fmt: skip
    said += [f"The log does not say the level of some inserts ({UNKNOWN}): they are counted, but not by level."] if (found.rows["level"] == UNKNOWN).any() else []
    if log.no_consent:
        said.append(f"{words.count(log.no_consent, 'patient')} who did not agree to audit {'is' if log.no_consent == 1 else 'are'} not in it: add what they need.")
    return said + fared(found)


def fared(found: Stock) -> list[str]:
    """How the same forecast did for past years: per year, and over single levels."""
    past = found.past
    if past is None:
        return []
    if past.empty:
        return ["No past year could be forecast from what was known before it, so how well this forecast does is not known."]
    total = past[(past["what"] == "total") & (past["level"] != "all")]
    counted = total[total["forecast"] >= 1]
    years = past[(past["what"] == "total") & (past["level"] == "all")]
    said = [f"{row['from']} to {row['to']}: {row['low']} to {row['high']} forecast, {row['used']} used" + ("" if row["within"] else " (outside)") for _, row in years.iterrows()]
    replaced = past[(past["what"] == "replaced") & (past["level"] == "all")]
    return [f"Held against the log, all levels together: {'; '.join(said)}.", f"For inserts in place alone the range held in {int(replaced['within'].sum())} of {len(replaced)} years; for single levels in {int(counted['within'].sum())} of {len(counted)} ({words.percent(found.share)} is asked for)."]


def lines(found: Stock) -> list[str]:
    """The table for a terminal."""
    table = shown(found).replace(words.SPACE, " ", regex=True)
    table.columns = [name.replace(words.SPACE, " ") for name in table.columns]
    widths = [max(len(name), *(len(value) for value in table[name])) for name in table.columns]
    return ["  " + "   ".join(value.ljust(width) if k == 0 else value.rjust(width) for k, (value, width) in enumerate(zip(row, widths))) for row in [list(table.columns), *table.to_numpy().tolist()]]


def section(log, folder) -> Section:
    """The forecast as a part of the audit's page."""
    found = stock(log)
    if found.why:
        taken = last_year(log)
        return Section(ANCHOR, "The drawer", (Notice(f"{found.why}{f' The last year took: {taken}.' if taken else ''}"),))
    table = folder.grid("drawer", f"Inserts that may be needed in the next {words.days(found.months * YEAR / 12)}, level by level", shown(found), found.rows)
    return Section(ANCHOR, "The drawer", (Prose((" ".join(sentences(found, log)),)), table, Prose(("How such forecasts fared in the years that this log holds is said by the command outcomes stock.",))))


def method(log) -> str:
    """How the forecast is made, for Methods."""
    found = stock(log)
    rules = log.plan["stock"]
    if found.why:
        return f"The drawer: no forecast below {rules['minimum_patients']} patients and {rules['minimum_changes']} changed inserts."
    return (f"The drawer: {found.method}. Deaths, departures and retired dentures at the log's rate; sets to be delivered at the rate of the last {rules['deliveries_months']} months. "
            f"Means and {words.percent(found.share)} prediction ranges; on simulated clinics 80{words.SPACE}% ranges for a year held what was used in {words.percent_range(*HELD)} of cases; for inserts in place {words.percent(USED)} of what was forecast was used, so that the forecast is a little too high there.")  # fmt: skip
