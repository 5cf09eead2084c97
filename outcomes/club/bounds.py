"""What somebody who knows the rule can work out: the smallest and largest count behind a hidden one, given all that was ever published.

Unknown are all counts of all releases. What ties them: every shown count lies within its rounding, a hidden one is at least 1 (a nought
is always shown), wholes are the sums of their parts, some counts can only grow from one release to the next, and what the estimates say.
The smallest and largest value of a count, or of the difference of a count between two releases, are then two linear programmes.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from scipy import optimize, sparse

from outcomes.club.cells import HIDDEN, Release
from outcomes.club.rule import Rule

SLACK = 1e-6


class Bounds:
    """The system of constraints of releases, earliest first; ``consistent`` is False where nothing satisfies them."""

    def __init__(self, releases: list[Release], *, growing: bool = True):
        self.releases = releases
        self.place: dict[tuple[int, str], int] = {}
        lower, upper = [], []
        for number, release in enumerate(releases):
            rule = Rule("", release.minimum, release.round_to, "")
            for label, shown in release.shown.items():
                self.place[number, label] = len(lower)
                low, high = (1, np.inf) if shown is HIDDEN else rule.behind(shown)
                lower.append(low)
                upper.append(high)
        self.limits = np.column_stack([lower, upper]).astype(float)
        equal, at_most = [], []
        for number, release in enumerate(releases):
            for whole, parts in release.sums:
                equal.append(({self.place[number, whole]: 1.0, **{self.place[number, part]: -1.0 for part in parts}}, 0.0))
            for one in release.known:
                row = {self.place[number, label]: weight for label, weight in one.coefficients.items()}
                at_most += [(row, one.high)] if np.isfinite(one.high) else []
                at_most += [({k: -w for k, w in row.items()}, -one.low)] if np.isfinite(one.low) else []
            if growing and number:
                for label in release.growing:
                    earlier = [k for k in range(number) if (k, label) in self.place and label in releases[k].growing]
                    if earlier and (number, label) in self.place:
                        at_most.append(({self.place[earlier[-1], label]: 1.0, self.place[number, label]: -1.0}, 0.0))
        self.equal, self.equal_to = _matrix(equal, len(lower))
        self.at_most, self.at_most_to = _matrix(at_most, len(lower))
        self.believed = (True, growing)  # whether the estimates, and that counts only grow, are taken into account
        self.consistent = self._solve(np.zeros(len(lower))) is not None

    def _solve(self, costs: np.ndarray):
        found = optimize.linprog(costs, A_ub=self.at_most, b_ub=self.at_most_to, A_eq=self.equal, b_eq=self.equal_to, bounds=self.limits, method="highs")
        if found.status == 3:
            return np.inf, None
        return (float(found.fun), found.x) if found.status == 0 else None

    def _row(self, target) -> np.ndarray:
        row = np.zeros(len(self.limits))
        for sign, key in ((1.0, target[-1]),) if len(target) == 1 else ((1.0, target[1]), (-1.0, target[0])):
            row[self.place[key]] += sign
        return row

    def most(self, target) -> float:
        """The largest value; target: ((release, label),) for a count, ((release, label), (release, label)) for second less first."""
        found = self._solve(-self._row(target))
        return np.nan if found is None else np.inf if found[1] is None else -found[0]

    def least(self, target) -> float:
        """The smallest value of a target."""
        found = self._solve(self._row(target))
        return np.nan if found is None else -np.inf if found[1] is None else found[0]

    def recovered(self, targets: list, fewest: int) -> list:
        """Targets that are certain to be 1 to ``fewest`` − 1 people (or as many fewer, for a difference), whatever the hidden counts are.

        One solution that gives a target another value proves it safe, so that most are settled together.
        """
        if not self.consistent:
            return []
        open_, idle = list(targets), 0
        for tries in range(12):
            if not open_ or idle:
                break
            found = self._solve(-sum((1 + tries * (5 * k % 7)) * self._row(target) for k, target in enumerate(open_)))
            if found is None or found[1] is None:
                break
            left = [target for target in open_ if _within(float(self._row(target) @ found[1]), fewest)]
            idle = idle + 1 if len(left) == len(open_) else 0
            open_ = left
        return [target for target in open_ if self._certain(target, fewest)]

    def _certain(self, target, fewest: int) -> bool:
        most = self.most(target)
        if not most < fewest - SLACK:
            return False
        if len(target) == 1:
            return True
        least = self.least(target)
        return least > -fewest + SLACK and (least > SLACK or most < -SLACK)


def _within(value: float, fewest: int) -> bool:
    return SLACK < abs(value) < fewest - SLACK


def _matrix(rows: list, width: int):
    if not rows:
        return None, None
    i, j, values = [], [], []
    for number, (row, _) in enumerate(rows):
        for place, weight in row.items():
            i.append(number)
            j.append(place)
            values.append(weight)
    return sparse.csr_matrix((values, (i, j)), shape=(len(rows), width)), np.array([bound for _, bound in rows])


def system(releases: list[Release]) -> Bounds:
    """The tightest consistent system: where somebody left the log or changed groups counts do not only grow, and then nobody can build on that."""
    bare = [replace(release, known=()) for release in releases]
    for known, growing in ((releases, True), (releases, False), (bare, True), (bare, False)):
        found = Bounds(known, growing=growing)
        found.believed = (known is releases, growing)
        if found.consistent:
            break
    return found
