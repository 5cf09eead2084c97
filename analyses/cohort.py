"""What a report reads from the store: part histories, visits and answers of the patients whose consent allows it."""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field

import pandas as pd

from outcomes import episodes, schemas
from outcomes.analyses.lifetimes import Lifetime, lifetime

GAP = "care ends at the first long gap"

# Whoever left after the closing day (care.ending is blank) had not left on it.
_PATIENTS = """
SELECT patients.patient_id, birth_year, sex, CASE WHEN care.ending IS DISTINCT FROM '' THEN left_on END AS left_on, CASE WHEN care.ending IS DISTINCT FROM '' THEN patients.left_reason END AS left_reason, bruxism, dry_mouth, limited_dexterity, smoker, worn_at_night, care.end_day AS ends_on
FROM patients LEFT JOIN people USING (patient_id) LEFT JOIN care USING (patient)
WHERE coalesce(audit_consent, 'unknown') <> 'no' ORDER BY patients.patient_id
"""
_DENTURES = """
SELECT denture_id, patient_id, dentures.arch, delivered_on, delivered_on_precision, retired_on, dentures.retired_reason, dentures.existing,
       CASE WHEN denture_days.ending = 'denture retired' THEN denture_days.end_day ELSE denture_days.retired_first END AS gone_on
FROM dentures LEFT JOIN denture_days USING (denture_id) WHERE coalesce("use", 'everyday') <> 'spare' ORDER BY patient_id, dentures.arch, delivered_on, denture_id
"""
_VISITS = """
SELECT visit_id, patient_id, visited_on AS day, visited_on_precision AS precision, arch, reason, clinician, minutes, parts_checked, nullif(snap, 'not asked') AS snap, snap AS snap_as_written,
       reason NOT IN ('laboratory', 'contact only') AS seen, reason = 'problem' AS problem,
       parts_checked IN ('all', 'inserts only', 'listed only') AS looked
FROM visits WHERE visited_on IS NOT NULL ORDER BY patient_id, visited_on, visit_id
"""
_INSERTS_IN = """
SELECT v.patient_id, v.visited_on AS day, coalesce(p.level, '') AS level, v.clinician, count(*) AS inserts
FROM parts_log p JOIN visits v USING (visit_id) WHERE p.part = 'insert' AND p.action IN ('fitted', 'replaced') AND v.visited_on IS NOT NULL
GROUP BY ALL ORDER BY ALL
"""
_FAILURES = """
SELECT v.patient_id, v.visited_on AS day FROM parts_log p JOIN visits v USING (visit_id)
WHERE p.finding IN ('worn', 'torn', 'deformed', 'fractured', 'lost', 'loose in its seat', 'debonded') AND v.visited_on IS NOT NULL
UNION SELECT v.patient_id, v.visited_on FROM denture_log d JOIN visits v USING (visit_id)
WHERE d.finding IN ('base fractured', 'base fractured at a housing', 'tooth fractured', 'tooth lost') AND v.visited_on IS NOT NULL ORDER BY ALL
"""
_IN_PLACE = """
SELECT people.patient_id, denture_days.denture_id, part_lives.part::varchar AS part, part_lives.position::varchar AS position, coalesce(last_look, fitted_last) AS looked_on
FROM part_lives JOIN people USING (patient) LEFT JOIN denture_days USING (denture)
WHERE part_lives.ending = '' AND part <> 'bond' AND part_lives.excluded = '' ORDER BY ALL
"""


@dataclass(frozen=True, eq=False)
class Log:
    """One clinic's log as a report reads it. Frames hold only patients whose consent allows audit; ``everybody`` counts all.

    ``guard``: the sentence that withholds curves, or "". ``warnings``: sentences from deriving the part histories. ``readings``:
    endpoint times as they would be under another reading of the log, by what it says.
    """

    plan: dict
    closing: datetime.date
    everybody: int
    no_consent: int
    patients: pd.DataFrame
    dentures: pd.DataFrame
    visits: pd.DataFrame
    inserts_in: pd.DataFrame
    levels: pd.DataFrame
    answers: pd.DataFrame
    episodes: pd.DataFrame
    times: pd.DataFrame
    guard: str
    warnings: tuple[str, ...] = field(default=())
    readings: dict[str, pd.DataFrame] = field(default_factory=dict)
    looked_for: pd.DataFrame = field(default_factory=pd.DataFrame)
    failures: pd.DataFrame = field(default_factory=lambda: pd.DataFrame({"patient_id": [], "day": pd.to_datetime([])}))  # days on which anything was found failed
    in_place: pd.DataFrame = field(default_factory=lambda: pd.DataFrame({"patient_id": [], "denture_id": [], "part": [], "position": [], "looked_on": pd.to_datetime([])}))
    known_in_part: pd.DataFrame = field(default_factory=lambda: pd.DataFrame({"kind": [], "number": [], "patients": []}))  # missing and coarse knowledge, kind by kind
    things_done: pd.DataFrame = field(default_factory=pd.DataFrame)  # what was done or found amiss, thing by thing
    withheld: frozenset[str] = frozenset()  # kinds of part whose log lists failures only
    worked_out: dict = field(default_factory=dict, repr=False)

    def lifetime(self, name: str, reading: str = "") -> Lifetime:
        """The rows of one endpoint of the plan or of the shipped declarations, under the plan's reading or another."""
        key = (name, reading)
        if key not in self.worked_out:  # curves are fitted once, however often they are asked for
            declared = {**schemas.endpoints(), **{row["name"]: row for row in self.plan.get("endpoints", [])}}
            self.worked_out[key] = lifetime(self.readings[reading] if reading else self.times, declared[name], self.plan)
        return self.worked_out[key]

    def guard_of(self, life: Lifetime) -> str:
        """The sentence that withholds an endpoint's curve, or "": of what shows at examination, where its parts were not looked at."""
        if self.guard or not (life.examined and life.unit in self.withheld):
            return self.guard
        return f"Of {life.units} the log lists failures but not the visits where nothing was wrong."

    @property
    def delivered(self) -> pd.DataFrame:
        """Dentures delivered with a known day while the log ran."""
        start = self.visits["day"].min()
        known = self.dentures["delivered_on_precision"] == "day"
        return self.dentures[known & (self.dentures["delivered_on"] >= start)]

    def until(self) -> pd.Series:
        """Last day of care per patient: the day the patient left or died, else the closing day."""
        closing = pd.Timestamp(self.closing)
        return self.patients.set_index("patient_id")["ends_on"].fillna(closing).clip(upper=closing)


def gone_on(dentures: pd.DataFrame) -> pd.Series:
    """The day on which each denture went out of use: as written, when the next of its jaw was delivered (also one outside the plan's period), or when the patient changed to a fixed bridge or a plain denture."""
    if "gone_on" in dentures:
        return dentures["gone_on"]
    rows = dentures.sort_values(["patient_id", "arch", "delivered_on", "denture_id"])
    return rows["retired_on"].fillna(rows.groupby(["patient_id", "arch"])["delivered_on"].shift(-1)).reindex(dentures.index)


def gone_by_denture(dentures: pd.DataFrame) -> pd.Series:
    """The same day by denture_id, in the order of ``dentures``."""
    return pd.Series(gone_on(dentures).to_numpy(), index=dentures["denture_id"])


def read_log(connection, plan) -> Log:
    """Derive the part histories and read what the report needs, in a fixed order."""
    read = connection.execute
    readings = _other_policy(connection, plan)
    built = episodes.build(connection, plan, under_care=True)
    if _usual_gap(connection) < plan["rules"]["under_care_days"]:
        readings[GAP] = _times(connection, "endpoint_times_under_care")
    every = read("SELECT count(*), count(*) FILTER (WHERE audit_consent = 'no') FROM patients").fetchone()
    patients = _days(read(_PATIENTS).df())
    kept = set(patients["patient_id"])
    frames = {
        "dentures": _days(read(_DENTURES).df()),
        "visits": _days(read(_VISITS).df()),
        "inserts_in": _days(read(_INSERTS_IN).df()),
        "answers": _days(read('SELECT * FROM questionnaires ORDER BY patient_id, answered_on, instrument, about, item').df()),
        "episodes": _numbers(read("SELECT * FROM episodes WHERE coalesce(excluded, '') = '' ORDER BY episode_id").df()),
        "times": _times(connection),
        "failures": _days(read(_FAILURES).df()),
        "in_place": _days(read(_IN_PLACE).df()),
        "things_done": _days(read("SELECT * FROM things_done ORDER BY ALL").df()),
    }
    frames["dentures"] = _in_period(frames["dentures"], plan)
    if plan["audit"]["period_from"] or plan["audit"]["period_to"]:
        kept &= set(frames["dentures"]["patient_id"])
    frames = {name: frame[frame["patient_id"].isin(kept)].reset_index(drop=True) for name, frame in frames.items()}
    closing = read("SELECT closing_day FROM settings").fetchone()[0] or datetime.date(1970, 1, 1)
    for name, day in (("visits", "day"), ("inserts_in", "day"), ("failures", "day"), ("answers", "answered_on")):
        frames[name] = frames[name][~(frames[name][day] > pd.Timestamp(closing))].reset_index(drop=True)
    return Log(plan, closing, every[0], every[1], patients, levels=read("SELECT * FROM insert_levels ORDER BY level").df(),
               guard=f"{built.guard}." if built.guard else "", warnings=tuple(built.warnings),
               readings={name: frame[frame["patient_id"].isin(kept)] for name, frame in readings.items()}, withheld=frozenset(part for (part,) in read("SELECT part FROM guard WHERE withheld ORDER BY part").fetchall()), looked_for=_numbers(read("SELECT * FROM endpoint_counts ORDER BY endpoint").df()),
               known_in_part=read("SELECT * FROM known_in_part ORDER BY kind").df(), **frames)  # fmt: skip


def _in_period(dentures: pd.DataFrame, plan) -> pd.DataFrame:
    """Dentures delivered within the plan's period."""
    first, last = plan["audit"]["period_from"], plan["audit"]["period_to"]
    inside = pd.Series(True, index=dentures.index)
    if first:
        inside &= dentures["delivered_on"] >= pd.Timestamp(first)
    if last:
        inside &= dentures["delivered_on"] <= pd.Timestamp(last)
    return dentures[inside]


def _other_policy(connection, plan) -> dict[str, pd.DataFrame]:
    """Endpoint times with silent notes read the other way round; nothing where no note is silent."""
    if not connection.execute("SELECT count(*) FROM visits WHERE parts_checked = 'notes silent'").fetchone()[0]:
        return {}
    sound = plan["rules"]["unlisted"] == "sound"
    episodes.build(connection, {**plan, "rules": {**plan["rules"], "unlisted": "not checked" if sound else "sound"}})
    return {"silent notes mean nothing" if sound else "silent notes mean sound": _times(connection)}


def _usual_gap(connection) -> float:
    """Median days between contacts, reviews and repairs close together left out; inf where nobody came back so late.

    Ending care at the first long gap says something only where patients are asked back more often than that: simulated with
    recalls further apart than the gap, that line errs by up to 0.28 (tests/simulations).
    """
    gap = """SELECT median(gap) FROM (SELECT date_diff('day', lag(visited_on) OVER (PARTITION BY patient_id ORDER BY visited_on), visited_on) AS gap
             FROM visits WHERE visited_on IS NOT NULL) WHERE gap >= 90"""
    (days,) = connection.execute(gap).fetchone()
    return float("inf") if days is None else float(days)


def _times(connection, view: str = "endpoint_times") -> pd.DataFrame:
    return _numbers(connection.execute(f"SELECT * FROM {view} ORDER BY endpoint, unit_id").df())


def _days(frame: pd.DataFrame) -> pd.DataFrame:
    """Dates as datetimes, whatever DuckDB hands over."""
    for name in frame.columns:
        if name == "day" or name.endswith("_on"):
            frame[name] = pd.to_datetime(frame[name])
    return frame


def _numbers(frame: pd.DataFrame) -> pd.DataFrame:
    """Days as floats with nan for what is missing, flags as plain booleans (a missing flag is no)."""
    for name in frame.columns:
        if pd.api.types.is_bool_dtype(frame[name].dtype) or frame[name].dtype == object and frame[name].dropna().map(type).eq(bool).all() and frame[name].notna().any():
            frame[name] = frame[name].fillna(False).astype(bool)
        elif pd.api.types.is_integer_dtype(frame[name].dtype):
            frame[name] = frame[name].astype(float)
    return frame
