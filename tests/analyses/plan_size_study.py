"""Do the numbers of plan-size keep their word? Simulated clinics of the size it asks for, parts of one mouth alike, wear found only at looks.

    python tests/analyses/plan_size_study.py [repetitions]      writes plan_size_study.json beside this file (a few minutes)

Lives: exponential at 0.2 a patient-year, two parts a mouth whose lives share half of a normal factor (a Gaussian copula keeps hazards proportional).
Looks: every gap, each up to 30 days early or late, to the end of follow-up.
"""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path

import numpy as np
from scipy import stats

from outcomes import longevity

YEAR, RATE, PARTS, LIKE, RATIO, SPAN = 365.25, 0.2, 2, 0.5, 1.5, 3.0


def lives(r, patients: int, rate: float) -> np.ndarray:
    """(patients, parts) days to failure."""
    shared, own = r.normal(size=(patients, 1)), r.normal(size=(patients, PARTS))
    chance = stats.norm.cdf(math.sqrt(LIKE) * shared + math.sqrt(1 - LIKE) * own)
    return np.ceil(-np.log1p(-chance) / rate * YEAR)


def looked(r, life: np.ndarray, gap: float, until: float) -> tuple[np.ndarray, np.ndarray]:
    """(left, right) by each part: the patient's looks around its failure; right = inf where none found it."""
    looks = np.arange(1, int(until / gap + 1e-9) + 1)
    days = np.sort(np.clip(looks * gap * YEAR + r.uniform(-30, 30, (len(life), len(looks))), 1, until * YEAR + 30).round(), axis=1)
    place = (days[:, None, :] < life[:, :, None]).sum(2)
    padded = np.column_stack([np.zeros(len(life)), days, np.full(len(life), np.inf)])
    rows = np.arange(len(life))[:, None]
    return padded[rows, place], padded[rows, place + 1]


def correlation(r) -> float:
    """How alike failed less expected is within a mouth, measured as plan-size does on a large clinic."""
    life = lives(r, 20_000, RATE)
    day = np.minimum(life, SPAN * YEAR)
    excess = (life <= SPAN * YEAR) - RATE * day / YEAR
    return longevity.within_patient_correlation(excess.ravel(), np.repeat(np.arange(len(life)), PARTS))


def power(repetitions: int, patients: int, gap: float | None, seed: int) -> float:
    """Share of clinics in which light and firmer differ at 5 %."""
    r, seen = np.random.default_rng(seed), 0
    half = patients // 2
    who, group = np.repeat(np.arange(2 * half), PARTS), np.repeat([0, 1], half * PARTS)
    for _ in range(repetitions):
        life = np.concatenate([lives(r, half, RATE), lives(r, half, RATE * RATIO)])
        if gap is None:
            day, failed = np.minimum(life, SPAN * YEAR), life <= SPAN * YEAR
        else:
            left, right = looked(r, life, gap, SPAN)
            failed = np.isfinite(right)
            day = np.where(failed, right, np.maximum(left, 1))
        seen += longevity.compare_curves(day.ravel(), failed.ravel(), group, cluster=who).p_value < 0.05
    return seen / repetitions


def widths(repetitions: int, patients: int, seed: int) -> float:
    """Mean half width of the likely range of the share at three years."""
    r, found = np.random.default_rng(seed), []
    for _ in range(repetitions):
        life = lives(r, patients, RATE)
        curve = longevity.kaplan_meier(np.minimum(life, 5 * YEAR).ravel(), (life <= 5 * YEAR).ravel(), cluster=np.repeat(np.arange(patients), PARTS), small_sample=True)
        found.append(np.diff(curve.interval_at(SPAN * YEAR))[0] / 2)
    return float(np.mean(found))


def loss(repetitions: int, patients: int, gap: float, seed: int) -> float:
    """Variance of the share at three years read between looks, over that with the day of failure known."""
    r, exact, between = np.random.default_rng(seed), [], []
    for _ in range(repetitions):
        life = lives(r, patients, RATE)
        exact.append((life > SPAN * YEAR).mean())
        left, right = looked(r, life, gap, 5.0)
        between.append(float(np.mean(longevity.turnbull(left.ravel(), right.ravel(), draws=2).survival_bounds_at(SPAN * YEAR))))
    return float(np.var(between) / np.var(exact))


def study(repetitions: int) -> dict:
    rho = correlation(np.random.default_rng(1))
    effect = longevity.design_effect(PARTS, rho)
    failing, other = (-math.expm1(-RATE * by * SPAN) for by in (1.0, RATIO))
    events = longevity.events_needed(RATIO)
    patients = {"as they are": longevity.patients_for_events(events * effect, failing, other, parts=PARTS), "as if independent": longevity.patients_for_events(events, failing, other, parts=PARTS)}
    for gap in (1.0, 2.0):
        patients[f"looks every {gap:g}"] = longevity.patients_for_events(events * effect / longevity.looking_efficiency(RATE, gap), failing, other, parts=PARTS)
    share = math.exp(-RATE * SPAN)
    many = lives(np.random.default_rng(2), 20_000, RATE) > SPAN * YEAR
    own = longevity.design_effect(PARTS, longevity.within_patient_correlation(many.ravel().astype(float), np.repeat(np.arange(len(many)), PARTS)))
    wide = longevity.patients_for_width(math.sqrt(share * (1 - share) / PARTS), 0.10, effect=own)
    return {
        "repetitions": repetitions, "likeness of failed less expected": round(rho, 4), "design effect": round(effect, 4), "events": round(events, 2), "patients": patients,
        "power": {"as they are, day known": power(repetitions, patients["as they are"], None, 11), "as if independent, day known": power(repetitions, patients["as if independent"], None, 12),
                  "looks every 1": power(repetitions, patients["looks every 1"], 1.0, 13)},
        "width": {"patients": wide, "design effect": round(own, 4), "asked": 0.10, "mean half width": round(widths(repetitions, wide, 15), 4)},
        "variance of a share at 3 years over that with the day known": {f"{gap:g}": round(loss(repetitions, 150, gap, 16), 3) for gap in (0.5, 1.0, 2.0)},
    }  # fmt: skip


if __name__ == "__main__":
    body = {"how": "python tests/analyses/plan_size_study.py 2000", **study(int(sys.argv[1]) if len(sys.argv) > 1 else 2000)}
    Path(__file__).with_suffix(".json").write_text(json.dumps(body, indent=1) + "\n", encoding="utf-8")
    print(json.dumps(body, indent=1))
