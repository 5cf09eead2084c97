"""The sharing rule: how few people may be shown, and how counts are rounded."""

from __future__ import annotations

import difflib
import tomllib
from dataclasses import asdict, dataclass

from outcomes import schemas
from outcomes.errors import Misuse

OWN = "the clinic's own choice"
AT_RISK = 10  # a curve stops where fewer people are followed, whatever smaller number the rule allows


@dataclass(frozen=True)
class Rule:
    """``minimum``: the smallest count of people shown, besides nought; ``round_to``: shown counts are multiples of it."""

    name: str
    minimum: int
    round_to: int
    source: str

    @property
    def stop_at(self) -> int:
        """People still followed at which a curve stops."""
        return max(self.minimum, AT_RISK)

    def few(self, count: int) -> bool:
        """Whether so many people are too few to be shown.

        >>> own = Rule("own", 10, 5, "")
        >>> own.few(0), own.few(1), own.few(9), own.few(-9), own.few(10)
        (False, True, True, True, False)
        """
        return 0 < abs(count) < self.minimum

    def rounded(self, count: int) -> int:
        """The count as it is shown: to the nearest multiple, halves up.

        >>> [Rule("own", 10, 5, "").rounded(count) for count in (0, 8, 12, 13, 17, 18)]
        [0, 10, 10, 15, 15, 20]
        """
        return (count + self.round_to // 2) // self.round_to * self.round_to

    def behind(self, shown: int) -> tuple[int, int]:
        """The smallest and the largest count behind a shown one, for somebody who knows the rule.

        >>> Rule("own", 10, 5, "").behind(15), Rule("own", 10, 5, "").behind(10), Rule("own", 10, 5, "").behind(0)
        ((13, 17), (10, 12), (0, 0))
        """
        if shown == 0:
            return 0, 0
        return max(shown - self.round_to // 2, self.minimum), shown + (self.round_to - 1) // 2

    @property
    def words(self) -> str:
        rounds = f"; every other count is rounded to the nearest {self.round_to}" if self.round_to > 1 else ""
        return f"counts of 1 to {self.minimum - 1} people are hidden, and whatever would give them back{rounds}"

    def body(self) -> dict:
        """The rule as it stands in a packet."""
        return asdict(self)


def presets() -> dict[str, dict]:
    """Published rules by name: minimum, round_to, rule, source."""
    return tomllib.loads((schemas.HERE / "sharing.toml").read_text(encoding="utf-8"))


def rule_of(plan) -> Rule:
    """The plan's rule: a published one by its name in ``preset``, else the plan's own numbers. A preset's minimum may only be raised.

    Raises Misuse for an unknown preset or numbers no rule can have.
    """
    own = plan["sharing"]
    minimum, step, name = own["minimum_patients"], own["round_to"], own["preset"]
    if not (isinstance(minimum, int) and isinstance(step, int) and minimum >= 2 and 1 <= step <= minimum):
        raise Misuse("In [sharing] of the plan minimum_patients is a whole number of 2 or more, and round_to one between 1 and minimum_patients.")
    if not name:
        return Rule("own", minimum, step, OWN)
    known = presets()
    if name not in known:
        near = difflib.get_close_matches(name, list(known), n=1, cutoff=0.4)
        raise Misuse(f"{name} is no sharing rule. " + (f"Did you mean {near[0]}?" if near else f"Known are: {', '.join(known)}. Or leave preset empty and set minimum_patients."))
    found = known[name]
    return Rule(name, found["minimum"], found["round_to"], found["source"])
