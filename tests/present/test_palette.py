"""The colours can be read on white, in the dark, in grey, and by people who see fewer of them."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from outcomes.present import palette
from outcomes.present.palette import DARK, LIGHT, contrast

TEXT = ("ink", "quiet", "accent", "signal")
GRAPHIC = ("ink", "quiet", "accent", "signal", "moss", "plum", "slate", "sand")

# Machado, Oliveira and Fernandes 2009 (IEEE Trans Vis Comput Graph 15:1291), severity 1, for linear RGB. From memory.
SEEN_BY = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
}


def lab(linear) -> np.ndarray:
    """CIE L*a*b* (D65) of linear sRGB; matrix of IEC 61966-2-1."""
    xyz = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]]) @ np.clip(linear, 0, 1) / np.array([0.9505, 1.0, 1.089])
    f = np.where(xyz > (6 / 29) ** 3, np.cbrt(xyz), xyz / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize(("colour", "ratio"), [("#000000", 21.0), ("#0072B2", 5.19), ("#D55E00", 3.87), ("#009E73", 3.42), ("#CC79A7", 3.06), ("#56B4E9", 2.31), ("#E69F00", 2.25), ("#F0E442", 1.32), ("#767676", 4.54)])
def test_contrast_agrees_with_known_ratios_on_white(colour, ratio):
    # Okabe and Ito 2002's set (Wong 2011, Nat Methods 8:441) and the grey that just passes for text.
    assert contrast(colour, "#ffffff") == pytest.approx(ratio, abs=0.005)


@pytest.mark.parametrize("roles", [LIGHT, DARK], ids=["light", "dark"])
def test_text_stands_out_at_least_four_and_a_half_to_one(roles):
    assert all(contrast(roles[name], roles["paper"]) >= 4.5 for name in TEXT)


@pytest.mark.parametrize("roles", [LIGHT, DARK], ids=["light", "dark"])
def test_lines_and_areas_stand_out_at_least_three_to_one(roles):
    assert all(contrast(roles[name], roles["paper"]) >= 3 for name in GRAPHIC)


@pytest.mark.parametrize("roles", [LIGHT, DARK], ids=["light", "dark"])
def test_areas_stand_out_against_the_pale_rest(roles):
    assert all(contrast(roles[name], roles["pale"]) >= 3 for name in ("signal", "sand", "plum", "slate", "moss"))


def test_white_letters_can_be_read_on_every_answer_of_the_snap():
    assert all(contrast(LIGHT["paper"], LIGHT[name]) >= 4.5 for name in ("signal", "accent", "plum", "ink"))
    assert contrast(LIGHT["paper"], LIGHT["sand"]) >= 4.5


def test_matrices_leave_white_white():
    for matrix in SEEN_BY.values():
        assert np.array(matrix).sum(axis=1) == pytest.approx(np.ones(3), abs=1e-5)


@pytest.mark.parametrize("sight", SEEN_BY)
def test_the_first_three_lines_differ_for_everybody(sight):
    seen = [lab(np.array(SEEN_BY[sight]) @ palette.linear(LIGHT[colour])) for colour, _ in palette.SERIES[:3]]
    for one, other in itertools.combinations(seen, 2):
        assert np.linalg.norm(one - other) > 12  # well above a just noticeable difference (about 2.3)


def test_every_line_has_a_dash_of_its_own_so_that_grey_print_keeps_them_apart():
    dashes = [str(dash) for _, dash in palette.SERIES]
    assert len(set(dashes)) == len(dashes)


def test_firmer_is_darker_on_paper_and_brighter_in_the_dark():
    forces = [1, 2, 4, 6.7, 8, 12, 18, 25, 30]
    colours = [palette.newton_colour(force) for force in forces]
    light = [palette.luminance(colour) for colour in colours]
    dark = [palette.luminance(palette.dark_twin(colour)) for colour in colours]
    assert light == sorted(light, reverse=True) and len(set(light)) == len(light)
    assert dark == sorted(dark)
    assert all(contrast(colour, LIGHT["paper"]) >= 3 for colour in colours)
    assert all(contrast(palette.dark_twin(colour), DARK["paper"]) >= 3 for colour in colours)


def test_a_force_always_has_the_same_colour_whatever_the_level_is_called():
    assert palette.newton_colour(6.672332422890749) == palette.newton_colour(1.5 * 4.4482216152605)


def test_no_two_roles_share_a_light_colour():
    assert len(set(LIGHT.values())) == len(LIGHT)
