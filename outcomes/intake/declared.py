"""The one door to pandera: a schema generated from each declaration, and its lazy failures as plain rows."""

from __future__ import annotations

import warnings
from functools import cache

import pandas as pd

from outcomes import schemas

EARLIEST_DAY = pd.Timestamp("1950-01-01")


@cache
def schema(name: str, *, plausible: bool = False):
    """The pandera schema of a declared table as typed frames hold it. With ``plausible``, only the usual ranges, whose breach is a warning.

    Keys are not in it: a duplicated key would hide other failures, so the rule "key twice" looks for them.
    """
    import pandera.pandas as pandera

    columns = {}
    for column in schemas.tables()[name].columns:
        checks = []
        low, high = (column.plausible or (None, None)) if plausible else (column.minimum, column.maximum)
        if low is not None:
            checks.append(pandera.Check.ge(low))
        if high is not None:
            checks.append(pandera.Check.le(high))
        if column.type == "date" and not plausible:
            checks.append(pandera.Check.ge(EARLIEST_DAY))
        kind = {"number": "float64", "whole": "Int32", "date": "datetime64[s]", "text": "string[pyarrow]", "position": "string[pyarrow]"}.get(column.type)
        if column.type == "code":
            kind = pd.CategoricalDtype(list(column.code_list))
        # A date that is "not known" has no day and is no missing cell: what is needed is its precision.
        required = column.required and not plausible
        columns[column.name] = pandera.Column(kind, checks=checks, nullable=not required or column.type == "date")
        if column.type == "date" and required:
            columns[column.name + "_precision"] = pandera.Column(nullable=False)
    return pandera.DataFrameSchema(columns, strict=False)


def breaches(name: str, frame: pd.DataFrame, *, plausible: bool = False) -> pd.DataFrame:
    """Every failure of the frame against its declaration: ``row`` (position in the frame), ``column``, ``check``, ``value``.

    ``check`` is "needed" for a missing required cell, else "too small", "too large" or "too early".
    """
    from pandera.errors import SchemaErrors

    empty = pd.DataFrame({"row": pd.Series(dtype="int64"), "column": [], "check": [], "value": []})
    if frame.empty:
        return empty
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", FutureWarning)  # pandera's own way of joining its failure rows
            schema(name, plausible=plausible).validate(frame.reset_index(drop=True), lazy=True)
        return empty
    except SchemaErrors as problems:
        cases = problems.failure_cases
    unexpected = cases[cases["index"].isna()]
    if len(unexpected):
        raise AssertionError(f"the frame of {name} is not as declared: {sorted(set(unexpected['check'].astype(str)))}")
    column = cases["column"].astype(str).str.removesuffix("_precision")
    check = cases["check"].astype(str)
    is_date = column.isin([c.name for c in schemas.tables()[name].columns if c.type == "date"])
    words = pd.Series("needed", index=cases.index).mask(check.str.startswith("less"), "too large")
    words = words.mask(check.str.startswith("greater"), "too small").mask(check.str.startswith("greater") & is_date, "too early")
    return pd.DataFrame({"row": cases["index"].astype("int64"), "column": column, "check": words, "value": cases["failure_case"]}).sort_values("row", kind="stable")
