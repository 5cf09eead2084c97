"""Which counts are hidden: few people, few more than an earlier release showed, and whatever would give such a count back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from outcomes.club.bounds import system
from outcomes.club.cells import HIDDEN, Cells, Known, Release
from outcomes.club.rule import Rule
from outcomes.errors import DataProblem

FEW, LATER, PROTECTS = "few people", "few more or fewer than in an earlier release", "would give another hidden count back"


@dataclass(frozen=True, eq=False)
class Shown:
    """``release``: what leaves; ``reasons``: why each hidden label is hidden."""

    release: Release
    reasons: dict[str, str]


def _nothing(hidden: dict[str, str]) -> tuple[Known, ...]:
    return ()


def hide(cells: Cells, rule: Rule, earlier: list[tuple[Release, dict[str, int]]], *, known: Callable[[dict[str, str]], tuple[Known, ...]] = _nothing, secondary: bool = True) -> Shown:
    """Hide counts until nothing that was or is published gives a small one back.

    earlier: (what it showed, its true counts) of every release so far. known: what the estimates that go with these hidden labels
    say about counts. secondary=False hides only small counts themselves: for showing that the attack then succeeds, never for sharing.
    Raises DataProblem where no hiding helps: too few people altogether, or few more than were counted before.
    """
    counts = cells.counts
    _enough(cells, rule, earlier)
    reasons = {label: FEW for label, count in counts.items() if rule.few(count)}
    if secondary:
        for release, before in earlier:
            for label, shown in release.shown.items():
                if label in counts and label not in reasons and shown is not HIDDEN and _tells(counts[label], shown, release, rule):
                    reasons[label] = LATER
        targets = open_ = _targets(cells, reasons, rule, earlier)
        believed, rounds = None, 0
        while True:
            _complements(cells, reasons, rule)
            bounds = system([release for release, _ in earlier] + [_release(cells, reasons, rule, known)])
            # Hiding more only widens what is possible: a count that was safe stays safe, and only the others are asked again.
            open_ = bounds.recovered(open_ if bounds.believed == believed else targets, rule.minimum)
            believed = bounds.believed
            if not open_:
                break
            rounds += 1
            before = len(reasons)
            for label in dict.fromkeys(target[-1][1] for target in open_):
                for _ in range(1 + rounds // 4):  # what resists is helped with more at a time
                    _hide_one_beside(cells, reasons, label if label in cells.counts else cells.everybody)
            if len(reasons) == before:
                raise DataProblem("Whatever is hidden, a count of few people could be worked out from what was shared before. Share again when more patients have come, or pass on the earlier packet unchanged.")
    return Shown(_release(cells, reasons, rule, known), reasons)


def _enough(cells: Cells, rule: Rule, earlier) -> None:
    people = cells.counts[cells.everybody]
    if people < rule.stop_at:
        raise DataProblem(f"The log has fewer than {rule.stop_at} patients who may be counted, so every number could point at somebody. Share when there are more.")
    for _, before in earlier:
        apart = people - before.get(cells.everybody, people)
        if rule.few(apart):
            raise DataProblem(
                f"This packet would count {abs(apart)} patient{'s' if abs(apart) != 1 else ''} {'more' if apart > 0 else 'fewer'} than one shared before: the difference of the two would show what became of them. "
                f"Share again when the log has at least {rule.minimum} more patients than then, or pass on the earlier packet unchanged."
            )


def _tells(count: int, shown: int, release: Release, rule: Rule) -> bool:
    """Whether showing this count as well would prove a difference of a few people."""
    own, other = rule.behind(rule.rounded(count)), Rule("", release.minimum, release.round_to, "").behind(shown)
    least, most = own[0] - other[1], own[1] - other[0]
    return (least > 0 and most < rule.minimum) or (most < 0 and -least < rule.minimum)


def _complements(cells: Cells, reasons: dict[str, str], rule: Rule) -> None:
    """In every sum whose whole is shown, the hidden parts together must leave room for each to be no small count."""
    again = True
    while again:
        again = False
        for whole, parts in cells.sums:
            hidden = [part for part in parts if part in reasons]
            if whole in reasons or not hidden or not any(cells.counts[part] < rule.minimum for part in hidden):
                continue
            if sum(cells.counts[part] for part in hidden) < rule.minimum + len(hidden) - 1 or len(hidden) == 1:
                again |= _hide(cells, reasons, [part for part in parts if part not in reasons and cells.counts[part]] or [whole])


def _hide_one_beside(cells: Cells, reasons: dict[str, str], label: str) -> None:
    """Hide one more count that is tied to this one, or any other where none of those is left."""
    beside = []
    for whole, parts in cells.sums:
        if label == whole or label in parts:
            beside += [other for other in (*parts, whole) if other not in reasons and cells.counts[other]]
    if not _hide(cells, reasons, beside):
        every = [other for other, count in cells.counts.items() if other not in reasons and count]
        _hide(cells, reasons, every)


def _hide(cells: Cells, reasons: dict[str, str], candidates: list[str]) -> bool:
    """Hide the candidate that is most willingly spared, the smallest of those; never the count of everybody."""
    candidates = [label for label in candidates if label != cells.everybody]
    if not candidates:
        return False
    reasons[min(candidates, key=lambda label: (-cells.spare.get(label, 0), cells.counts[label], label))] = PROTECTS
    return True


def _targets(cells: Cells, reasons: dict[str, str], rule: Rule, earlier) -> list:
    """What must not be worked out: every small count of this release and of earlier ones, and every small difference between them."""
    now = len(earlier)
    targets = [((now, label),) for label in reasons if rule.few(cells.counts[label])]
    for number, (release, before) in enumerate(earlier):
        targets += [((number, label),) for label, shown in release.shown.items() if shown is HIDDEN and rule.few(before[label])]
        targets += [((number, label), (now, label)) for label in cells.counts if label in before and rule.few(cells.counts[label] - before[label])]
    return targets


def _release(cells: Cells, reasons: dict[str, str], rule: Rule, known) -> Release:
    shown = {label: HIDDEN if label in reasons else rule.rounded(count) for label, count in cells.counts.items()}
    return Release(shown, cells.sums, cells.growing, known(reasons), rule.minimum, rule.round_to)
