"""Nobody can work out a small count from what is shared, in one packet or in several; and the attack that says so is able to succeed."""

import itertools
import json
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

RULE = {"minimum": 10, "round_to": 1}


def packet(people, **rule):
    """A bare packet of counts, with the true ones beside it: {label: (true, shown)}."""
    return SimpleNamespace(packet={"people": {label: "hidden" if shown is None else shown for label, (_, shown) in people.items()}, "endpoints": [], "sharing": {**RULE, **rule}},
                           counts={label: true for label, (true, _) in people.items()})  # fmt: skip


def jaws(lower, upper, both, total):
    return {"all patients": total, "lower jaw only": lower, "upper jaw only": upper, "both jaws": both}


def test_one_hidden_count_beside_its_total_is_worked_out(attack):
    """A row with one hidden cell and a shown total must hide a second cell (field rules on disclosure)."""
    assert attack.recovered([packet(jaws((40, 40), (15, 15), (4, None), (59, 59)))]) == [(0, "both jaws")]


def test_a_second_hidden_count_protects_it(attack):
    assert attack.recovered([packet(jaws((40, 40), (15, None), (4, None), (59, 59)))]) == []


def test_two_hidden_counts_that_are_both_small_protect_nobody(attack):
    assert set(attack.recovered([packet(jaws((40, 40), (3, None), (4, None), (47, 47)))])) == {(0, "upper jaw only"), (0, "both jaws")}


def test_rounding_alone_does_not_protect(attack):
    assert attack.recovered([packet(jaws((40, 40), (20, 20), (2, None), (62, 60)), round_to=5)]) == [(0, "both jaws")]


def test_a_few_more_than_last_year_are_worked_out(attack):
    before, after = packet(jaws((40, 40), (15, None), (4, None), (59, 59))), packet(jaws((44, 44), (26, None), (4, None), (74, 74)))
    assert (0, 1, "lower jaw only") in attack.recovered([before, after])


def test_counts_that_only_grow_give_this_years_hidden_one_away(attack):
    before, after = packet(jaws((40, 40), (15, 15), (0, 0), (55, 55))), packet(jaws((60, 60), (16, None), (4, None), (80, 80)))
    assert set(attack.recovered([before, after])) == {(1, "both jaws"), (0, 1, "both jaws")}
    assert attack.recovered([after]) == []


def test_the_bounds_are_those_of_trying_every_table(attack):
    """Small tables by brute force: a count is certain to be small exactly where every table that fits says so."""
    r = np.random.default_rng(3)
    for _ in range(40):
        true = r.integers(0, 9, 3)
        shown = [None if 0 < count < 4 or r.random() < 0.4 and count else int(count) for count in true]
        total = int(true.sum())
        if 0 < total < 4:
            continue
        tables = [table for table in itertools.product(*[[int(count)] if kept is not None else range(1, total + 1) for count, kept in zip(true, shown)]) if sum(table) == total]
        expected = {name for k, name in enumerate(("lower jaw only", "upper jaw only", "both jaws")) if 0 < true[k] < 4 and all(1 <= table[k] <= 3 for table in tables)}
        found = attack.recovered([packet(jaws(*[(int(count), kept) for count, kept in zip(true, shown)], (total, total)), minimum=4)])
        assert {label for _, label in found} == expected


def test_packets_of_random_clinics_give_nothing_away(attack_study):
    found = attack_study.study(15, first=5000, most=120)  # the recorded study has a thousand
    assert found["packets"] >= 15 and found["hidden"] > 100
    assert found["packets with something recovered"] == 0


def test_without_secondary_hiding_the_attack_succeeds_on_most_packets(attack_study):
    found = attack_study.study(8, first=5000, most=120, secondary=False)
    assert found["packets with something recovered"] > found["packets"] / 2


def test_the_recorded_study_had_a_thousand_packets():
    recorded = json.loads(Path(__file__).with_name("attack_study.json").read_text())
    assert recorded["with hiding"]["packets"] >= 1000 and recorded["with hiding"]["packets with something recovered"] == 0
    assert recorded["without secondary hiding"]["packets with something recovered"] > 0.5 * recorded["without secondary hiding"]["packets"]


@pytest.mark.slow
def test_a_thousand_packets_of_random_clinics_give_nothing_away(attack_study):
    *_, found = attack_study.in_blocks(1000, most=250)
    assert found["packets"] >= 1000 and found["packets with something recovered"] == 0
