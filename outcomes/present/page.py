"""One self-contained page from a report's content: no script, no file beside it needed, the first side an A4 sheet."""

from __future__ import annotations

import re
from pathlib import Path

from outcomes.present import content
from outcomes.present.palette import DARK, LIGHT, dark_twin, style_variables
from outcomes.present.self_contained import self_contained


def render(report: content.Report) -> str:
    """The page as HTML text; everything that comes from a log is escaped."""
    from markupsafe import Markup

    most = {"answers": content.MOST_ANSWERS, "steps": content.MOST_STEPS, "doubts": content.MOST_DOUBTS, "verdicts": content.MOST_VERDICTS}
    return self_contained("page", _colours, also="✓✗?·…–", report=report, most=most, bar=lambda answer: Markup(_bar(answer)))


def write(report: content.Report, out: Path) -> Path:
    """Write ``index.html`` into ``out`` and return its path."""
    path = out / "index.html"
    path.write_text(render(report), encoding="utf-8", newline="\n")
    return path


def _colours(html: str) -> str:
    """The roles as variables, light, dark and for print; retention colours used in the figures likewise."""
    used = sorted(set(re.findall(r"var\(--n-([0-9a-f]{6})", html)))
    dark = style_variables(DARK) + " " + " ".join(f"--n-{code}: {dark_twin('#' + code)};" for code in used)
    return f":root {{ {style_variables(LIGHT)} }}\n@media screen and (prefers-color-scheme: dark) {{ :root {{ {dark} }} }}"


def _bar(answer: content.Answer) -> str:
    """A small bar of the likely range from 0 to 100 %, for the eye only: the words stand beside it."""
    low, value, high = (2 + 136 * part for part in answer.bar)
    reach = f'<line class="reach" x1="{low:.1f}" y1="9" x2="{max(high, low + 1):.1f}" y2="9"/>'
    dot = "" if answer.bar[1] != answer.bar[1] else f'<circle class="dot" cx="{value:.1f}" cy="9" r="5"/>'
    ends = '<text x="2" y="27">0</text><text x="138" y="27" text-anchor="end">100 %</text>'
    return f'<svg class="range" viewBox="0 0 140 30" preserveAspectRatio="xMinYMin" aria-hidden="true" focusable="false"><line class="track" x1="2" y1="9" x2="138" y2="9"/>{reach}{dot}{ends}</svg>'
