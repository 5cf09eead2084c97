"""The smooth curve of a lifetime: its shape fixed by the plan, every shape's answer beside it, and by when half were worn."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pandas as pd

from outcomes import longevity
from outcomes.analyses.drawings import lines_of
from outcomes.analyses.factors_models import observations
from outcomes.analyses.lifetimes import YEAR
from outcomes.analyses.sentences import saying
from outcomes.errors import Misuse
from outcomes.longevity import ArgumentError
from outcomes.present import words
from outcomes.present.curves import CannotDraw, Frame
from outcomes.present.fitted import fitted

SHAPES = ("weibull", "lognormal", "loglogistic", "exponential")
MATTERS = 0.05  # shapes whose answers lie further apart: the shape, not the log, decides
SHARES = (0.10, 0.25, 0.50)
SAID = {0.10: "one of ten", 0.25: "a quarter", 0.50: "half"}


@dataclass(frozen=True, eq=False)
class Shapes:
    """Smooth curves of one lifetime by shape; ``chosen`` is the plan's. Nothing is read beyond ``until``, the last day on which a failure was found."""

    life: object
    fits: dict
    chosen: str
    until: float

    @property
    def fit(self):
        """The plan's shape; None where nothing could be fitted."""
        return self.fits.get(self.chosen)

    @property
    def horizons(self) -> list[float]:
        """Years of the plan up to the last failure found."""
        report = self.life.plan["report"]
        return [years for years in sorted({*report["horizons_years"], report["headline_years"]}) if years * YEAR <= self.until and self.life.followed(years) >= report["minimum_patients"]]

    @cached_property
    def spread(self) -> float:
        """How far the shapes' shares lie apart at most, at the horizons."""
        apart = [np.ptp([float(fit.survival_at(years * YEAR)[0]) for fit in self.fits.values()]) for years in self.horizons]
        return float(max(apart, default=0.0))

    @property
    def matters(self) -> bool:
        return self.spread > MATTERS

    def smooth(self, name: str = "") -> pd.DataFrame:
        """years, share, low, high of a shape's curve, to the last failure found."""
        fit = self.fits[name or self.chosen]
        days = np.linspace(1, self.until, 120)
        low, high = (np.ravel(edge) for edge in fit.survival_interval_at(days))
        return pd.DataFrame({"years": days / YEAR, "share": np.ravel(fit.survival_at(days)), "low": low, "high": high})


def shapes(life) -> Shapes | None:
    """Fit every shape; None below the plan's number of patients with the event, or where the plan's shape cannot be fitted.

    Raises Misuse for a shape that is not known.
    """
    chosen = life.plan["wear"]["shape"]
    if chosen not in SHAPES:
        raise Misuse(f"shape in [wear] of the plan must be one of {', '.join(SHAPES)}, not {chosen}.")
    if life.patients_with_events < life.plan["report"]["test_patients"]:
        return None
    frame, fits = observations(life), {}
    for name in SHAPES:
        try:
            fits[name] = longevity.accelerated_failure(frame, "1", left="left", right="right", entry="entry" if frame["entry"].any() else None, cluster="patient", distribution=name, level=life.level, small_sample=True)
        except ArgumentError:
            continue
    if chosen not in fits:
        return None
    return Shapes(life, fits, chosen, float(frame.loc[np.isfinite(frame["right"]), "right"].max()))


def percentiles(found: Shapes) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(shown, exact): by when one of ten, a quarter and half were worn, as seen and by the smooth curve."""
    shown, exact, life = [], [], found.life
    for share in SHARES:
        seen = life.headline.quantile(share)
        seen_low, seen_high = life.headline.quantile_interval(share)
        value = float(found.fit.quantile(share)[0])
        low, high = (float(edge[0]) for edge in found.fit.quantile_interval(share))
        beyond = value > found.until
        shown.append({gone(life): words.sentence(SAID[share]), "as seen": words.years(seen), "likely range as seen": _between(seen_low, seen_high),
                      "by the smooth curve": f"after more than {words.years(found.until)}" if beyond else words.years(value), "likely range": "not read so far out" if beyond else _between(low, high if high <= found.until else math.inf)})  # fmt: skip
        exact.append({"share_gone": share, "seen_days": seen, "seen_low": seen_low, "seen_high": seen_high, "smooth_days": math.nan if beyond else value, "smooth_low": math.nan if beyond else low, "smooth_high": math.nan if beyond else high,
                      "last_failure_found_day": found.until})  # fmt: skip
    return pd.DataFrame(shown), pd.DataFrame(exact)


def _between(low: float, high: float) -> str:
    if math.isnan(low) or math.isinf(low):
        return "not reached"
    if math.isinf(high) or math.isnan(high):
        return f"{words.years(low)} or more"
    return f"{words.number(low / YEAR, 1)} to {words.number(high / YEAR, 1)} years"


def gone(life) -> str:
    """What has happened to a part that is gone."""
    return "worn" if life.unit == "insert" else "loose"


def if_alike(life) -> str:
    """The condition under which wear life is read, where many parts were changed for other reasons."""
    bracketed = life.unit == "insert" and life.bracket is not None and life.horizon and life.bracket.is_headline_at(life.horizon * YEAR)
    return f", if {life.units} changed for other reasons had lasted like the rest" if bracketed else ""


def half_by(life) -> str:
    """One sentence on when half were worn: read from the limits; "not reached" with what holds instead."""
    say = saying(life)
    seen = life.headline.quantile(0.5) if life.headline is not None and life.speaks else math.nan
    if math.isfinite(seen):
        low, high = life.headline.quantile_interval(0.5)
        return f"Half were {gone(life)} by {words.years(seen)} after {say.since} (likely range {_between(low, high)}){if_alike(life)}."
    longest = life.median_follow_up()
    share = life.share_at(life.horizon) if life.horizon else None
    rest = f": after {words.span(share.years)} at least {words.estimated(share.low, life.patients)} still held" if share is not None and not math.isnan(share.low) else ""
    return f"By when half were {gone(life)} was not reached; half of the {life.units} were watched for {words.years(longest)} or longer{rest}."


def by_shape(found: Shapes) -> tuple[pd.DataFrame, pd.DataFrame]:
    """(shown, exact): every shape's share at the horizons beside what was seen; AIC for the record, not for choosing."""
    shown, exact, life = [], [], found.life
    for name, fit in found.fits.items():
        row = {"shape": f"{name}, the plan's" if name == found.chosen else name}
        for years in found.horizons:
            value = float(fit.survival_at(years * YEAR)[0])
            row[f"after {words.span(years)}"] = words.estimated(value, life.patients)
            exact.append({"shape": name + (", the plan's" if name == found.chosen else ""), "years": years, "share": value, "aic": fit.aic})
        shown.append(row)
    seen = {"shape": "as seen, no shape assumed"}
    for years in found.horizons:
        share = life.share_at(years)
        exact.append({"shape": "as seen", "years": years, "share": share.value if share else math.nan, "share_lower_edge": share.below if share else math.nan, "aic": math.nan})
        seen[f"after {words.span(years)}"] = share.said(life.patients) if share else "not known"
    return pd.DataFrame([seen, *shown]), pd.DataFrame(exact)


def drawn(found: Shapes, shape):
    """The plan's smooth curve over what was seen; the other shapes thin where the shape matters."""
    lines = lines_of(found.life, band=False)
    if not lines:
        raise CannotDraw("There is nothing to draw a smooth curve over.")
    life, say = found.life, saying(found.life)
    others = {name: found.smooth(name) for name in found.fits if name != found.chosen} if found.matters else None
    subtitle = f"{words.people(life.patients, life.parts, life.unit)}. {'Boxes and steps' if life.examined else 'Steps'}: as seen. Line: smooth curve with its likely range ({100 * life.level:g} %)." + (" Dashed: other shapes." if others else "")
    return fitted(lines[0], found.smooth(), Frame(f"{say.title}: a smooth curve over what was seen", subtitle, f"years since {say.since}"), shape, others)
