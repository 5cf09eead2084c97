"""A seed means one clinic: twice the same, in any order of asking, on every system, at every size."""

import hashlib

import pandas as pd
import pytest

from outcomes.errors import Misuse
from outcomes.synthetic_data import scenario, scenario_names, simulate


def same(left: dict, right: dict) -> None:
    assert left.keys() == right.keys()
    for name in left:
        pd.testing.assert_frame_equal(left[name], right[name], obj=name)


def test_the_same_seed_gives_the_same_clinic():
    one, two = simulate("demo", patients=60, seed=9), simulate("demo", patients=60, seed=9)
    same(one.day_sheet_tables(), two.day_sheet_tables())
    same(one.long_tables(), two.long_tables())
    pd.testing.assert_frame_equal(one.truth.parts, two.truth.parts)


def test_asking_for_one_table_first_changes_nothing_in_another():
    one, two = simulate("demo", patients=60, seed=9), simulate("demo", patients=60, seed=9)
    first = one.long_tables()
    two.truth, two.day_sheet_tables()
    same(first, two.long_tables())


def test_another_seed_gives_another_clinic():
    one, two = (simulate("demo", patients=60, seed=seed).long_tables()["parts_log"] for seed in (1, 2))
    assert not one.equals(two)


def test_the_clinic_of_a_seed_is_the_same_on_every_system():
    """Computed on Linux with the pinned versions; a change means that published seeds no longer give what they gave."""
    clinic = simulate("textbook", patients=50, seed=7)
    visits, parts = (clinic.long_tables()[name] for name in ("visits", "parts_log"))
    assert parts["changed_before"].isna().all()  # declared later, and no part of what was published
    text = "".join(table.to_csv(index=False, lineterminator="\n") for table in (visits, parts.drop(columns="changed_before")))
    assert hashlib.sha256(text.encode()).hexdigest() == "738e631cf48ae7da5e2e8b55f19874d1e46e9842fc5de106bcc85200d4c9b5f1"


@pytest.mark.parametrize("patients", [1, 20, 90])
def test_any_small_number_of_patients(patients):
    assert len(simulate("demo", patients=patients, seed=4).long_tables()["patients"]) == patients


def test_a_large_clinic_comes_in_blocks_that_add_up():
    blocks = list(simulate("demo", patients=20_010, seed=4).blocks())
    assert [block.patients for block in blocks] == [20_000, 10]
    tables = [block.long_tables() for block in blocks]
    names = pd.concat([table["patients"]["patient_id"] for table in tables])
    assert names.is_unique and len(names) == 20_010
    assert not set(tables[0]["visits"]["visit_id"]) & set(tables[1]["visits"]["visit_id"])
    assert tables[1]["visits"]["patient_id"].isin(tables[1]["patients"]["patient_id"]).all()


def test_settings_laid_over_a_scenario_are_checked():
    assert scenario("demo", insert={"ratios": {"medium": 1.0}}).insert.ratios["firm"] == scenario("demo").insert.ratios["firm"]
    assert scenario("perfect").recording.recall_checked == {"all": 1.0}
    with pytest.raises(Misuse, match="Did you mean shape"):
        scenario("demo", insert={"shap": 1.0})
    with pytest.raises(Misuse, match="no section called inserts"):
        scenario("demo", inserts={"shape": 1.0})
    with pytest.raises(Misuse, match="There is no scenario"):
        scenario("nowhere")
    with pytest.raises(Misuse, match="1 to 1,000,000"):
        simulate("demo", patients=0)
    with pytest.raises(AttributeError):
        scenario("demo").insert.shape = 3.0
    assert {"demo", "perfect", "textbook", "failures_only"} <= set(scenario_names())


@pytest.mark.slow
def test_a_million_patients_fit_in_bounded_memory():
    """Measured on two cores: 100 s alone, 190 s beside other work, for every table, 740 MB at most."""
    import subprocess
    import sys

    code = (
        "import resource\n"
        "from outcomes.synthetic_data import simulate\n"
        "patients = rows = 0\n"
        "for block in simulate('demo', patients=1_000_000, seed=1).blocks():\n"
        "    tables = block.long_tables()\n"
        "    patients, rows = patients + len(tables['patients']), rows + len(tables['parts_log'])\n"
        "print(patients, rows, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
    )
    patients, rows, kilobytes = map(int, subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split())
    assert patients == 1_000_000 and rows > 10_000_000
    assert kilobytes < 2 * 1024**2
