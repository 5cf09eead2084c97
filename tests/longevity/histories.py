"""Random histories for the property tests: whole days, ties, late entry, clusters, some or no events."""

import numpy as np
from hypothesis import strategies as st


@st.composite
def rows(draw, least=2, most=30, events=None):
    """dict of arrays: duration, observed, entry, cluster, weights, cause, group; times are whole days."""
    n = draw(st.integers(least, most))
    duration = np.array(draw(st.lists(st.integers(1, 12), min_size=n, max_size=n)), dtype=float)
    part = np.array(draw(st.lists(st.floats(0, 0.99), min_size=n, max_size=n)))
    observed = np.array(draw(st.lists(st.booleans(), min_size=n, max_size=n)))
    if events == "some":
        observed[draw(st.integers(0, n - 1))] = True
    cause = np.where(observed, np.array(draw(st.lists(st.sampled_from(["worn", "lost"]), min_size=n, max_size=n))), "")
    return {
        "duration": duration,
        "observed": observed,
        "entry": np.floor(part * duration),
        "cluster": np.array(draw(st.lists(st.integers(0, 4), min_size=n, max_size=n))),
        "weights": np.array(draw(st.lists(st.integers(1, 3), min_size=n, max_size=n)), dtype=float),
        "cause": cause,
        "group": np.array(draw(st.lists(st.sampled_from("ab"), min_size=n, max_size=n))),
    }


@st.composite
def intervals(draw, least=1, most=25):
    """(left, right): whole days, single days and open ends among them."""
    n = draw(st.integers(least, most))
    left = np.array(draw(st.lists(st.integers(0, 10), min_size=n, max_size=n)), dtype=float)
    width = np.array(draw(st.lists(st.sampled_from([0.0, 1.0, 2.0, 5.0, np.inf]), min_size=n, max_size=n)))
    return left, left + width
