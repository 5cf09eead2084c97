"""What accelerated failure time models refuse: bad columns, new data that do not fit, data without a maximum."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from looked_at import BETWEEN, SHAPES, looks

from outcomes.longevity import ArgumentError, accelerated_failure


@pytest.mark.parametrize(("change", "call", "argument", "position"), [
    ({"sound": np.nan}, {}, "left", 1),
    ({"sound": -1.0}, {}, "left", 1),
    ({"worn": np.nan}, {}, "right", 1),
    ({"sound": 1e6, "worn": 5.0}, {}, "right", 1),
    ({"sound": 0.0, "worn": 0.0}, {}, "right", 1),
    ({"entry": 1e6}, {"entry": "entry"}, "entry", 1),
    ({"sound": 50.0, "worn": np.inf, "entry": 50.0}, {"entry": "entry"}, "entry", 1),
    ({"entry": -2.0}, {"entry": "entry"}, "entry", 1),
    ({"age": np.nan}, {}, "formula", 1),
    ({"firm": 0.0}, {"weights": "firm"}, "weights", None),
    ({}, {"left": "first"}, "left", None),
    ({}, {"formula": "colour"}, "formula", None),
    ({}, {"formula": "age + I(3 * age)"}, "formula", None),
    ({}, {"distribution": "gamma"}, "distribution", None),
    ({}, {"level": 1.5}, "level", None),
    ({}, {"small_sample": True}, "small_sample", None),
])
def test_bad_input_is_refused_with_argument_position_and_remedy(change, call, argument, position):
    frame = looks(20).astype(float)
    for column, value in change.items():
        frame.loc[1, column] = value
    with pytest.raises(ArgumentError) as caught:
        accelerated_failure(frame, **{"formula": "firm + age", **BETWEEN, **call})
    assert caught.value.argument == argument and caught.value.remedy
    assert position is None or caught.value.position == position


def test_new_data_are_refused_where_they_do_not_fit():
    fitted = accelerated_failure(looks(20).assign(arch=lambda f: np.where(f["age"] > 65, "upper", "lower")), "arch", **BETWEEN)
    for newdata in (None, pd.DataFrame({"age": [60]}), pd.DataFrame({"arch": ["both"]}), pd.DataFrame({"arch": [None]})):
        with pytest.raises(ArgumentError) as caught:
            fitted.survival_at(365, newdata)
        assert caught.value.argument == "newdata"
    with pytest.raises(ArgumentError):
        fitted.quantile(1.0, pd.DataFrame({"arch": ["upper"]}))


@pytest.mark.parametrize("shape", SHAPES)
def test_a_group_without_failures_is_refused_by_name(shape):
    frame = looks(21)
    frame.loc[frame["firm"] == 1, "worn"] = np.inf
    with pytest.raises(ArgumentError, match="do not bound the effect of firm:"):
        accelerated_failure(frame, "firm + age", distribution=shape, **BETWEEN)


@pytest.mark.parametrize(("frame", "said"), [
    ({"sound": [5.0, 7], "worn": [np.inf, np.inf]}, "no row has failed"),
    ({"sound": [0.0, 0], "worn": [5.0, 7]}, "0 in every row"),
    ({"sound": [5.0, 5], "worn": [5.0, 5]}, "do not fix the scale"),
    ({"sound": [1.0, 20, 30], "worn": [100.0, 90, 120]}, "do not fix the scale"),
    ({"sound": [0.0, 0, 200, 300], "worn": [50.0, 70, np.inf, np.inf]}, "do not fix the scale"),
])
def test_data_without_a_maximum_are_refused_in_plain_words(frame, said):
    with pytest.raises(ArgumentError, match=said):
        accelerated_failure(pd.DataFrame(frame), "1", **BETWEEN)


def test_one_cluster_is_refused():
    with pytest.raises(ArgumentError, match="one cluster"):
        accelerated_failure(looks(22).assign(clinic="A"), "age", cluster="clinic", **BETWEEN)
