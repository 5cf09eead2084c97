"""Packets: sealed, refused when changed, twice, or of another plan; letters; releases; and what never leaves."""

import json
import re

import pandas as pd
import pytest

from outcomes.analyses import club_packet, club_preview
from outcomes.analyses.upkeep import Upkeep
from outcomes.club import agree
from outcomes.club.packet import as_text, read, sealed
from outcomes.club.releases import open_releases, path_of
from outcomes.club.rule import Rule
from outcomes.errors import DataProblem, Misuse


@pytest.fixture(scope="module")
def made(clinics, tmp_path_factory):
    """Four clinics' packets with their true counts."""
    folder, plan = tmp_path_factory.mktemp("stores"), clinics.plan_with()
    found = []
    for seed in (3, 9, 10, 16):
        clinic = clinics.Clinic(seed, patients=150, plan=plan)
        found.append((clinic, club_packet.make(clinic.log(5.0), open_releases(folder / f"{seed}.duckdb"))))
    return found


@pytest.fixture
def files(made, tmp_path):
    for clinic, one in made:
        (tmp_path / f"packet_{one.packet['sign']}.json").write_text(as_text(one.packet), encoding="utf-8")
    return sorted(tmp_path.glob("*.json"))


def change(path, alter, seal=False):
    packet = json.loads(path.read_text())
    alter(packet)
    path.write_text(as_text(sealed(packet) if seal else packet))
    return path


def test_a_packet_comes_back_as_it_was(files, made):
    assert {read(path)["checksum"] for path in files} == {one.packet["checksum"] for _, one in made}


@pytest.mark.parametrize("alter, says", [
    (lambda p: p["people"].update({"all patients": 500}), "changed after it was made"),
    (lambda p: p.update(closes="1999, quarter 1"), "changed after it was made"),
    (lambda p: p.pop("upkeep"), "upkeep is missing"),
    (lambda p: p.update(more=1), "more is missing or not as it should be"),
    (lambda p: p.update(format="another 2"), "another format"),
    (lambda p: p.update(checksum="0" * 64), "checksum does not fit"),
])  # fmt: skip
def test_a_packet_changed_after_it_was_made_is_refused(files, alter, says):
    with pytest.raises(DataProblem, match=says):
        read(change(files[0], alter))


@pytest.mark.parametrize("alter", [
    lambda p: p["people"].update({"all patients": 7}), lambda p: p["people"].update({"all patients": 12}), lambda p: p["people"].update({"all patients": -10}), lambda p: p["people"].update({"all patients": True}),
    lambda p: p["endpoints"][0].update(curve=[{"years": 1.0, "share": 1.2, "error": 0.1}]), lambda p: p["endpoints"][0].update(curve=[{"years": 1.1, "share": 0.9, "error": 0.1}]),
    lambda p: p["endpoints"][0].update(curve=[{"years": 1.0, "share": 0.9, "error": 0.0}]), lambda p: p["endpoints"][0].update(curve=None), lambda p: p["endpoints"][0].update(name="another"), lambda p: p["upkeep"].update(rate=-1.0),
    lambda p: p["questions"].update(level=0.9), lambda p: p["sharing"].update(minimum=0), lambda p: p.update(endpoints=[1]),
])  # fmt: skip
def test_contents_that_no_packet_holds_are_refused_even_with_a_fitting_checksum(files, alter):
    with pytest.raises(DataProblem, match="cannot be used"):
        read(change(files[0], alter, seal=True))


def test_a_rate_whose_error_would_take_visits_as_independent_stays_at_home():
    """Below the plan's test_patients the limits are exact ones for independent visits, from which no error by patient can be had."""
    people = pd.DataFrame({"patient_id": range(15), "years": 3.0, "unplanned": [9, 6, 3] + [0] * 12, "fresh": True})
    made = lambda few: club_packet._upkeep(Upkeep(people, pd.DataFrame(), 0.95, few), {}, set(), Rule("own", 10, 5, ""))  # noqa: E731
    assert made(20)["rate"] is None and "too few patients" in made(20)["withheld"]
    # By hand: rate 18/45; Σ(events − rate·years)² = 7.8² + 4.8² + 1.8² + 12·1.2²; error √(15/14 · that)/45 over the rate.
    assert made(10)["rate"] == 0.4 and made(10)["error"] == pytest.approx((15 / 14 * (7.8**2 + 4.8**2 + 1.8**2 + 12 * 1.2**2)) ** 0.5 / 45 / 0.4, abs=1e-4)


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"a": NaN}', '{"format": "outcomes packet 1", "format": "x"}', "[" * 100_000, "\x00\xff"])
def test_what_is_no_packet_is_refused(tmp_path, text):
    path = tmp_path / "odd.json"
    path.write_text(text, encoding="latin-1")
    with pytest.raises(DataProblem, match="odd.json"):
        read(path)


def pairs(files):
    return [(path.name, read(path)) for path in files]


def test_packets_of_one_plan_may_be_taken_together(files):
    agree.together(pairs(files))


def test_the_same_packet_twice_is_refused(files):
    with pytest.raises(DataProblem, match="the very same packet"):
        agree.together(pairs([*files, files[0]]))


def test_two_packets_of_one_clinic_are_refused(files):
    own = json.loads(files[0].read_text())["clinic"]
    change(files[1], lambda p: p.update(clinic=own), seal=True)
    with pytest.raises(DataProblem, match="come from one clinic: give the later one only"):
        agree.together(pairs(files))


def test_another_plan_is_refused_with_what_differs(files):
    from outcomes.club.packet import digest

    def other(packet):
        packet["questions"]["levels"]["low_n"] = 9.0
        packet["questions_digest"] = digest(packet["questions"])

    change(files[2], other, seal=True)
    with pytest.raises(DataProblem, match=f"{re.escape(files[2].name)}: its plan has levels.low_n 9.0, most have 8.0"):
        agree.together(pairs(files))


@pytest.mark.parametrize("alter, says", [(lambda p: p["codebook"].update({"endpoints.toml": "0" * 16}), "another meaning in endpoints.toml"), (lambda p: p.update(software="9.9"), "version 9.9 of outcomes")])
def test_another_codebook_or_version_is_refused_with_what_differs(files, alter, says):
    change(files[1], alter, seal=True)
    with pytest.raises(DataProblem, match=says):
        agree.together(pairs(files))


def test_letters_follow_neither_size_nor_result_nor_the_order_of_the_files(made):
    packets = [one.packet for _, one in made]
    assert dict(zip([p["sign"] for p in packets], agree.letters(packets))) == dict(zip([p["sign"] for p in packets[::-1]], agree.letters(packets[::-1])))
    many = [{"checksum": f"{k:064x}"} for k in range(800)]
    named = agree.letters(many)
    assert len(set(named)) == 800
    place = {letter: k for k, letter in enumerate(sorted(named, key=lambda letter: (len(letter), letter)))}
    order = [place[letter] for letter in named]
    mean = sum(k * order[k] for k in range(800)) / 800
    assert abs(mean / (399.5**2) - 1) < 0.05  # the rank by input and by letter are unrelated


def test_a_packet_holds_no_pseudonym_no_day_and_no_file_name(made):
    for clinic, one in made:
        text = as_text(one.packet)
        assert not any(person in text for person in clinic.people)
        assert not re.search(r"\b(19|20)\d\d-\d\d", text.replace(one.packet["checksum"], "")) and ".csv" not in text and "duckdb" not in text


def test_every_number_that_leaves_is_on_the_preview(made):
    for _, one in made:
        page = re.sub(r"<[^>]*>", " ", club_preview.preview(one, "packet.json", 0)).replace("\u00a0", " ")

        def leaves(body):
            if isinstance(body, dict):
                yield from (leaf for value in body.values() for leaf in leaves(value))
            elif isinstance(body, list):
                yield from (leaf for value in body for leaf in leaves(value))
            elif body is not None and body != "" and not isinstance(body, bool):
                yield body

        for leaf in leaves({key: value for key, value in one.packet.items() if key not in ("questions", "codebook")}):
            shown = f"{leaf:g}" if isinstance(leaf, float) else str(leaf)
            assert shown.replace("\u00a0", " ").split("\n")[0] in page.replace("&#39;", "'"), leaf
        assert "few people" in page or not one.reasons


def test_what_was_shared_is_recorded_for_the_owner_only(tmp_path, made):
    releases = open_releases(tmp_path / "clinic.duckdb")
    _, one = made[0]
    assert releases.record(one.packet, one.release, one.counts) and not releases.record(one.packet, one.release, one.counts)
    path = path_of(tmp_path / "clinic.duckdb")
    assert path.stat().st_mode & 0o077 == 0
    again = open_releases(tmp_path / "clinic.duckdb")
    assert again.secret == releases.secret and again.clinic == releases.clinic and again.earlier[0][1] == one.counts
    assert again.earlier[0][0].shown == one.release.shown and again.earlier[0][0].known == one.release.known


def test_the_same_log_gives_the_same_packet(clinics, tmp_path):
    clinic = clinics.Clinic(4, patients=120, plan=clinics.plan_with())
    releases = open_releases(tmp_path / "a.duckdb")
    one, two = (club_packet.make(clinic.log(4.0), releases) for _ in range(2))
    assert as_text(one.packet) == as_text(two.packet)
    releases.record(one.packet, one.release, one.counts)
    assert as_text(club_packet.make(clinic.log(4.0), releases).packet) == as_text(one.packet)


def test_a_spoilt_record_of_releases_stops_the_sharing(tmp_path):
    path_of(tmp_path / "a.duckdb").write_text("{")
    with pytest.raises(Misuse, match="cannot be read"):
        open_releases(tmp_path / "a.duckdb")
