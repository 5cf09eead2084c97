"""Parts that were looked at about yearly, for tests of models that take intervals."""

from __future__ import annotations

import numpy as np
import pandas as pd

BETWEEN = dict(left="sound", right="worn")
SHAPES = ("weibull", "lognormal", "loglogistic", "exponential")


def looks(seed: int, patients: int = 60) -> pd.DataFrame:
    """Parts looked at about yearly: intervals, first looks that found wear, still sound; some wear days known; some late entries."""
    rng = np.random.default_rng(seed)
    sites = rng.integers(1, 5, patients)
    patient = np.repeat(np.arange(patients), sites)
    n = len(patient)
    firm, age = rng.integers(0, 2, n), rng.normal(65, 8, n).round(1)
    life = np.exp(7 - 0.4 * firm + 0.01 * (age - 65) + 0.6 * np.log(rng.exponential(size=n)) + rng.normal(0, 0.3, patients)[patient])
    gap = rng.uniform(200, 420, n).round()
    sound = np.floor(life / gap) * gap
    worn = sound + gap
    known = rng.random(n) < 0.2
    sound, worn = np.where(known, np.ceil(life), sound), np.where(known, np.ceil(life), worn)
    open_end = worn > rng.uniform(500, 2500, n)
    last = np.where(known, np.minimum(sound, 900), sound)
    sound, worn = np.where(open_end, last, sound), np.where(open_end, np.inf, worn)
    entry = np.where((rng.random(n) < 0.3) & (sound > 100), 50.0, 0.0)
    return pd.DataFrame({"patient": patient, "firm": firm, "age": age, "sound": sound, "worn": worn, "entry": entry})
