"""Who is in it: boxes from everybody in the log down to what was followed, with those left out beside them."""

from __future__ import annotations

from dataclasses import dataclass

from outcomes.present.canvas import Shape, Sheet
from outcomes.present.curves import wrapped


@dataclass(frozen=True)
class Stage:
    """One box: a short text, who was left out on the way to the next box, as (reason, count in words), and what of those in it is known only in part."""

    text: str
    left_out: tuple[tuple[str, str], ...] = ()
    in_part: tuple[str, ...] = ()


def flow(stages: list[Stage], shape: Shape) -> Sheet:
    """The flow diagram; its height follows from what it holds."""
    probe = Sheet(shape)
    u = probe.text
    main = probe.width * (0.46 if shape.narrow else 0.44)
    beside = probe.width - main - (3.2 if shape.narrow else 6) * u
    line, pad = 1.38 * u, 0.8 * u
    boxes = [wrapped(probe, stage.text, main - 2 * pad) for stage in stages]
    partly = [[line for known in stage.in_part for line in wrapped(probe, known, main - 2 * pad, 0.88)] for stage in stages]
    notes = [[part for reason, amount in stage.left_out for part in wrapped(probe, f"{amount}: {reason}", beside - 1.4 * u, 0.88)] for stage in stages]
    heights = [len(box) * line + 1.4 * pad + (len(known) * line * 0.92 + 0.4 * u if known else 0) for box, known in zip(boxes, partly)]
    gaps = [max(2.4 * u, len(note) * line * 0.92 + 1.6 * u) if i < len(stages) - 1 else (len(note) * line * 0.92 + 1.2 * u if note else 0) for i, note in enumerate(notes)]
    sheet = Sheet(shape, (sum(heights) + sum(gaps) + 1.2 * u) / 72)
    y, x, middle = sheet.height - 0.6 * u, 0.6 * u, 0.6 * u + main / 2
    for i, (box, known, note, height, gap) in enumerate(zip(boxes, partly, notes, heights, gaps)):
        sheet.box(x, y - height, main, height, colour="accent", fill="paper")
        for j, text in enumerate(box):
            sheet.put(middle, y - pad * 0.7 - (j + 0.78) * line, text, align="center")
        for j, text in enumerate(known):
            sheet.put(middle, y - pad * 0.7 - len(box) * line - 0.4 * u - (j + 0.7) * line * 0.92, text, align="center", size=0.88, colour="quiet")
        y -= height
        if i < len(stages) - 1:
            sheet.line(middle, y, middle, y - gap, colour="quiet", arrow=True, width=1.0)
        if note:
            turn = y - gap / 2 if i < len(stages) - 1 else y - gap / 2
            right = x + main + (1.4 if shape.narrow else 2.6) * u
            if i < len(stages) - 1:
                sheet.line(middle, turn, right - 0.3 * u, turn, colour="quiet", arrow=True, width=1.0)
            start = turn + len(note) * line * 0.92 / 2
            for j, text in enumerate(note):
                sheet.put(right, start - (j + 0.75) * line * 0.92, text, size=0.88, colour="quiet")
        y -= gap
    return sheet
