"""The guard at the door: personal data in a heading or a cell is refused, with the cell and what to do; pseudonyms go by."""

from __future__ import annotations

import pytest

from outcomes import intake
from outcomes.intake import privacy


@pytest.mark.parametrize("heading", ["Name", "Patient name", "first_name", "Surname", "Date of birth", "DOB", "Birth date", "Phone", "Mobile", "telephone no", "E-mail", "Email address",
                                     "Street", "Post code", "ZIP", "Address", "Nachname", "Geburtsdatum", "NHS number", "Insurance no"])
def test_a_heading_that_promises_personal_data_is_refused_and_its_column_not_read(clinic, heading):
    checked = clinic.check([clinic.text("patients.csv", f"patient_id,audit_consent,{heading}\nP1,yes,secret\n")])
    one = checked.problems.iloc[0]
    assert (one["severity"], one["rule"], one["cell"]) == ("error", "personal data", "C1")
    assert "the log holds pseudonyms only" in one["remedy"]
    assert "secret" not in repr(checked.problems.to_dict()) + repr(checked.tables["patients"].to_dict())


@pytest.mark.parametrize("heading", ["birth_year", "patient_id", "level name", "Notes", "clinician", "minutes", "file name", "where", "Town hall visits", "system"])
def test_ordinary_headings_go_by(heading):
    assert privacy.heading(heading) is None


@pytest.mark.parametrize("content, kind", [("jane.doe@example.org", "e-mail"), ("+44 20 7946 0958", "telephone"), ("(020) 7946 0958", "telephone"), ("943 476 5919", "identity"), ("123-45-6789", "identity"),
                                           ("12.03.1948", "birth"), ("1948-03-12", "birth"), ("3/12/48", "birth"), ("19480312", "birth"), ("Doe, Jane", "a name"), ("Jane Doe", "a name"), ("Mrs Doe", "a name"),
                                           ("Jane Doe/2024-03-14", "a name")])
def test_content_that_looks_like_personal_data_is_refused_with_its_cell(clinic, content, kind):
    visit = {"visit_id": "v1", "patient_id": content, "visited_on": "2024-03-14", "reason": "recall", "parts_checked": "all"}
    checked = clinic.check({"patients": [{"patient_id": content, "audit_consent": "yes"}], "visits": [visit]})
    found = checked.problems[checked.problems["rule"] == "personal data"]
    assert set(zip(found["file"], found["cell"])) == {("patients.csv", "A2"), ("visits.csv", "B2")}
    assert found["message"].str.contains(kind).all()
    assert not len(checked.tables["patients"]) and not len(checked.tables["visits"])


@pytest.mark.parametrize("pseudonym", ["P0042", "0042", "42", "2024-0017", "A-17", "blue heron", "K 7", "12345678", "PX-2024-00017", "P0042/2024-03-14", "P0042/lower/1", "P0042/2024-03-14/lower/2", "AB"])
def test_pseudonyms_and_keys_go_by(pseudonym):
    assert privacy.content(pseudonym, person=True) is None


@pytest.mark.parametrize("level", ["Extra Light", "light", "A 1.5", "Level 2"])
def test_names_are_looked_for_only_where_people_stand(level):
    assert privacy.content(level, person=False) is None


def test_a_traceback_would_hold_no_value(clinic):
    """What is refused with an error class names files and columns, never a cell's content."""
    path = clinic.text("visits.xls", "Jane Doe")
    with pytest.raises(intake.checked.Misuse) as refusal:
        clinic.check([path])
    assert "Jane" not in str(refusal.value)
