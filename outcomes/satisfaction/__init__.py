"""Arrays and frames in, frozen results out: questionnaire scores, how much they changed, for whom, and who did not answer.

Scores come from instruments declared as data files; item wording is never kept. Nothing here knows the store, files of a
clinic or figures. Each name below is loaded from its module when first used.
"""

from importlib import import_module

_MODULE = {
    # what was asked, and the scores
    "instruments": "forms",
    "instrument": "forms",
    "read_instrument": "forms",
    "Instrument": "forms",
    "score": "scores",
    "cronbach_alpha": "reliability",
    "alpha_interval": "reliability",
    "floor_ceiling": "reliability",
    "cohen_kappa": "agreement",
    # which answer belongs to which occasion, and who did not answer
    "WINDOWS": "windows",
    "assign_windows": "windows",
    "pairs": "windows",
    "answer_status": "answering",
    "response_rates": "answering",
    "silent_at_start": "answering",
    # change
    "paired_change": "changes",
    "change": "changes",
    "responders": "improvement",
    "minimal_change": "anchor",
    "trajectory": "trajectories",
    "delta_adjustment": "departures",
    "matched_level_change": "level_change",
}

__all__ = list(_MODULE)


def __getattr__(name):
    if name not in _MODULE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_MODULE[name]}"), name)


def __dir__():
    return sorted(set(globals()) | set(_MODULE))
