"""The page: every family at a glance, then every cell, ours beside naive."""

from __future__ import annotations

from itertools import groupby

from .engine import ACCEPTED, NAIVE, OURS

HEAD = """# Do the methods keep their word?

Simulated clinics of known truth, the estimators of `outcomes.longevity` run on what the clinics would know, beside what a naive
method would have said: ignoring that parts share a patient, dating a failure on the day it was found, pooling serial inserts,
capping the follow-up of the un-failed only. Made by `python tests/simulations`, which writes `results.csv` (one row per number, with its
Monte Carlo error, seed and versions) and this page; `python -m pytest tests/simulations` runs a short version and holds the
record to its limits, `-m slow` runs all of it again.

The clinic: a patient's frailty is gamma with mean 1 (variance 1 where none is given), parts last 4 years · (E/frailty)^(1/1.5), E standard
exponential, or the scale that gives the true share named; 2 or 4 parts a patient; the log closes 1 to 8 years after fitting; 3 % a
year die; 5 % a year of parts are changed on a wish; recalls fall due every year and are kept within ± 30 days (standard deviation);
a failure that is noticed brings the patient in after 14 ± 4 days; every visit looks at all the patient's parts.
R repetitions; each draws from its own seed, [seed of the cell, number of the repetition]. Limits of acceptance were set before the
runs, for the R planned, as nominal ± an allowance + 3 Monte Carlo errors, and widened where fewer were run. *Missed* stands as it
came out. Naive methods are asked to be wrong where a limit for that was set ("outside").

"""

ELSEWHERE = """
Not here: limits of the course of satisfaction with missing answers, and a level change that does nothing, are simulated in
`tests/satisfaction/test_simulations.py` (recorded there). The comparison of two strategies has no estimator yet, so there is nothing to simulate.
"""

NOTES = {
    "share at 3 years": """
Every failure is known on its day. *As R prints it*: summed by patient, but with the normal quantile and [1, 1] before the first failure.
""",
    "censoring rules": """
A failure nobody notices is found by looking: its share is read *between looks*, censored at the last of them. A failure the patient notices is
read *in care*, sound until the close unless reported. *In care until the first gap* is the line beside it for patients who leave without a word:
care ends for everybody at the first gap of more than 550 days. It asks for recalls more often than that and says nothing without them. The bracket runs from between looks, at the lower edge of the curve, to in
care; in a first run its lower end was read at the upper edge and missed in one cell (silent failures, recalls every 2 years, 1 part a patient:
0.570, accepted up to 0.552), and was restated for that. *Flagged*: share of clinics where the two rules differ by more than 0.05, in either view.
""",
    "curve between looks": """
Recalls ± their standard deviation, failures silent, limits from 200 draws of patients (reports draw 1000). The cell with recalls every 2 years
was added after the censoring rules showed what happens between two rounds.
""",
    "two groups": """
The restricted mean is taken over two years.
""",
    "recall habits": """
Silent failures, restricted mean over five years; one group is recalled more often, both have one life. Limits between looks from 200 draws.
""",
}


def page(rows: list[dict], cells) -> str:
    parts = [HEAD, _glance(rows), ELSEWHERE, _cautions(rows, cells)]
    for family, mine in groupby(rows, key=lambda row: row["family"]):
        parts.append(_family(family, list(mine)))
    return "".join(parts)


def number(value: float, row: dict) -> str:
    """Days without decimals, counts of certain answers as they are, shares with three decimals."""
    if value != value:
        return "–"
    if "days" in row["measure"]:
        return f"{value:.0f}"
    return f"{value:.3f}"


def _span(rows: list[dict]) -> str:
    """Lowest to highest; for shares, whose targets differ from cell to cell, the errors."""
    values = [row["estimate"] - row["target"] if _is_share(row) else row["estimate"] for row in rows]
    low, high = (f"{value:+.3f}" if _is_share(rows[0]) else number(value, rows[0]) for value in (min(values), max(values)))
    return low if low == high else f"{low} to {high}"


def _is_share(row) -> bool:
    return row["measure"].startswith(("share", "wear life"))


def _table(head: list[str], lines: list[list[str]]) -> str:
    return "\n".join("| " + " | ".join(cells) + " |" for cells in [head, ["---"] * len(head), *lines]) + "\n"


def _glance(rows) -> str:
    """One row per family and measure that is judged."""
    lines = []
    for (family, measure), mine in _grouped(rows, "family", "measure"):
        ours = [row for row in mine if row["role"] == OURS and row["verdict"]]
        if not ours:
            continue
        passed = sum(row["verdict"] == ACCEPTED for row in ours)
        naive = [f"{method[0]}: {_span(of)}" for method, of in _grouped([row for row in mine if row["role"] == NAIVE], "method")]
        target = ["the truth"] if _is_share(ours[0]) else sorted({number(row["target"], row) for row in ours})
        what = f"{measure}, error" if _is_share(ours[0]) else measure
        lines.append([family, what, _span(ours), "; ".join(naive) or "–", " to ".join(dict.fromkeys((target[0], target[-1]))), f"{passed} of {len(ours)}"])
    return "## At a glance\n\n" + _table(["what", "measure", "ours", "naive", "target", "accepted"], lines)


def _cautions(rows, cells) -> str:
    told: dict[str, list[str]] = {}
    found = {(row["family"], row["setting"], row["measure"], row["method"]): row for row in rows}
    for cell in cells:
        for line in cell.lines:
            row = found.get((cell.family, cell.setting, line.measure, line.method))
            if line.caution and row:
                told.setdefault(line.caution, []).append(f"  - {cell.name}; {line.measure}, {line.method}: {number(row['estimate'], row)}, target {number(row['target'], row)}")
    if not told:
        return "\nNothing missed.\n"
    return "\n## What missed, and what it means\n\n" + "".join(f"- {caution}\n" + "\n".join(where) + "\n" for caution, where in told.items())


def _family(family, rows) -> str:
    parts = [f"\n## {family.capitalize()}\n", NOTES.get(family, "")]
    for (measure,), mine in _grouped(rows, "measure"):
        lines = []
        for (setting,), here in _grouped(mine, "setting"):
            naive = "; ".join(_naive(row) for row in here if row["role"] == NAIVE) or "–"
            for row in (row for row in here if row["role"] == OURS):
                between = "–" if row["limit_low"] is None else f"{number(row['limit_low'], row)} to {number(row['limit_high'], row)}"
                lines.append([setting, row["method"], f"{number(row['estimate'], row)} ± {_error(row)}", naive, number(row["target"], row), between,
                              row["verdict"] or "–", str(row["repetitions"]), str(row["seed"])])  # fmt: skip
                naive = "”"
        parts.append(f"\n{measure[0].upper() + measure[1:]}\n\n" + _table(["setting", "method", "ours ± Monte Carlo error", "naive", "target", "accepted", "verdict", "R", "seed"], lines))
    return "".join(parts)


def _naive(row) -> str:
    asked = "" if row["limit_low"] is None else f" ({row['verdict']}: outside {number(row['limit_low'], row)} to {number(row['limit_high'], row)})"
    return f"{row['method']} {number(row['estimate'], row)}{asked}"


def _error(row) -> str:
    return f"{row['monte_carlo_se']:.1f}" if "days" in row["measure"] else f"{row['monte_carlo_se']:.4f}"


def _grouped(rows, *names):
    """Rows by the values of columns, in order of first appearance."""
    found: dict[tuple, list[dict]] = {}
    for row in rows:
        found.setdefault(tuple(row[name] for name in names), []).append(row)
    return found.items()
