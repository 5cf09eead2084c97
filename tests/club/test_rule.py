"""The sharing rule: published presets, rounding, and what is behind a shown count."""

import doctest
from importlib import import_module

import pytest

from outcomes.club.rule import Rule, presets, rule_of
from outcomes.errors import Misuse
from outcomes.plan import Plan, read_plan


def plan(**sharing):
    return Plan({"sharing": {**read_plan()["sharing"], **sharing}})


@pytest.mark.parametrize("module", ["rule", "packet", "agree", "bands"])
def test_worked_examples(module):
    assert doctest.testmod(import_module(f"outcomes.club.{module}")).failed == 0


def test_rounding_to_the_nearest_five():
    """Examples of the rule of NHS Digital (HES): 0, 8, 12, 13, 17, 18 are shown as 0, 10, 10, 15, 15, 20."""
    hes = rule_of(plan(preset="hes"))
    assert [hes.rounded(count) for count in (0, 8, 12, 13, 17, 18)] == [0, 10, 10, 15, 15, 20]


@pytest.mark.parametrize("name, hidden, shown, step", [
    ("cms", 10, 11, 1),  # CMS, 2024: no cell of 1 to 10
    ("hes", 7, 8, 5),  # NHS Digital HES since 2018: 1 to 7 hidden, others rounded to 5
    ("hes before 2018", 5, 6, 1),  # 1 to 5 hidden and a second cell
    ("ons longitudinal study", 9, 10, 1),  # under 10 needs a reason
])  # fmt: skip
def test_presets_are_the_published_rules(name, hidden, shown, step):
    rule = rule_of(plan(preset=name))
    assert rule.few(1) and rule.few(hidden) and not rule.few(shown) and not rule.few(0)
    assert rule.round_to == step and len(rule.source) > 10 and presets()[name]["rule"]


@pytest.mark.parametrize("minimum, step", [(10, 5), (8, 5), (11, 1), (5, 5), (6, 3), (9, 4)])
def test_what_is_behind_a_shown_count_is_what_is_rounded_to_it(minimum, step):
    rule = Rule("", minimum, step, "")
    for shown in {rule.rounded(count) for count in range(minimum, 60)}:
        behind = [count for count in range(minimum, 80) if rule.rounded(count) == shown]
        assert rule.behind(shown) == (behind[0], behind[-1])


@pytest.mark.parametrize("sharing, says", [({"preset": "csm"}, "Did you mean cms"), ({"preset": "zzzz"}, "Known are"), ({"minimum_patients": 1}, "2 or more"), ({"round_to": 20}, "between 1 and"), ({"minimum_patients": 9.5}, "whole number")])
def test_a_rule_that_cannot_be_is_refused(sharing, says):
    with pytest.raises(Misuse, match=says):
        rule_of(plan(**sharing))
