"""Results into what a figure draws: curves, what became of the parts, snap, scores, upkeep and who is in it."""

from __future__ import annotations

import numpy as np
import pandas as pd

from outcomes.analyses.lifetimes import EVENT, YEAR
from outcomes.analyses.sentences import saying
from outcomes.present import words
from outcomes.present.areas import Endings, endings
from outcomes.present.counts import Counts, ticks_for
from outcomes.present.curves import CannotDraw, Frame, Line, survival
from outcomes.present.palette import newton_colour
from outcomes.present.upkeep_curve import mean_count

# How parts end, in the order in which they are stacked, and the colour of each.
ENDINGS = {
    EVENT: ("worn, seen", "signal"),
    "cannot tell": ("changed, cause unclear", "slate"),
    "worn, by report": ("loose by report", "sand"),
    "wish": ("changed on wish", "plum"),
    "with its pair": ("changed with its pair", "moss"),
    "work": ("routine or other work", "quiet"),
    "gone": ("denture or patient gone", "ink"),
}
MOST_LIMITS = 60  # places along the whole axis at which the limits between two boxes are worked out
MOST_STEPS = 400  # steps of a curve beyond this are thinned: no eye can tell


def lines_of(life, band: bool = True) -> list[Line]:
    """The endpoint's headline curve, ready to draw; without ``band`` where several would lie over one another."""
    curve = life.headline
    if curve is None:
        return []
    return [_between(life, curve, band) if life.examined else _day_found(life, curve)]


def numbers_of(life, stem: str) -> dict[str, pd.DataFrame]:
    """What the endpoint's curve is drawn from, as tables: its steps (or boxes and limits) and its counts."""
    found = {}
    for line in lines_of(life) if life.speaks else []:
        if line.boxes is None:
            found[f"{stem}_curve"] = line.steps
        else:
            found[f"{stem}_boxes"] = line.boxes
            if line.band is not None:
                found[f"{stem}_limits"] = line.band.drop(columns="piece")
        found[f"{stem}_counts"] = line.counts.table()
    return found


def _day_found(life, curve) -> Line:
    steps = curve.table()[["time", "survival", "low", "high"]]
    low, high = curve.interval_at(0.0)
    steps = pd.concat([pd.DataFrame({"time": [life.starts_late], "survival": [1.0], "low": [float(low)], "high": [float(high)]}), steps], ignore_index=True)
    steps = steps.rename(columns={"time": "years", "survival": "share"}).assign(years=lambda frame: frame["years"] / YEAR)
    if life.patients_telling < life.plan["report"]["test_patients"]:
        steps = steps.assign(low=np.nan, high=np.nan)  # too few for a band: the table gives limits at the horizons
    return Line(life.units, thinned(steps), life.counts(), life.stops())


def _between(life, curve, with_band: bool) -> Line:
    table = curve.table(limits=False)
    known = table[np.isfinite(table["right"])]
    end = max(float(life.fresh["left_day"].max()), float(known["right"].max()) if len(known) else 0.0)
    steps = pd.DataFrame({"years": [0.0, *known["right"] / YEAR], "share": [1.0, *known["survival"]]})
    last = steps.iloc[[-1]].assign(years=end / YEAR)
    band = _limits(curve, known, end) if with_band and life.patients_telling >= life.plan["report"]["test_patients"] else None
    below = known["survival"].to_numpy()
    boxes = pd.DataFrame({"start": known["left"] / YEAR, "end": known["right"] / YEAR, "above": below + known["mass"].to_numpy(), "below": below})
    return Line(life.units, pd.concat([steps, last], ignore_index=True), life.looks(), life.stops(), boxes, band)


def _limits(curve, known: pd.DataFrame, end: float) -> pd.DataFrame | None:
    """Limits along every stretch between boxes: at its ends, and every month or so within."""
    pieces = []
    for piece, (start, stop) in enumerate(zip([0.0, *known["right"]], [*known["left"], end])):
        if piece and stop > start:
            days = np.unique([*np.arange(start, stop, max(30.0, end / MOST_LIMITS)), stop - 1e-6])
            low, high = curve.interval_at(days)
            pieces.append(pd.DataFrame({"years": days / YEAR, "low": low, "high": high, "piece": piece}))
    return pd.concat(pieces, ignore_index=True) if pieces else None


def thinned(steps: pd.DataFrame) -> pd.DataFrame:
    """At most so many steps, the first and the last among them."""
    if len(steps) <= MOST_STEPS:
        return steps
    return steps.iloc[np.unique(np.linspace(0, len(steps) - 1, MOST_STEPS).astype(int))].reset_index(drop=True)


def curve(life, shape):
    """The endpoint's curve on a sheet."""
    if not life.speaks:
        raise CannotDraw(f"No curve: it takes {words.count(life.plan['report']['minimum_patients'], 'patient')} with the event{' who were watched from the start' if life.patients_telling < life.patients_with_events else ''}, and {life.patients_telling} had it.")
    say = saying(life)
    banded = life.patients_telling >= life.plan["report"]["test_patients"]
    times = () if banded else sorted({*life.plan["report"]["horizons_years"], *([life.horizon] if life.horizon else [])})
    found = [one for one in map(life.share_at, times) if one is not None and one.low < one.high]
    marks, thin, more = (), None, "Shaded: likely range (95 %)." if banded else "Upright bars: likely range (95 %)." if found else ""
    share = life.share_at(life.horizon) if life.horizon else None
    if share is not None:
        marks = ((share.years, share.value, f"{share.said(life.patients)} at {words.span(share.years)}"),)
    if life.examined:
        more = f"Boxes: it happened between two looks. {more} Dashed: by the day found."
        table = life.day_found.table() if life.day_found is not None else None
        thin = None if table is None else thinned(pd.DataFrame({"years": np.concatenate([[0.0], table["time"] / YEAR]), "share": np.concatenate([[1.0], table["survival"]])}))
    people = words.people(life.patients, len(life.fresh) if life.examined else life.parts, life.unit)
    frame = Frame(say.title, f"{people}. {more}".replace("95", f"{100 * life.level:g}").strip(), f"years since {say.since}", marks, thin, reaches=tuple((one.years, one.low, one.high) for one in found))
    return survival(lines_of(life), frame, shape)


def became(life, shape):
    """What became of the units over time, all endings stacked."""
    what = became_of(life)
    if what is None:
        raise CannotDraw(f"No {life.unit} has ended yet.")
    return endings(what, Frame(f"What became of the {'first ' if life.unit == 'insert' else ''}{life.units}", words.people(life.patients, life.parts, life.unit), f"years since {saying(life).since}"), shape)


def became_of(life) -> Endings | None:
    """Cumulative shares by ending; None where nothing has ended."""
    from outcomes import longevity

    day, cause = life.endings
    entry = life.rows["entry_day"].fillna(0).to_numpy(float)
    kept = (day > entry) & (day > 0)
    cause = np.array([ending_group(one) for one in cause], dtype=object)
    if not kept.any() or not (cause[kept] != "").any():
        return None
    patient = life.rows["patient_id"].to_numpy()[kept]
    day, cause, entry = day[kept], cause[kept], entry[kept]
    result = longevity.cumulative_incidence(day, cause, entry=entry if entry.any() else None, cluster=patient, level=life.level)
    shares = pd.DataFrame({"years": np.concatenate([[0.0], np.asarray(result.time) / YEAR])})
    colours = {}
    for key, (label, colour) in ENDINGS.items():
        if key in list(result.causes):
            shares[label] = np.concatenate([[0.0], result.incidence[list(result.causes).index(key)]])
            colours[label] = colour
    table = longevity.risk_table(day, cause != "", [tick * YEAR for tick in life.ticks()], entry=entry if entry.any() else None, cluster=patient)
    names = {"clusters_at_risk": "patients", "at_risk": "in place", "failed": "ended", "censored": "censored"} | ({"entered": "entered"} if entry.any() else {})
    counts = Counts(life.units, len(day), life.ticks(), {label: tuple(int(n) for n in table[name]) for name, label in names.items()}, ("patients",))
    grouped = pd.Series([ending_group(one) for one in life.endings[1]], index=life.rows.index)
    patients = {ENDINGS[key][0]: set(who) for key, who in life.rows["patient_id"].groupby(grouped) if key}
    return Endings(thinned(shares), colours, counts, life.stops(), patients=patients, main=ENDINGS[EVENT][0])


def ending_group(cause: str) -> str:
    """An ending as it is stacked: the declared causes stand for themselves, work is work, the rest is gone.

    >>> ending_group("event"), ending_group("routine"), ending_group("died"), ending_group("wanted firmer"), ending_group("")
    ('event', 'work', 'gone', 'wish', '')
    """
    if cause in ("", None):
        return ""
    if cause in ENDINGS and cause not in ("work", "gone"):
        return cause
    if cause in ("wanted firmer", "wanted lighter"):
        return "wish"
    if cause == "changed with a neighbour":
        return "with its pair"
    if cause in ("routine", "other work", "with other work", "changed", "conversion", "with its carrier"):
        return "work"
    return "gone"


def settled_of(settling, plan) -> Endings | None:
    """What ended the time at the starting level, ready to draw; None where too few patients changed it."""
    from outcomes import longevity

    result, rows = settling.incidence, settling.rows
    if result is None or settling.patients_with_steps() < plan["report"]["minimum_patients"]:
        return None
    names = {"step up": ("stepped up", newton_colour(20.0)), "step down": ("stepped down", newton_colour(1.5)), "changed": ("changed, direction unknown", "slate"), "denture retired": ("denture gone", "sand"), "died": ("patient died", "ink")}
    shares, colours = pd.DataFrame({"years": np.concatenate([[0.0], np.asarray(result.time) / YEAR])}), {}
    for key, (label, colour) in names.items():
        if key in list(result.causes):
            shares[label] = np.concatenate([[0.0], result.incidence[list(result.causes).index(key)]])
            colours[label] = colour
    stops = _stops(rows.groupby("patient_id")["days"].max() / YEAR, plan)
    ticks = ticks_for(max(*stops.values(), 0.25))
    table = longevity.risk_table(rows["days"].to_numpy(float), (rows["cause"] != "").to_numpy(), [tick * YEAR for tick in ticks], cluster=rows["patient_id"].to_numpy())
    named = {"clusters_at_risk": "patients", "at_risk": "at the start", "failed": "ended", "censored": "censored"}
    counts = Counts("dentures", len(rows), ticks, {label: tuple(int(n) for n in table[name]) for name, label in named.items()}, ("patients",))
    patients = {names[cause][0]: set(who) for cause, who in rows[rows["cause"] != ""].groupby("cause")["patient_id"]}
    return Endings(thinned(shares), colours, counts, stops, "at the starting level", patients)


def settled(what: Endings | None, patients: int, shape):
    """Share of dentures still at the level they started at."""
    if what is None:
        raise CannotDraw("No figure: too few patients have changed their level.")
    return endings(what, Frame("Still at the level they started at", words.people(patients, what.counts.total, "denture"), "years since the first inserts"), shape)


def _stops(last: pd.Series, plan) -> dict[int, float]:
    """Patients to the last year with so many still followed, from each patient's last year."""
    years = np.sort(last.to_numpy(float))[::-1]
    return {people: float(years[min(people, len(years)) - 1]) for people in (plan["report"]["stop_curves_at"], 10)}


def upkeep_steps(upkeep) -> pd.DataFrame | None:
    """Mean number of unplanned visits since delivery: years, mean, low, high; None where nobody came with a problem."""
    result = upkeep.so_far
    if result is None or result.total == 0:
        return None
    steps = pd.DataFrame({"years": np.concatenate([[0.0], np.asarray(result.time) / YEAR]), "mean": np.concatenate([[0.0], result.mean]),
                          "low": np.concatenate([[np.nan], result.low]), "high": np.concatenate([[np.nan], result.high])})  # fmt: skip
    return thinned(steps)


def visits_so_far(steps: pd.DataFrame | None, upkeep, plan, shape):
    """Mean number of unplanned visits per patient since delivery."""
    if steps is None:
        raise CannotDraw("No figure: nobody delivered while the log ran has come with a problem.")
    fresh = upkeep.patients[upkeep.patients["fresh"] & (upkeep.patients["years"] > 0)]
    stops = _stops(fresh["years"], plan)
    ticks = ticks_for(max(*stops.values(), 0.25))
    followed = {"patients": tuple(int((fresh["years"] >= tick).sum()) for tick in ticks)}
    frame = Frame("Unplanned visits so far, per patient", f"{words.people(len(fresh))} delivered while the log ran. Shaded: likely range ({100 * upkeep.confidence:g} %).", "years since delivery")
    return mean_count(steps, ticks, followed, stops, frame, shape, _of_all_started(upkeep))


def _of_all_started(upkeep) -> pd.DataFrame | None:
    """The mean per patient started, drawn thin beside that of those still coming; None where nobody's service has ended."""
    if not upkeep.patients["over"].any():
        return None
    result = upkeep.of_all_started
    return thinned(pd.DataFrame({"years": np.concatenate([[0.0], np.asarray(result.time) / YEAR]), "mean": np.concatenate([[0.0], result.mean])}))
