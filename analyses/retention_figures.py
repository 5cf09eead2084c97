"""Levels over time, who went from level to level, and what people said before and after a step: results into what figures draw."""

from __future__ import annotations

import numpy as np
import pandas as pd

from outcomes import longevity
from outcomes.analyses.drawings import thinned
from outcomes.analyses.levels_paths import BETWEEN, DIED, FIRM, GONE, LIGHT, MEDIUM, RETIRED, STATES, UNKNOWN, WITHOUT, Paths, bands
from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.people import WORDS
from outcomes.present import words
from outcomes.present.areas import Endings, endings
from outcomes.present.counts import Counts, ticks_for
from outcomes.present.curves import CannotDraw, Frame
from outcomes.present.palette import newton_colour
from outcomes.present.streams import Column, Streams, streams

COLOURS = {LIGHT: newton_colour(2.0), BETWEEN: newton_colour(6.0), MEDIUM: newton_colour(11.0), FIRM: newton_colour(30.0), UNKNOWN: "slate", WITHOUT: "signal", RETIRED: "sand", DIED: "quiet"}
SNAP = {"far too loose": "signal", "a bit loose": "sand", "just right": "accent", "a bit firm": "plum", "far too firm": "ink"}
TIMES = ((0.0, "delivery"), (91.0, "3 months"), (YEAR, "1 year"), (2 * YEAR, "2 years"), (5 * YEAR, "5 years"))


def shares_over_time(paths: Paths) -> pd.DataFrame:
    """years and a column of shares per state, from the bottom up, states that ever occur."""
    found = paths.occupancy
    here = [state for state in STATES if state in list(found.states)]
    place = [list(found.states).index(state) for state in here]
    shares = np.vstack([found.start, found.probability])[:, place]
    return pd.DataFrame({"years": np.concatenate([[0.0], np.asarray(found.time) / YEAR]), **dict(zip(here, shares.T))})


def counts_over_time(paths: Paths) -> Counts:
    """Dentures still followed, gone and no longer followed, at times of the axis."""
    one = paths.dentures
    ticks = ticks_for(max(float(one["end"].max()) / YEAR, 0.25))
    table = longevity.risk_table(one["end"].to_numpy(float), one["last"].isin(GONE).to_numpy(), [tick * YEAR for tick in ticks], cluster=one["patient_id"].to_numpy())
    named = {"clusters_at_risk": "patients", "at_risk": "followed", "failed": "gone", "censored": "censored"}
    return Counts("dentures", len(one), ticks, {label: tuple(int(n) for n in table[name]) for name, label in named.items()}, ("patients",))


def over_time(paths: Paths, plan, shape):
    """Share of dentures at each level, stacked."""
    if paths.occupancy is None or paths.patients < plan["report"]["minimum_patients"]:
        raise CannotDraw(f"No figure: {words.count(paths.patients, 'patient')} started in the log at a level that was written down.")
    shares = shares_over_time(paths)
    rest = shares.columns[-1]
    counts, one = counts_over_time(paths), paths.dentures
    last = np.sort(one.groupby("patient_id")["end"].max().to_numpy(float))[::-1] / YEAR
    stops = {people: float(last[min(people, len(last)) - 1]) for people in (plan["report"]["stop_curves_at"], 10)}
    frame = Frame("At which level dentures are", f"{words.people(paths.patients, len(one), 'denture')}. {bands(plan['levels'])}", "years since the first inserts")
    held = paths.rows
    patients = {state: set(held.loc[(held["state"] == state) | (held["became"] == state), "patient_id"]) for state in shares.columns[1:]}
    return endings(Endings(thinned(shares.drop(columns=rest)), COLOURS, counts, stops, rest, patients, other="other"), frame, shape)


def columns(paths: Paths, fewest: int) -> Streams:
    """Who went where between delivery and later. The columns are the shares over time; streams multiply the days' moves in between."""
    times = [(day, title) for day, title in TIMES if patients_on(paths, day) >= fewest]
    if not times or paths.occupancy is None:
        return Streams((), (), STATES, COLOURS)
    states, shares = list(paths.occupancy.states), np.asarray(paths.occupancy.start, dtype=float)
    cols, flows = [], []
    for number, (day, title) in enumerate(times):
        cols.append(Column(title, f"{patients_on(paths, day)} patients", {state: float(share) for state, share in zip(states, shares) if share > 1e-9}))
        if number + 1 < len(times):
            flow = shares[:, None] * _moves(paths.rows, states, day, times[number + 1][0])
            flows.append({(states[i], states[j]): float(flow[i, j]) for i, j in zip(*np.nonzero(flow > 1e-9))})
            shares = flow.sum(axis=0)
    return Streams(tuple(cols), tuple(flows), STATES, COLOURS, tuple(patients_on(paths, day) for day, _ in times))


def _moves(rows: pd.DataFrame, states: list[str], after: float, until: float) -> np.ndarray:
    """Chance of being in each state on ``until`` by the state on ``after``: the product of the moves of each day between."""
    place = {state: k for k, state in enumerate(states)}
    held, became = rows["state"].map(place).to_numpy(), rows["became"].map(place).to_numpy(float)
    start, stop = rows["start"].to_numpy(float), rows["stop"].to_numpy(float)
    chance = np.eye(len(states))
    for day in np.unique(stop[~np.isnan(became) & (stop > after) & (stop <= until)]):
        risk = np.bincount(held[(start < day) & (stop >= day)], minlength=len(states))
        step = np.eye(len(states))
        for row in np.flatnonzero((stop == day) & ~np.isnan(became)):
            step[held[row], int(became[row])] += 1 / risk[held[row]]
            step[held[row], held[row]] -= 1 / risk[held[row]]
        chance = chance @ step
    return chance


def flows_table(what: Streams) -> pd.DataFrame:
    """What the path of levels draws: start, end, level_at_start, level_at_end, share of all dentures."""
    rows = [(one.title, other.title, *pair, share) for one, other, flow in zip(what.columns, what.columns[1:], what.flows) for pair, share in sorted(flow.items())]
    return pd.DataFrame(rows, columns=["start", "end", "level_at_start", "level_at_end", "share"])


def patients_on(paths: Paths, day: float) -> int:
    """Patients still followed with the denture on ``day``."""
    return int(paths.dentures.loc[paths.dentures["end"] >= max(day, 1), "patient_id"].nunique())


def went(paths: Paths, plan, shape):
    """The path of levels."""
    what = columns(paths, max(shape.stop_at, plan["report"]["minimum_patients"]))
    return streams(what, Frame("Where people settle", f"Dentures by the firmest of their inserts. {bands(plan['levels'])}"), shape)


def before_after(found, way: str, plan, shape):
    """What patients said of the snap on the day of their first step and when next asked."""
    rows = found.asked(way)
    if len(rows) < plan["report"]["minimum_patients"]:
        raise CannotDraw(f"No figure: {words.count(len(rows), 'patient')} stepped {way} {'was' if len(rows) == 1 else 'were'} asked about the snap both on that day and after it.")
    share = lambda side: (rows[side].value_counts() / len(rows)).to_dict()  # noqa: E731
    flow = (rows.groupby(["before", "after"]).size() / len(rows)).to_dict()
    cols = (Column("on the day of the step", "before the change", share("before")), Column("when next asked", f"half within {words.days(float(rows['days_after'].median()))}", share("after")))
    frame = Frame(f"The snap before and after a step {way}", f"{words.count(len(rows), 'patient')} asked both times, each about their first step {way}")
    return streams(Streams(cols, (flow,), WORDS, SNAP, (len(rows),) * 2), frame, shape)
