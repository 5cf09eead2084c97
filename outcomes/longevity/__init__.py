"""Arrays in, frozen results out: curves, tests and models for how long parts last and how much upkeep they need.

Durations are whole days in reports, but any unit serves. Nothing here knows the store, files or figures. Each name below
is loaded from its module when first used, so that importing this package costs next to nothing.
"""

from importlib import import_module

_MODULE = {
    # how long does it last
    "kaplan_meier": "product_limit",
    "kaplan_meier_from_counts": "product_limit",
    "follow_up": "product_limit",
    "turnbull": "interval_curve",
    "risk_table": "risk_tables",
    "risk_table_from_counts": "risk_tables",
    "serial_gaps": "pooling",
    "per_patient": "pooling",
    "wear_bracket": "brackets",
    # are two groups different
    "compare_curves": "comparison",
    "compare_curves_from_counts": "comparison",
    "restricted_mean_difference": "mean_difference",
    "interval_mean_difference": "mean_difference",
    "holm": "multiplicity",
    "e_value": "confounding",
    "emulated_trial": "trial",
    "patients_needed": "trial",
    "Rules": "trial",
    "Outcome": "trial",
    "CountSoFar": "weighted",
    "TimeFree": "weighted",
    "ShareOf": "weighted",
    "MeanOf": "weighted",
    # what happens, how often, where do people settle
    "cumulative_incidence": "incidence",
    "mean_cumulative_function": "recurrence",
    "mean_count_contrast": "recurrence",
    "state_occupancy": "occupancy",
    "event_rate": "rates",
    "rate_ratio": "rates",
    # shares
    "wilson_interval": "shares",
    "newcombe_interval": "shares",
    "effective_sample_interval": "shares",
    "expected_failures": "funnel",
    "counted_shares": "funnel",
    "share_limits": "funnel",
    # several clinics together
    "random_effects": "between_clinics",
    "grid_totals": "grid",
    "coarser": "grid",
    "pooled_grid_curve": "grid",
    # how many more it takes
    "events_needed": "planning",
    "patients_for_events": "planning",
    "design_effect": "planning",
    "within_patient_correlation": "planning",
    "patients_for_width": "planning",
    "looking_efficiency": "planning",
    # what comes of looking, and what will be needed
    "time_unnoticed": "unnoticed",
    "replacement_forecast": "replacement_draws",
    "PartHistory": "replacement",
    # regression
    "accelerated_failure": "accelerated",
    "proportional_hazards": "hazards",
    "gamma_frailty": "frailty",
    "gray_test": "gray",
    "fine_gray": "incidence_models",
    "pseudo_value_regression": "pseudo_values",
    "piecewise_exponential": "piecewise",
    "poisson_upkeep": "upkeep_models",
    "negative_binomial_upkeep": "upkeep_models",
    # what every call shares
    "Estimate": "estimate",
    "ArgumentError": "estimate",
}

__all__ = list(_MODULE)


def __getattr__(name):
    if name not in _MODULE:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_MODULE[name]}"), name)


def __dir__():
    return sorted(set(globals()) | set(_MODULE))
