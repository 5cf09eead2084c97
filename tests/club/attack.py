"""Somebody with nothing but the packets and the rule tries to work hidden counts out, by linear programmes of their own.

Written apart from what hides: it reads the labels of the packets, puts up what must hold between the counts, and asks for the smallest and
the largest value of every count, and of every difference between two years. Protection fails where a count (or a difference) of 1 to
minimum − 1 people is certain to be one: its feasible range lies wholly between 1 and minimum − 1.
What is known: shown counts within their rounding and never below the minimum, hidden ones at least 1 (nought is always shown), the sums,
that counts of people only grow, that a curve is told only where nobody or at least the minimum had the event since the time before, and
that a product-limit curve never loses less than the share that failed.
"""

from __future__ import annotations

import re
from itertools import combinations

import numpy as np
from scipy.optimize import linprog
from scipy.sparse import csr_matrix

GROUPS = (("lower jaw only", "upper jaw only", "both jaws"), ("started light", "started mixed or between", "started medium or firm", "starting level not known"),
          ("one or two sites", "three or more sites", "sites not known"), ("age under 65", "age 65 to 74", "age 75 or older", "age not known"))  # fmt: skip
KINDS = ("had it", "did not", "not followed")
ALL = "all patients"


def constraints(packet: dict) -> tuple[list, list]:
    """(equalities, inequalities ≤ 0) between the labels of one packet, each a mapping of label to coefficient."""
    people, equal, below = packet["people"], [], []

    def add(whole, parts):
        if parts and whole in people and all(part in people for part in parts):
            equal.append({whole: 1.0, **{part: -1.0 for part in parts}})

    for group in GROUPS:
        add(ALL, group)
    add(ALL, [label for label in people if label.startswith("unplanned visits: ")])
    add(ALL, [label for label in people if label.startswith("satisfaction: ")])
    for one in packet["endpoints"]:
        name = one["name"]
        add(ALL, [f"{name}: {kind}" for kind in KINDS])
        for group in GROUPS[:2]:
            for part in group:
                add(part, [f"{name}: {kind}, {part}" for kind in KINDS])
            for kind in KINDS:
                add(f"{name}: {kind}", [f"{name}: {kind}, {part}" for part in group])
        times = sorted(float(m.group(1)) for label in people if (m := re.fullmatch(re.escape(name) + r": left without it by (\S+) years?", label)))
        had = lambda t: f"{name}: had it" if t == times[-1] else f"{name}: had it by {t:g} year{'' if t == 1 else 's'}"  # noqa: E731, B023
        left = lambda t: f"{name}: left without it by {t:g} year{'' if t == 1 else 's'}"  # noqa: E731, B023
        still = lambda t: f"{name}: still followed without it at {t:g} year{'' if t == 1 else 's'}"  # noqa: E731, B023
        for t in times:
            add(ALL, [f"{name}: not followed", had(t), left(t), still(t)])
        if times:
            add(f"{name}: did not", [left(times[-1]), still(times[-1])])
        for a, b in zip(times, times[1:]):
            span = f"between {a:g} and {b:g} year{'' if b == 1 else 's'}"
            add(had(b), [had(a), f"{name}: had it {span}"])
            add(left(b), [left(a), f"{name}: left without it {span}"])
        told = {point["years"]: point["share"] for point in one["curve"]}
        before, share = None, 1.0
        for t in times:
            if t not in told:
                break
            came = {had(t): 1.0} if before is None else {had(t): 1.0, had(before): -1.0}
            if told[t] < share:
                below.append(({label: -weight for label, weight in came.items()}, -packet["sharing"]["minimum"]))
            lost = 1 - (told[t] - 0.0005) / min(1.0, share + (0.0005 if before else 0))
            base = {f"{name}: had it": -lost, f"{name}: did not": -lost} if before is None else {still(before): -lost}
            below.append(({label: came.get(label, 0) + base.get(label, 0) for label in {*came, *base}}, 0.0))
            before, share = t, told[t]
    return equal, below


def recovered(made: list) -> list[tuple]:
    """(release, label) or (earlier, later, label) of every count or difference that is given away; ``made``: packets with their true counts."""
    place, low, high = {}, [], []
    for k, one in enumerate(made):
        minimum, step = one.packet["sharing"]["minimum"], one.packet["sharing"]["round_to"]
        for label, count in one.packet["people"].items():
            place[k, label] = len(low)
            if count == "hidden":
                low.append(1.0), high.append(np.inf)
            elif count == 0:
                low.append(0.0), high.append(0.0)
            else:
                behind = [true for true in range(max(minimum, count - step), count + step + 1) if (true + step // 2) // step * step == count]
                low.append(behind[0]), high.append(behind[-1])
    rows, to, upper, bound = [], [], [], []

    def row(k, weights):
        out = np.zeros(len(low))
        for label, weight in weights.items():
            out[place[k, label]] += weight
        return out

    for k, one in enumerate(made):
        equal, below = constraints(one.packet)
        rows += [row(k, weights) for weights in equal]
        upper += [row(k, weights) for weights, _ in below]
        bound += [limit for _, limit in below]
    grows = {ALL, *(label for group in GROUPS for label in group), "unplanned visits: had one"}
    for k in range(1, len(made)):
        for label in grows | {label for label in made[k].packet["people"] if re.search(r": had it($|,)", label)}:
            if (k - 1, label) in place and (k, label) in place and made[k].counts[label] >= made[k - 1].counts[label]:
                step_down = np.zeros(len(low))
                step_down[place[k - 1, label]], step_down[place[k, label]] = 1.0, -1.0
                upper.append(step_down)
                bound.append(0.0)
    system = dict(A_eq=csr_matrix(np.array(rows)), b_eq=np.zeros(len(rows)), A_ub=csr_matrix(np.array(upper)) if upper else None, b_ub=np.array(bound) if upper else None, bounds=list(zip(low, high)), method="highs")

    def ends(objective, minimum):
        """(least, most); the least is only asked where the most leaves it open."""
        found = []
        for sign in (-1.0, 1.0):
            answer = linprog(sign * objective, **system)
            assert answer.status in (0, 3), "what is published must be possible: the true counts satisfy it"
            found.insert(0, sign * answer.fun if answer.status == 0 else -sign * np.inf)
            if found[0] > minimum - 1 + 1e-6:
                return [-np.inf, np.inf]
        return found

    targets = []  # (what, objective, minimum)
    for k, one in enumerate(made):
        minimum = one.packet["sharing"]["minimum"]
        targets += [((k, label), {place[k, label]: 1.0}, minimum) for label, true in one.counts.items() if 0 < true < minimum]
    for a, b in combinations(range(len(made)), 2):
        minimum = made[b].packet["sharing"]["minimum"]
        targets += [((a, b, label), {place[b, label]: 1.0, place[a, label]: -1.0}, minimum) for label, true in made[b].counts.items() if label in made[a].counts and 0 < abs(true - made[a].counts[label]) < minimum]

    def dense(weights):
        out = np.zeros(len(low))
        for at, weight in weights.items():
            out[at] += weight
        return out

    # One table of counts that fits everything published, in which a target is no small number, proves that target safe: try a few at once.
    for tries in range(6):
        if not targets:
            break
        answer = linprog(-sum((1 + tries * ((7 * i) % 5)) * dense(weights) for i, (_, weights, _) in enumerate(targets)), **system)
        assert answer.status in (0, 3), "what is published must be possible: the true counts satisfy it"
        if answer.status:
            break
        targets = [(what, weights, minimum) for what, weights, minimum in targets if not sum(weight * answer.x[at] for at, weight in weights.items()) > minimum - 1 + 1e-6]
    return [what for what, weights, minimum in targets if _certain(ends(dense(weights), minimum), minimum)]


def _certain(ends: list[float], minimum: int) -> bool:
    """Whether a whole number between these ends is 1 to minimum − 1, or as many below nought, whatever it is."""
    least, most = np.ceil(ends[0] - 1e-6), np.floor(ends[1] + 1e-6)
    return (least >= 1 and most <= minimum - 1) or (most <= -1 and least >= 1 - minimum)
