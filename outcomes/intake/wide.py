"""A questionnaire typed wide: one line per patient and day, one column per item. The file or sheet is named after its instrument."""

from __future__ import annotations

import numpy as np
import pandas as pd

from outcomes import schemas
from outcomes.intake.headings import plain
from outcomes.intake.log import TRACE, blank


def instrument_of(name: str) -> str | None:
    """The instrument a sheet or file name means, or None."""
    return {plain(instrument): instrument for instrument in schemas.instruments()}.get(plain(name))


def table(instrument: str) -> schemas.Table:
    """A table for the wide form of an instrument: the columns of questionnaires, with one for each item (heading ``item 1``, ``q1`` or ``1``)."""
    long = schemas.tables()["questionnaires"]
    columns = tuple(column for column in long.columns if column.name not in ("instrument", "item", "response"))
    body = schemas.instruments()[instrument]
    items = tuple(schemas.Column(f"item_{number}", "number", f"answer to item {number}", words=(str(number), f"q{number}")) for number in range(1, body["items"] + 1))
    return schemas.Table(instrument, body["title"], "one row per patient and day", body["meaning"], ("patient_id", "answered_on", "about"), columns + items, door="wide")


def lengthened(frame: pd.DataFrame, instrument: str) -> pd.DataFrame:
    """The wide typed frame as rows of questionnaires, one for each answered item, each still knowing its cell."""
    items = [name for name in frame if name.startswith("item_")]
    pieces = []
    for name in items:
        rows = frame[frame[name].notna()].drop(columns=[one for one in items if one != name]).rename(columns={name: "response"})
        pieces.append(rows.assign(item=pd.array(np.full(len(rows), int(name.removeprefix("item_"))), dtype="Int32"), _cell=name))
    long = pd.concat(pieces, ignore_index=True) if pieces else frame.iloc[:0]
    long["instrument"] = pd.array([instrument] * len(long), dtype="string[pyarrow]")
    long["_cell"] = pd.Categorical(long["_cell"])
    return long[[column for column in blank(schemas.tables()["questionnaires"]).columns if column in long or column not in TRACE]]
