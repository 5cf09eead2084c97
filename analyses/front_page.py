"""The README's picture: the front page of the demo clinic's audit, as a browser shows it.

Run ``python -m outcomes.analyses.front_page``; needs Chromium. Kept apart from the reports, since no report needs a browser.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from outcomes.errors import Misuse
from outcomes.present.palette import LIGHT, channels

PICTURE = Path(__file__).resolve().with_name("front_page.png")
WIDTH, TALLEST, MARGIN = 1280, 4000, 40
SHOWN, STEPS = ("ink", "quiet", "accent", "signal", "grid"), 24
FLAGS = ["--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking", "--disable-component-update", "--disable-sync", "--hide-scrollbars",
         "--disable-lcd-text", "--force-color-profile=srgb", "--blink-settings=preferredColorScheme=1"]  # fmt: skip


def draw(page: Path, picture: Path) -> Path:
    """Write the front side of ``page`` to ``picture``: 1280 pixels wide and as tall as it needs. Raises Misuse without Chromium."""
    from PIL import Image, ImageChops

    browser = shutil.which("chromium")
    if browser is None:
        raise Misuse("The picture is taken with Chromium, which is not on this machine.")
    with TemporaryDirectory() as work:
        front, shot = Path(work) / "front.html", Path(work) / "shot.png"
        front.write_text(re.sub(r"(?s)</article>.*</main>.*</footer>", "</article></main>", page.read_text(encoding="utf-8")), encoding="utf-8")
        subprocess.run([browser, *FLAGS, f"--user-data-dir={work}/profile", f"--window-size={WIDTH},{TALLEST}", f"--screenshot={shot}", front.as_uri()], check=True, capture_output=True, timeout=120)
        with Image.open(shot) as taken:
            whole = taken.convert("RGB")
    paper = Image.new("RGB", whole.size, whole.getpixel((0, TALLEST - 1)))
    foot = ImageChops.difference(whole, paper).getbbox()[3]
    _few_colours(whole.crop((0, 0, WIDTH, min(foot + MARGIN, TALLEST)))).save(picture, optimize=True)
    return picture


def _few_colours(whole):
    """The picture in the page's own colours and their steps down to paper; the commonest colours would leave out the few letters in the signal colour."""
    import numpy as np
    from PIL import Image

    kept = np.array([[255 + (255 * part - 255) * step / STEPS for part in channels(LIGHT[name])] for name in SHOWN for step in range(1, STEPS + 1)] + [[255, 255, 255]]).round()
    found, place = np.unique(np.asarray(whole).reshape(-1, 3), axis=0, return_inverse=True)
    nearest = ((found[:, None, :] - kept[None, :, :]) ** 2).sum(axis=2).argmin(axis=1).astype(np.uint8)
    few = Image.fromarray(nearest[place.reshape(-1)].reshape(whole.height, whole.width), mode="P")
    few.putpalette(kept.astype(np.uint8).tobytes())
    return few


def main() -> int:
    """Make the demo clinic's audit in a temporary folder and draw its front page."""
    with TemporaryDirectory() as out:
        subprocess.run([sys.executable, "-m", "outcomes", "demo", "--quiet", "--out", out], check=True, capture_output=True)
        print(f"Wrote {draw(Path(out) / 'index.html', PICTURE).name}.")
    return 0


if __name__ == "__main__":
    try:
        sys.exit(main())
    except Misuse as problem:
        sys.exit(str(problem))
