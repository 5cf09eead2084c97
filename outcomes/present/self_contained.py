"""From a template to one HTML file that needs nothing beside it: its letters, colours and style stand inside."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

from outcomes.present import letters

HERE = Path(__file__).resolve().parent
_STYLE = "/*style*/"


def self_contained(name: str, colours: Callable[[str], str], *, also: str = "", **said) -> str:
    """``name``.html filled with what is said, everything that comes from a log escaped, and ``name``.css with the letters of its text.

    colours: from the filled text to the style's colours; also: letters that only the style shows.
    """
    import jinja2
    from markupsafe import Markup

    kitchen = jinja2.Environment(loader=jinja2.FileSystemLoader(HERE), autoescape=True, trim_blocks=True, lstrip_blocks=True, undefined=jinja2.StrictUndefined)
    html = kitchen.get_template(f"{name}.html").render(**said, style=Markup(_STYLE))
    shown = re.sub(r"<[^>]*>", "", html) + also
    style = "\n".join([letters.faces(shown), colours(html), _css(name)])
    return html.replace(_STYLE, style, 1)


def _css(name: str) -> str:
    """A style sheet, with the piece that a line such as ``/*stacks.css*/`` names in that line's place."""
    text = (HERE / f"{name}.css").read_text(encoding="utf-8").strip()
    return re.sub(r"^ *\/\*(\w+)\.css\*\/$", lambda found: (HERE / f"{found[1]}.css").read_text(encoding="utf-8").rstrip(), text, flags=re.M)
