"""Units of a practice's own export: exact factors to the unit in which the log keeps a column."""

from __future__ import annotations

from fractions import Fraction

_POUND = Fraction(45359237, 10**8)  # kilograms: the international pound of 1959
_GRAVITY = Fraction(980665, 10**5)  # metres per second squared: standard gravity, CGPM 1901
_INCH = Fraction(254, 100)  # centimetres, exact since 1959
_LBF = _POUND * _GRAVITY
_MINUTE = Fraction(1)

UNITS: dict[str, dict[str, Fraction]] = {
    "N": {"N": Fraction(1), "lbf": _LBF, "ozf": _LBF / 16, "kgf": _GRAVITY, "gf": _GRAVITY / 1000, "cN": Fraction(1, 100)},
    "N·cm": {"N·cm": Fraction(1), "N·m": Fraction(100), "mN·m": Fraction(1, 10), "lbf·in": _LBF * _INCH, "ozf·in": _LBF / 16 * _INCH, "kgf·cm": _GRAVITY},
    "min": {"min": _MINUTE, "h": _MINUTE * 60, "s": _MINUTE / 60},
    "mm": {"mm": Fraction(1), "cm": Fraction(10), "µm": Fraction(1, 1000), "in": _INCH * 10},
    "degree": {"degree": Fraction(1)},
}
"""For each unit of the log, the units it may be given in and what one of them is in it. Definitions: the pound and the inch by the
international agreement of 1959, standard gravity by CGPM 1901; a length of time by its definition."""

_SPELLED = {"ncm": "N·cm", "nm": "N·m", "mnm": "mN·m", "lbfin": "lbf·in", "inlbf": "lbf·in", "ozfin": "ozf·in", "inozf": "ozf·in", "kgfcm": "kgf·cm", "cmkgf": "kgf·cm",
            "minutes": "min", "minute": "min", "hour": "h", "hours": "h", "second": "s", "seconds": "s", "um": "µm", "μm": "µm", "inch": "in", "degrees": "degree", "deg": "degree",
            "newton": "N", "newtons": "N", "cn": "cN"}


def units_for(unit: str | None) -> tuple[str, ...]:
    """The units in which a column of this unit may be given; none where it has no unit that can be converted."""
    return tuple(UNITS.get(unit or "", ()))


def known_unit(text: str, unit: str) -> str | None:
    """The unit that somebody means by ``text`` (``N cm``, ``N*cm``, ``Ncm``), among those a column of ``unit`` may be given in; None if none.

    >>> known_unit("Ncm", "N·cm"), known_unit("lbf-in", "N·cm"), known_unit("lbf", "min")
    ('N·cm', 'lbf·in', None)
    """
    allowed = UNITS[unit]
    bare = "".join(letter for letter in text if letter not in " .*·⋅×-_").casefold()
    for one in allowed:
        if text.strip() == one or bare == one.replace("·", "").casefold() or _SPELLED.get(bare) == one:
            return one
    return None


def converted(value: Fraction, given: str, unit: str) -> float:
    """A number given in one unit, in the unit of the log; exact but for the last rounding.

    >>> from fractions import Fraction
    >>> converted(Fraction("1.5"), "lbf", "N"), converted(Fraction("0.3"), "N·m", "N·cm"), converted(Fraction("0.25"), "h", "min")
    (6.67233242289075, 30.0, 15.0)
    """
    return float(value * UNITS[unit][given])
