"""The methods keep their word on simulated clinics of known truth: a short run every day, the full one on request, and its record held to its limits."""

import math
import sys
from pathlib import Path

import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from simulations.cells import CELLS  # noqa: E402
from simulations.clinic import Parts, fit_parts, frailties, lives, look, scale_for, survival  # noqa: E402
from simulations.engine import ACCEPTED, MISSED, NAIVE, NOT_WRONG, OURS, WRONG, Line, judge, run  # noqa: E402
from simulations.page import page  # noqa: E402
from simulations.record import PAGE, judged, key, line_key, recorded  # noqa: E402
from simulations.visits import between_looks, capped, day_found, until_first_gap, while_in_care  # noqa: E402

INF = math.inf
SHORT = [cell for cell in CELLS if cell.short]


def verdicts(cell, rows):
    """Lines that did not do what is asked of them, and cautioned lines that did."""
    wanted = {OURS: ACCEPTED, NAIVE: WRONG}
    return [
        (row["method"], row["estimate"], row["limit_low"], row["limit_high"], row["verdict"])
        for row, line in zip(rows, cell.lines)
        if row["verdict"] and not line.caution and row["verdict"] != wanted[line.role]
    ]


@pytest.mark.parametrize("cell", SHORT, ids=lambda cell: cell.name)
def test_the_short_run_keeps_its_limits(cell):
    assert verdicts(cell, judge(cell, run(cell, cell.short))) == []


def test_every_cell_is_recorded_in_full_and_no_other():
    lines = {key(line_key(cell, line)): cell for cell in CELLS for line in cell.lines}
    rows = {key(row): row for row in recorded()}
    assert set(rows) == set(lines)
    assert all(rows[place]["repetitions"] == cell.repetitions and rows[place]["seed"] == cell.seed for place, cell in lines.items())


@pytest.mark.parametrize("cell", CELLS, ids=lambda cell: cell.name)
def test_the_record_agrees_with_its_limits(cell):
    rows = {key(row): row for row in recorded()}
    mine = [rows[key(line_key(cell, line))] for line in cell.lines]
    for row, line in zip(mine, cell.lines):
        assert row["verdict"] == judged(cell, row, line)["verdict"]
        if line.caution:  # a caution stands only where the line did miss
            assert row["verdict"] in (MISSED, NOT_WRONG)
    assert verdicts(cell, mine) == []


def test_the_page_says_what_the_record_says():
    assert PAGE.read_text(encoding="utf-8") == page(recorded(), CELLS)


def test_no_two_cells_share_a_seed():
    assert len({cell.seed for cell in CELLS}) == len(CELLS) == len({cell.name for cell in CELLS})


@pytest.mark.slow
@pytest.mark.parametrize("cell", CELLS, ids=lambda cell: cell.name)
def test_the_full_run_gives_the_record_again(cell):
    """Same seeds, same numbers: up to what another version's rounding can turn in one repetition of a hundred."""
    rows = {key(row): row for row in recorded()}
    for row in judge(cell, run(cell, cell.repetitions)):
        kept = rows[key(row)]
        assert row["estimate"] == pytest.approx(kept["estimate"], abs=0.2 * row["monte_carlo_se"] + 1e-5), row["method"]


# ------------------------------------------------------------------ the judge and the clinic are themselves right

def test_a_method_outside_its_limits_is_missed_and_a_naive_one_inside_is_not_wrong():
    ours = Line("x", "limits hold", "ours", OURS, 0.95, 0.935, 0.97, 2000, math.sqrt(0.95 * 0.05))
    assert [ours.judged(share, 2000, 0.2) for share in (0.934, 0.95, 0.971)] == [MISSED, ACCEPTED, MISSED]
    assert ours.judged(0.92, 400, 0.2) == ACCEPTED and ours.judged(0.91, 400, 0.2) == MISSED  # 1.8 points wider at 400
    assert ours.judged(0.95, 2000, 0.2, undefined=0.02) == MISSED
    naive = Line("x", "limits hold", "naive", NAIVE, 0.95, 0.75, 1.0, 2000, math.sqrt(0.95 * 0.05))
    assert naive.judged(0.63, 2000, 0.2) == WRONG and naive.judged(0.80, 2000, 0.2) == NOT_WRONG
    assert Line("x", "limits hold", "shown", NAIVE, 0.95).judged(0.1, 10, 0.2) == ""


def test_ignoring_patients_would_not_pass_where_we_pass():
    """The same limits, held against the naive method, refuse it."""
    cell = next(cell for cell in CELLS if cell.name == "share at 3 years: 10 patients, true share 0.94, frailty variance 1")
    ours, naive = (next(line for line in cell.lines if line.method == method) for method in ("ours", "ignoring clusters"))
    values = run(cell, 120)
    assert ours.judged(values[ours.key].mean(), 120, 0.2) == ACCEPTED
    assert ours.judged(values[naive.key].mean(), 120, 0.5) == MISSED


@pytest.mark.parametrize("variance", [0.0, 1.0])
def test_simulated_lives_follow_the_stated_survival(variance):
    rng = np.random.default_rng(1)
    scale = scale_for(0.57, 1096, frailty=variance)
    life = lives(rng, frailties(rng, 200_000, variance), scale)
    for day in (365, 1096, 2192):
        assert (life > day).mean() == pytest.approx(survival(day, frailty=variance, scale=scale), abs=4 * 0.5 / math.sqrt(200_000))
    assert survival(1096, frailty=variance, scale=scale) == pytest.approx(0.57, abs=1e-12)


def test_the_first_of_a_set_follows_the_stated_survival():
    parts = fit_parts(np.random.default_rng(2), 50_000, frailty=1.0, sites=(4,))
    first = parts.life.reshape(-1, 4).min(axis=1)
    assert (first > 731).mean() == pytest.approx(survival(731, frailty=1.0, parts=4), abs=4 * 0.5 / math.sqrt(50_000))


def hand_made(**change):
    """One patient, two parts: the first fails on day 400, the second later than anybody looks; the log closes on day 1500."""
    columns = {"patient": [0, 0], "site": [0, 1], "life": [400.0, 9000.0], "closing": [1500.0, 1500.0], "wish": [INF, INF], "patients": 1} | change
    return Parts(**{name: np.array(value) if isinstance(value, list) else value for name, value in columns.items()})


def seen(parts, noticing, recall=365):
    return look(np.random.default_rng(3), parts, recall=recall, jitter=0.0, noticing=noticing)


def test_a_failure_nobody_notices_is_found_at_the_next_recall():
    found = seen(hand_made(), noticing=0.0)
    assert (found.left.tolist(), found.right.tolist(), found.at_problem.tolist()) == ([365, 1460], [730, INF], [False, False])
    assert [day.tolist() for day in day_found(*between_looks(found))] == [[730, 1460], [True, False]]
    assert while_in_care(found)[0].tolist() == [365, 1470]


def test_a_failure_noticed_brings_the_patient_in_and_is_dated_within_a_month():
    found = seen(hand_made(), noticing=1.0, recall=None)
    visit = found.right[0]
    assert 400 <= visit <= 430 and found.at_problem[0]
    assert found.left.tolist() == [0, visit]  # the visit looks at the neighbour too
    assert while_in_care(found)[0].tolist() == [max(0, visit - 30), 1470]


def test_care_ends_for_everybody_at_the_first_long_gap_and_for_the_un_failed_only_where_capped():
    late = hand_made(life=[1200.0, 9000.0])
    found = seen(late, noticing=1.0, recall=None)
    assert found.gap_end.tolist() == [550, 550]
    left, right = until_first_gap(found)
    assert left.tolist() == [550, 550] and right.tolist() == [INF, INF]
    duration, observed = capped(found)
    assert observed.tolist() == [True, False] and duration.tolist() == [found.right[0], 1470]


def test_a_part_changed_while_sound_is_known_sound_that_day_and_never_found_failed():
    found = seen(hand_made(wish=[200.0, INF]), noticing=1.0)
    assert (found.left[0], found.right[0], found.end[0]) == (200, INF, 200)
    assert found.left[1] == 1460
