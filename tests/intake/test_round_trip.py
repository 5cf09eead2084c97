"""The simulated clinic written both ways: both check clean, and both give the same tables."""

from __future__ import annotations

import pytest

from outcomes import intake, schemas, synthetic_data


def tables(clinic, folder, form: str, file: str):
    checked = intake.check(synthetic_data.write(clinic, folder / f"{form} {file}", form=form, file=file))
    assert checked.error_count == 0, intake.summary(checked)
    return checked


def comparable(frame, table):
    columns = [name for name, _ in table.stored_columns]
    plain = frame[columns].astype(object).where(frame[columns].notna(), None)
    return sorted(map(repr, plain.itertuples(index=False, name=None)))


@pytest.mark.parametrize("scenario, seed, file", [("demo", 20, "xlsx"), ("perfect", 1, "csv"), ("failures_only", 2, "csv")])
def test_day_sheet_and_long_tables_of_one_clinic_are_the_same_log(tmp_path, scenario, seed, file):
    clinic = synthetic_data.simulate(scenario, seed=seed)
    by_day, by_table = (tables(clinic, tmp_path, form, file) for form in ("day sheet", "long"))
    for name, table in schemas.stored_tables().items():
        assert comparable(by_day.tables[name], table) == comparable(by_table.tables[name], table), name
    assert len(by_day.tables["parts_log"]) > 100


def test_a_workbook_and_csv_files_of_one_clinic_are_the_same_log(tmp_path):
    clinic = synthetic_data.simulate("demo", seed=5)
    one, other = (tables(clinic, tmp_path, "day sheet", file) for file in ("xlsx", "csv"))
    for name, table in schemas.stored_tables().items():
        assert comparable(one.tables[name], table) == comparable(other.tables[name], table), name


def test_the_set_up_alone_makes_dentures_that_give_every_part_its_place(tmp_path):
    """Without the tables Dentures and Implants the day sheet still says which denture each part was in."""
    clinic = synthetic_data.simulate("demo", seed=5)
    paths = synthetic_data.write(clinic, tmp_path, form="day sheet", file="csv")
    whole = intake.check(paths)
    bare = intake.check([path for path in paths if path.stem != "dentures"])
    assert bare.error_count == 0, intake.summary(bare)
    key = ["visit_id", "position", "part"]
    both = whole.tables["parts_log"].merge(bare.tables["parts_log"], on=key, suffixes=("", "_bare"))
    assert len(both) == len(whole.tables["parts_log"]) == len(bare.tables["parts_log"])
    assert (both["denture_id"] == both["denture_id_bare"]).all()
    assert (both["action"].astype(str) == both["action_bare"].astype(str)).all()
