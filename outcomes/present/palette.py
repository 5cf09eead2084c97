"""Colours, and the arithmetic that proves they can be read: on white, in the dark, in grey and by colour-blind people.

One accent for what works, one signal for what failed, a single scale for retention by newtons. Contrast is WCAG 2.2's
ratio (L1 + 0.05) / (L2 + 0.05) on relative luminance; text needs 4.5, lines and areas 3. Nothing is told by colour alone.
"""

from __future__ import annotations

import math

# name: (on white paper, in dark mode). Every light value is unique, since figures are turned dark by replacing it.
ROLES = {
    "paper": ("#ffffff", "#11181b"),
    "ink": ("#182126", "#e9eef0"),
    "quiet": ("#566168", "#a9b5bb"),
    "grid": ("#dde3e6", "#2b363b"),
    "accent": ("#0a6480", "#6cc3dd"),
    "signal": ("#b3430e", "#f2925c"),
    "moss": ("#5d7a1f", "#a9c765"),
    "plum": ("#8a4a86", "#d59bd1"),
    "slate": ("#6a7880", "#8d9ca4"),
    "sand": ("#8f6a18", "#d9b45c"),
    "pale": ("#d3e4ea", "#1d3a45"),
}

LIGHT = {name: pair[0] for name, pair in ROLES.items()}
DARK = {name: pair[1] for name, pair in ROLES.items()}

# Lines of several groups: colour and dash change together, and each line carries its own label.
SERIES = (("accent", "-"), ("signal", (0, (5, 1.6))), ("ink", (0, (1.6, 1.2))), ("plum", (0, (6, 1.4, 1.4, 1.4))), ("moss", (0, (9, 2))), ("slate", (0, (3, 1))))

# Retention by newtons: one hue from light to dark, the same force always the same colour.
_WEAKEST, _FIRMEST = 1.0, 30.0
_NEWTON_SCALE = ((0.0, "#3f8ba4"), (0.5, "#0f6f8f"), (1.0, "#06222e"))
_NEWTON_SCALE_DARK = ((0.0, "#3d87a0"), (0.5, "#7cc0d6"), (1.0, "#e2f5fb"))  # in the dark the firmest is the brightest


def channels(colour: str) -> tuple[float, float, float]:
    """Red, green and blue of "#rrggbb", each 0 to 1."""
    return tuple(int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5))


def hexadecimal(rgb) -> str:
    """"#rrggbb" of three numbers from 0 to 1 (clipped)."""
    return "#" + "".join(f"{round(255 * min(1.0, max(0.0, part))):02x}" for part in rgb)


def linear(colour: str) -> tuple[float, float, float]:
    """The channels with sRGB's gamma undone (IEC 61966-2-1)."""
    return tuple(part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in channels(colour))


def luminance(colour: str) -> float:
    """Relative luminance, 0 for black to 1 for white.

    >>> round(luminance("#ffffff"), 6), luminance("#000000")
    (1.0, 0.0)
    """
    red, green, blue = linear(colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of WCAG 2.2, 1 to 21; never rounded up.

    >>> round(contrast("#0072B2", "#ffffff"), 2)  # Okabe and Ito's blue
    5.19
    """
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)


def newton_colour(force: float | None) -> str:
    """The colour of a retention force in newtons on one sequential scale; the quiet grey where it is not known.

    The scale is logarithmic between 1 and 30 N, so that light levels stay apart; beyond them it stays at its ends.
    """
    if force is None or not math.isfinite(force):
        return LIGHT["slate"]
    return _on_scale(_NEWTON_SCALE, _place(force))


def dark_twin(colour: str) -> str:
    """What a colour of the newton scale becomes in dark mode (found by its place on the scale)."""
    places = [i / 200 for i in range(201)]
    return _on_scale(_NEWTON_SCALE_DARK, min(places, key=lambda place: abs(luminance(_on_scale(_NEWTON_SCALE, place)) - luminance(colour))))


def _place(force: float) -> float:
    return math.log(min(_FIRMEST, max(_WEAKEST, force)) / _WEAKEST) / math.log(_FIRMEST / _WEAKEST)


def _on_scale(scale, place: float) -> str:
    for (start, first), (end, second) in zip(scale, scale[1:]):
        if place <= end:
            part = (place - start) / (end - start)
            return hexadecimal(a + part * (b - a) for a, b in zip(channels(first), channels(second)))
    return scale[-1][1]


def style_variables(roles: dict[str, str]) -> str:
    """CSS custom properties of a set of roles: "--ink: #182126; …"."""
    return " ".join(f"--{name}: {colour};" for name, colour in roles.items())
