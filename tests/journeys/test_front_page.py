"""The README's picture is taken by a script from the demo's own page, and is small enough to look at."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest

from outcomes.analyses import front_page

PAGE = """<!doctype html><html><body style="margin:0;background:#fff"><main><article><p style="margin:0;height:700px;background:#0a6480">front</p></article>
<section style="height:3000px;background:#000">in detail</section></main><footer>caution</footer></body></html>"""


def size(picture: Path) -> tuple[int, int]:
    """Width and height as a PNG file's header says."""
    head = picture.read_bytes()[:24]
    assert head[:8] == b"\x89PNG\r\n\x1a\n"
    return struct.unpack(">II", head[16:24])


@pytest.mark.needs_browser
def test_the_picture_shows_the_front_side_and_nothing_of_the_detail(tmp_path):
    page = tmp_path / "index.html"
    page.write_text(PAGE, encoding="utf-8")
    picture = front_page.draw(page, tmp_path / "front.png")
    assert size(picture) == (1280, 700 + front_page.MARGIN)


def test_the_picture_in_the_readme_is_wide_enough_to_read_and_small_enough_to_load():
    width, height = size(front_page.PICTURE)
    assert width == 1280 and height > width and front_page.PICTURE.stat().st_size <= 300_000
