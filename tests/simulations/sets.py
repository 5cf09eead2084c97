"""Serial parts at one site, and parts changed together or on a wish that heralds wear."""

from __future__ import annotations

import numpy as np

from outcomes.longevity import kaplan_meier, serial_gaps, wear_bracket

from .clinic import Parts, closings, fit_parts, frailties, lives, scale_for, survival
from .shares import THREE_YEARS, holds


def serial_parts(rng, *, sites, share, frailty):
    """Share at three years where a site gets part after part: weighted gaps, first parts, all pooled. Two sites a patient."""
    patients = sites // 2
    scale = scale_for(share, THREE_YEARS, frailty=frailty)
    patient = np.repeat(np.arange(patients), 2)
    site, serial, gap, complete = _gaps(rng, frailties(rng, patients, frailty)[patient], closings(rng, patients)[patient], scale)
    weighted = kaplan_meier(gap, complete, weights=serial_gaps(site, serial, complete), cluster=patient[site], small_sample=True)
    first = serial == 1
    firsts = kaplan_meier(gap[first], complete[first], cluster=patient[site[first]], small_sample=True)
    pooled = kaplan_meier(gap, complete, cluster=patient[site], small_sample=True)
    return {
        "weighted gaps": weighted.survival_at(THREE_YEARS), "first parts": firsts.survival_at(THREE_YEARS),
        "all parts pooled": pooled.survival_at(THREE_YEARS), "limits, weighted gaps": holds(weighted.interval_at(THREE_YEARS), share),
        "limits, first parts": holds(firsts.interval_at(THREE_YEARS), share), "limits, all parts pooled": holds(pooled.interval_at(THREE_YEARS), share),
    }  # fmt: skip


def _gaps(rng, frailty, closing, scale):
    """(site, serial, gap, complete) of every part that served at the sites until their closing."""
    rows, day, serving, serial = [], np.zeros(len(frailty)), np.arange(len(frailty)), 1
    while len(serving):
        life, left = lives(rng, frailty[serving], scale), closing[serving] - day[serving]
        rows.append((serving, np.full(len(serving), serial), np.minimum(life, left), life <= left))
        day[serving] += life
        serving, serial = serving[life < left], serial + 1
    return tuple(map(np.concatenate, zip(*rows)))


def changed_together(rng, *, patients, sites, share, frailty):
    """All parts of a set changed when the first fails: limits of first repair per denture, the curve per part, its bracket."""
    scale = scale_for(share, THREE_YEARS, frailty=frailty)
    parts = fit_parts(rng, patients, frailty=frailty, scale=scale, sites=(sites,), wishes=False)
    first, closing = parts.life.reshape(patients, sites).min(axis=1), parts.closing[::sites]
    denture = kaplan_meier(np.minimum(first, closing), first <= closing, cluster=np.arange(patients), small_sample=True)
    end = np.minimum(first, closing)[parts.patient]
    cause = np.where(parts.life <= end, "failed", np.where(end < parts.closing, "with a neighbour", ""))
    truth = survival(THREE_YEARS, frailty=frailty, scale=scale, parts=sites)
    return {
        "first repair per denture": holds(denture.interval_at(THREE_YEARS), truth),
        "share without a first repair": denture.survival_at(THREE_YEARS),
        **_wear(end, cause, parts, share),
    }


def heralded(rng, *, patients, share, frailty):
    """Half of the parts changed on a wish at 60 to 100 % of the life they had: one part a patient, log closed after 1 to 8 years."""
    parts = fit_parts(rng, patients, frailty=frailty, scale=scale_for(share, THREE_YEARS, frailty=frailty), sites=(1,), wishes=False)
    wish = np.where(rng.random(patients) < 0.5, np.ceil(parts.life * rng.uniform(0.6, 1, patients)), np.inf)
    end = np.minimum(np.minimum(parts.life, wish), parts.closing)
    cause = np.where(parts.life <= end, "failed", np.where(wish <= end, "wish", ""))
    return _wear(end, cause, parts, share)


def _wear(end, cause, parts: Parts, share: float):
    bracket = wear_bracket(end, cause, "failed", cluster=parts.patient, small_sample=True)
    low, high = bracket.bounds_at(THREE_YEARS)
    return {
        "bracket holds the truth": float(low <= share <= high), "bracket with its limits": holds(bracket.limits_at(THREE_YEARS), share),
        "bracket is the headline": float(bracket.is_headline_at(THREE_YEARS)), "lower end": low, "upper end": high,
        "curve per part": bracket.if_independent.survival_at(THREE_YEARS),
    }  # fmt: skip
