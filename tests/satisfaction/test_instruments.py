"""Instrument files: what they state, their worked examples, and a clinic's own form."""

import tomllib
from pathlib import Path

import numpy as np
import pytest

from outcomes import schemas
from outcomes.longevity import ArgumentError
from outcomes.satisfaction import instrument, instruments, read_instrument, score

FILES = sorted((Path(schemas.HERE) / "instruments").glob("*.toml"))
EXAMPLES = [(name, i) for name, form in instruments().items() for i in range(len(form.examples))]


@pytest.mark.parametrize(("name", "i"), EXAMPLES)
def test_each_worked_example_in_a_file_scores_as_the_file_says(name, i):
    """Sources stand beside each example in the file."""
    example = instruments()[name].examples[i]
    found = score([list(example.responses)], name)
    np.testing.assert_equal(found.total[0], np.nan if example.score is None else example.score)
    for domain, value in example.domains.items():
        np.testing.assert_equal(found.domains[domain][0], np.nan if value is None else value)
    if example.prorated is not None:
        assert found.prorated[0] == example.prorated


def test_every_instrument_has_examples_with_and_without_blanks():
    for name, form in instruments().items():
        assert any(None in e.responses for e in form.examples), name
        assert any(None not in e.responses for e in form.examples) or form.total == "none", name


@pytest.mark.parametrize(
    ("name", "items", "lowest", "highest", "better"),
    [
        ("ohip_5", 5, 0, 20, "lower"),  # John et al. 2006; items read in PMC4841723, range from memory
        ("ohip_14", 14, 0, 56, "lower"),  # Slade 1997, from memory
        ("ohip_edent", 19, 0, 76, "lower"),  # Allen & Locker 2002, from memory
        ("ohip_20", 20, 0, 80, "lower"),  # Allen & McMillan, from memory
        ("ohip_49", 49, 0, 196, "lower"),  # Slade & Spencer 1994, from memory
        ("gohai", 12, 12, 60, "higher"),  # Atchison & Dolan 1990, from memory
        ("satisfaction_card", 1, 0, 100, "higher"),
        ("snap_question", 1, -2, 2, "nearest"),
        ("change_question", 1, -3, 3, "higher"),
    ],
)
def test_range_and_direction_of_the_shipped_forms(name, items, lowest, highest, better):
    form = instruments()[name]
    assert (form.items, form.lowest, form.highest, form.better) == (items, lowest, highest, better)


@pytest.mark.parametrize(
    ("name", "sizes"),
    [("ohip_14", [2] * 7), ("ohip_edent", [3, 4, 2, 3, 2, 3, 2]), ("ohip_20", [3, 4, 2, 4, 2, 3, 2]), ("ohip_49", [9, 9, 5, 9, 6, 5, 6])],
)
def test_domains_take_every_item_once(name, sizes):
    """Pairs of the 14-item form read in a published table (PMC4501184); the other sizes from memory of the sources named in the files."""
    form = instruments()[name]
    assert [len(d.items) for d in form.domains] == sizes
    assert [i for d in form.domains for i in d.items] == list(range(1, form.items + 1))


def test_a_threshold_never_stands_without_its_population_and_source():
    for form in instruments().values():
        for t in form.thresholds:
            assert t.change > 0 and t.population and t.method and t.source and t.sure
    assert sorted(t.change for t in instruments()["ohip_14"].thresholds) == [3, 5, 15]
    assert not any(instruments()[name].thresholds for name in ("ohip_edent", "gohai", "denture_lines", "satisfaction_card"))  # no good value is known


def test_no_file_holds_the_wording_of_an_item():
    """Nothing like a question anywhere: no question mark, no sentence per item."""
    for path in FILES:
        text = path.read_text(encoding="utf-8")
        assert "?" not in text, path.name
        body = tomllib.loads(text)
        assert not {"wording", "text", "question", "questions", "labels"} & set(body), path.name
        assert "answers" not in body or body["source"].startswith("of our own"), path.name


def test_a_name_may_be_written_as_in_print():
    assert instrument("OHIP-14") is instrument("ohip14") is instruments()["ohip_14"]
    assert instrument("OHIP-19").name == "ohip_edent"


def test_an_unknown_instrument_is_refused_with_the_known_ones():
    with pytest.raises(ArgumentError, match="'GOHAY' is not an instrument that ships. Did you mean gohai.*read_instrument"):
        instrument("GOHAY")


OWN = 'name = "own"\nitems = 3\nminimum = 1\nmaximum = 6\nbetter = "higher"\n'


def written(tmp_path, text):
    path = tmp_path / "own.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_clinic_may_bring_its_own_form(tmp_path):
    form = read_instrument(written(tmp_path, OWN + "reversed = [2]\n[missing]\ntotal = 1\n"))
    assert score([[1, 6, 6], [1, None, 2], [None, None, 2]], form).total == pytest.approx([1 + 1 + 6, 4.5, np.nan], nan_ok=True)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (OWN.replace("maximum = 6\n", ""), "says nothing of maximum.*never guessed"),
        (OWN.replace("maximum = 6", "maximum = 1"), "minimum must be below maximum"),
        (OWN.replace("higher", "up"), "better must be one of higher, lower, nearest"),
        (OWN + "reversed = [4]\n", "must be items 1 to 3"),
        (OWN + 'wording = ["a"]\n', "unknown key wording"),
        ("name = ", "own.toml: cannot be read"),
    ],
)
def test_a_form_that_says_too_little_is_refused(tmp_path, text, said):
    with pytest.raises(ArgumentError, match=said):
        read_instrument(written(tmp_path, text))
