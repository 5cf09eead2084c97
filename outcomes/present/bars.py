"""Amounts one below the other, each a bar in two parts with its words at the end."""

from __future__ import annotations

from dataclasses import dataclass

from outcomes.present.canvas import Shape, Sheet
from outcomes.present.curves import CannotDraw, Frame, heading

COLOURS = ("signal", "pale")


@dataclass(frozen=True)
class Bar:
    """``parts``: two amounts from the left; ``words``: the whole as it is said."""

    label: str
    parts: tuple[float, float]
    words: str


def bars(rows: list[Bar], names: tuple[str, str], frame: Frame, shape: Shape) -> Sheet:
    """Horizontal bars on one scale, names of the two parts above them. Raises CannotDraw where there is nothing to draw."""
    if not any(sum(row.parts) > 0 for row in rows):
        raise CannotDraw("There is nothing to draw yet.")
    probe = Sheet(shape)
    u = probe.text
    narrow = shape.narrow and not shape.shown_outside  # on a slide labels stand beside their bars
    step = 3.0 * u if narrow else 1.95 * u
    top = heading(probe, frame.title, frame.subtitle)
    sheet = Sheet(shape, max(shape.height if shape.name == "talk" else 0.0, (top + 2.0 * u + len(rows) * step + 0.8 * u) / 72))
    heading(sheet, frame.title, frame.subtitle)
    step = min((sheet.height - top - 2.8 * u) / len(rows), 2.6 * u if not narrow else step)
    left = 0.5 * u if narrow else min(max(sheet.length(row.label, 0.95) for row in rows) + 1.6 * u, 0.42 * sheet.width)
    end = max(sheet.length(row.words, 0.9) for row in rows) + 1.4 * u
    scale = (sheet.width - left - end) / max(sum(row.parts) for row in rows)
    x = max(0.5 * u, min(left, sheet.width - sum(sheet.length(name, 0.85) + 2.6 * u for name in names)))
    x0 = x = max(x, sheet.width - sum(sheet.length(name, 0.85) + 2.6 * u for name in names)) if shape.bare else x
    for name, colour in zip(names, COLOURS):
        sheet.box(x, sheet.height - top - 0.75 * u, 0.8 * u, 0.8 * u, colour="slate", fill=colour)
        sheet.put(x + 1.2 * u, sheet.height - top - 0.65 * u, name, size=0.85, colour="quiet")
        x += sheet.length(name, 0.85) + 2.6 * u
    if shape.bare:  # what is measured must stand on a slide too
        sheet.put(0, sheet.height - top - 0.65 * u, sheet.cut(frame.title, x0 - u, 0.9), size=0.9, colour="quiet")
    y = sheet.height - top - 2.0 * u
    for row in rows:
        y -= step
        middle = y + (0.85 * u if narrow else step / 2)
        if narrow:
            sheet.put(left, y + 1.75 * u, sheet.cut(row.label, sheet.width - 1.2 * u, 0.9), size=0.9)
        else:
            sheet.put(left - 0.8 * u, middle, sheet.cut(row.label, left - 1.2 * u, 0.95), size=0.95, align="right", middle=True)
        at = left
        for amount, colour in zip(row.parts, COLOURS):
            if amount > 0:
                sheet.box(at, middle - 0.5 * u, max(amount * scale, 0.05 * u), u, colour="slate", fill=colour)
                at += amount * scale
        sheet.put(at + 0.6 * u, middle, row.words, size=0.9, middle=True)
    sheet.line(left, y - 0.1 * u, left, sheet.height - top - 1.9 * u, colour="quiet")
    return sheet
