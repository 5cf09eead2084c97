"""The books of a simulated clinic: append-only columns of what truly happened, one append for each round of visits."""

from __future__ import annotations

import numpy as np

from .draws import NEVER

ABUTMENT, HOUSING, INSERT = 0, 1, 2

ENDINGS = (  # as a log kept without a gap would tell them
    "",
    "failed",
    "wanted firmer",
    "wanted lighter",
    "with its pair",
    "routine",
    "with other work",
    "denture retired",
    "implant lost",
    "cannot tell",
)
ENDING = {name: place for place, name in enumerate(ENDINGS)}

CLOCKS = ("insert worn", "housing bond failure", "abutment loosening", "attachment wear", "denture fracture", "reline or rebase", "implant loss", "tooth broken")
CLOCK = {name: place for place, name in enumerate(CLOCKS)}


class Columns:
    """Named columns that grow by whole arrays and are joined once at the end."""

    def __init__(self, **kinds):
        self._kinds = kinds
        self._pieces = {name: [] for name in kinds}
        self.rows = 0

    def append(self, **values) -> np.ndarray:
        """Adds rows (scalars are spread over them) and returns their row numbers."""
        count = max(np.size(value) for value in values.values() if np.ndim(value))
        for name, kind in self._kinds.items():
            piece = np.empty((count, *np.shape(values[name])[1:]), dtype=kind)
            piece[...] = values[name]
            self._pieces[name].append(piece)
        first, self.rows = self.rows, self.rows + count
        return np.arange(first, self.rows)

    def joined(self) -> dict[str, np.ndarray]:
        """Every column as one array."""
        return {name: np.concatenate(pieces) if pieces else np.empty(0, self._kinds[name]) for name, pieces in self._pieces.items()}


class Ledger:
    """Lives of parts, the clocks that ran in them, dentures, and the lines of the visits."""

    def __init__(self):
        self._parts = Columns(
            jaw=np.int32, site=np.int8, kind=np.int8, denture=np.int32, fitted=np.int32, life=np.float64, cause=np.int8, scale=np.float64, level=np.int8,
            ball=np.bool_, laboratory=np.bool_, height=np.float32, torque=np.int8, with_set=np.bool_,
        )  # fmt: skip
        self._ends = Columns(part=np.int64, day=np.int32, ending=np.int8)
        self._clocks = Columns(what=np.int8, unit=np.int64, start=np.int32, life=np.float64, scale=np.float64, first=np.bool_)
        self._found = Columns(clock=np.int64, day=np.int32)
        self._dentures = Columns(jaw=np.int32, delivered=np.int32)
        self._retired = Columns(denture=np.int32, day=np.int32, reason=np.int8)
        self.lines = []

    def open_parts(self, **values) -> np.ndarray:
        return self._parts.append(**values)

    def close_parts(self, parts, day, ending) -> None:
        if len(parts):
            self._ends.append(part=parts, day=day, ending=ending)

    def start_clocks(self, what, unit, start, life, scale, first) -> np.ndarray:
        return self._clocks.append(what=CLOCK[what], unit=unit, start=start, life=life, scale=scale, first=first)

    def found(self, clocks, day) -> None:
        if len(clocks):
            self._found.append(clock=clocks, day=day)

    def open_dentures(self, jaw, delivered) -> np.ndarray:
        return self._dentures.append(jaw=jaw, delivered=delivered)

    def retire_dentures(self, dentures, day, reason) -> None:
        if len(dentures):
            self._retired.append(denture=dentures, day=day, reason=reason)

    def add_lines(self, **columns) -> None:
        self.lines.append(columns)

    def closed(self) -> dict[str, dict[str, np.ndarray]]:
        """parts, clocks, dentures and lines as joined columns, with ends and findings filled in (NEVER where there is none)."""
        parts, ends = self._parts.joined(), self._ends.joined()
        parts["ended"] = _scattered(len(parts["jaw"]), ends["part"], ends["day"])
        parts["ending"] = np.zeros(len(parts["jaw"]), np.int8)
        parts["ending"][ends["part"]] = ends["ending"]
        clocks, found = self._clocks.joined(), self._found.joined()
        clocks["found"] = np.full(len(clocks["what"]), NEVER, np.int32)
        np.minimum.at(clocks["found"], found["clock"], found["day"])
        dentures, retired = self._dentures.joined(), self._retired.joined()
        dentures["retired"] = _scattered(len(dentures["jaw"]), retired["denture"], retired["day"])
        dentures["reason"] = np.zeros(len(dentures["jaw"]), np.int8)
        dentures["reason"][retired["denture"]] = retired["reason"]
        names = self.lines[0] if self.lines else {}
        lines = {name: np.concatenate([piece[name] for piece in self.lines]) for name in names}
        return {"parts": parts, "clocks": clocks, "dentures": dentures, "lines": lines}


def _scattered(size, places, days):
    out = np.full(size, NEVER, np.int32)
    out[places] = days
    return out
