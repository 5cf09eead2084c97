"""The letters ship with the package, their licences beside them, and are the ones that figures are drawn with."""

from __future__ import annotations

from pathlib import Path

import pytest

from outcomes.present import letters, talk_fit
from outcomes.present.canvas import PAGE, Sheet, _font, _settings


@pytest.mark.parametrize("bold", [False, True])
def test_figures_are_drawn_with_the_packages_own_fonts_whatever_the_machine_has(bold):
    from matplotlib.font_manager import findfont

    Sheet(PAGE)
    with _settings():
        assert Path(findfont(_font(9.5, bold))) == letters.file("DejaVuSans-Bold" if bold else "DejaVuSans")


def test_every_font_in_use_lies_in_the_package_with_its_licence():
    used = {name for _, _, name in letters.FACES} | set(talk_fit.FONTS.values())
    assert {path.stem for path in letters.FONTS.glob("*.ttf")} == used
    for family in ("DEJAVU", "STIX"):
        assert len((letters.FONTS / f"LICENSE_{family}").read_text(encoding="utf-8", errors="replace")) > 1000


def test_the_fonts_are_declared_as_part_of_the_package():
    import tomllib

    body = tomllib.loads((Path(__file__).resolve().parents[2] / "pyproject.toml").read_text(encoding="utf-8"))
    assert "fonts/*" in body["tool"]["setuptools"]["package-data"]["outcomes.present"]
