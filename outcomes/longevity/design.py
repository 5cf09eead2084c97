"""From a frame and the right-hand side of a formula to numbers a model can use, with errors that name what is wrong."""

from __future__ import annotations

import warnings
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from outcomes.longevity.estimate import ArgumentError, as_codes, as_numbers

RANK_TOLERANCE = 1e-9  # a column this close to a combination of the others (relative length) adds nothing


@dataclass(frozen=True, eq=False)
class Design:
    """Model matrix (rows x terms), its term names and the recipe for new data. ``matrix`` holds no missing value."""

    formula: str
    matrix: np.ndarray = field(repr=False)
    terms: tuple[str, ...]
    recipe: object = field(repr=False)
    intercept: bool

    def rows(self, newdata) -> np.ndarray:
        """Model matrix of new data, coded as in the fit. Raises ArgumentError for a column, level or value it cannot use."""
        if newdata is None:
            if self.terms not in ((), ("Intercept",)):
                raise ArgumentError("newdata", f"is needed, since the answer depends on {self.formula}", "Give a frame with these columns.")
            return np.ones((1, len(self.terms)))
        new = pd.DataFrame(newdata).reset_index(drop=True)
        if self.terms == ("Intercept",):
            return np.ones((len(new), 1))
        complete(new, self.recipe.formula.required_variables, "newdata")
        return built(self.recipe, new, "newdata", self.intercept)[0]


def design(frame, formula: str, *, intercept: bool = True) -> Design:
    """Model matrix of ``formula`` (right-hand side only; "1" for no covariate) on ``frame``.

    ``intercept=False`` codes factors as if there were an intercept and leaves it out, as a Cox model needs it. Raises
    ArgumentError for a syntax error, a column the frame lacks, a missing value, or terms that repeat one another.
    """
    from formulaic import Formula
    from formulaic.errors import FormulaParsingError, FormulaSyntaxError

    if not isinstance(formula, str):
        raise ArgumentError("formula", f"must be text, not {type(formula).__name__}", 'Write the right-hand side, as in "age + arch".')
    text = formula.strip().removeprefix("~").strip() or "1"
    if "~" in text:
        raise ArgumentError("formula", "names an outcome", 'Write the right-hand side only, as in "age + arch"; the times are given by name.')
    try:
        parsed = Formula(text if intercept else f"{text} + 1")
    except (FormulaSyntaxError, FormulaParsingError) as problem:
        said = str(problem).split("\n")[0]
        raise ArgumentError("formula", f"{text!r} cannot be read: {said}", 'Write terms joined by +, as in "age + arch".') from None
    frame = as_frame(frame)
    complete(frame, parsed.required_variables, "formula")
    matrix, terms, recipe = built(parsed, frame, "formula", intercept)
    return Design(text, matrix, terms, recipe, intercept)


def as_frame(frame) -> pd.DataFrame:
    """``frame`` as a DataFrame with rows numbered from 0. Raises ArgumentError if it is none or has no row."""
    if not isinstance(frame, pd.DataFrame):
        try:
            frame = pd.DataFrame(frame)
        except (TypeError, ValueError):
            raise ArgumentError("frame", f"is a {type(frame).__name__}", "Pass a DataFrame with one row per part.") from None
    if frame.empty:
        raise ArgumentError("frame", "has no row", "Check the filter that made it.")
    return frame.reset_index(drop=True)


def read_column(frame: pd.DataFrame, argument: str, name):
    """The column called ``name``. Raises ArgumentError naming the argument and the columns there are."""
    if not isinstance(name, str) or name not in frame.columns:
        raise ArgumentError(argument, f"names no column of the frame ({name!r})", "Columns: " + ", ".join(map(str, frame.columns)) + ".")
    return frame[name].to_numpy() if not isinstance(frame[name].dtype, pd.CategoricalDtype) else pd.Series(frame[name].astype(object))


def read_numbers(frame: pd.DataFrame, argument: str, name, *, finite: bool = True) -> np.ndarray:
    """The column called ``name`` as floats, checked. Dates are refused: a time counts from the part's first day."""
    values = read_column(frame, argument, name)
    kind = frame[name].dtype
    if pd.api.types.is_datetime64_any_dtype(kind) or pd.api.types.is_timedelta64_dtype(kind):
        raise ArgumentError(argument, f"the column {name!r} holds dates", "Give times since the part was fitted, as numbers.")
    if pd.api.types.is_extension_array_dtype(kind) and pd.api.types.is_numeric_dtype(kind):
        values = frame[name].to_numpy(dtype=float, na_value=np.nan)
    return as_numbers(argument, values, finite=finite, length=len(frame))


def cluster_codes(frame: pd.DataFrame, name: str | None) -> np.ndarray | None:
    """Cluster number (0, 1, ...) of each row, or None. Raises ArgumentError for a missing label or a single cluster."""
    if name is None:
        return None
    codes, labels = as_codes("cluster", read_column(frame, "cluster", name), length=len(frame))
    if len(labels) < 2:
        raise ArgumentError("cluster", "puts every row in one cluster", "A robust error needs two or more; leave cluster out or name another column.")
    return codes


def complete(frame: pd.DataFrame, needed, argument: str) -> None:
    """Raises ArgumentError for a column that ``frame`` lacks or that holds a missing value."""
    for name in sorted(str(n) for n in needed if n not in ("np",)):
        if name not in frame.columns:
            raise ArgumentError(argument, f"needs the column {name!r}, which is not there", "Columns: " + (", ".join(map(str, frame.columns)) or "none") + ".")
        missing = frame[name].isna().to_numpy()
        if missing.any():
            raise ArgumentError(argument, f"the column {name!r} holds a missing value", 'Drop those rows, or give them a level "unknown".', int(np.argmax(missing)))


def built(recipe, frame: pd.DataFrame, argument: str, intercept: bool):
    """(matrix, terms, recipe for new data) of a formula or a recipe on ``frame``. Raises ArgumentError for what cannot be evaluated and for values that are not finite."""
    from formulaic.errors import DataMismatchWarning, FactorEncodingError, FactorEvaluationError, FormulaMaterializationError

    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error", DataMismatchWarning)
            made = recipe.get_model_matrix(frame, na_action="ignore", context={"np": np})
    except DataMismatchWarning as problem:
        level = str(problem).partition("{")[2].partition("}")[0]
        raise ArgumentError(argument, f"holds a level the fit did not see ({level})", "Use the levels of the fitted frame.") from None
    except (FactorEvaluationError, FactorEncodingError, FormulaMaterializationError) as problem:
        raise ArgumentError(argument, f"cannot be evaluated: {str(problem).splitlines()[0]}", "Use columns of the frame and functions such as log, C, bs.") from None
    matrix, terms = made.to_numpy(dtype=float), tuple(map(str, made.columns))
    if not intercept:
        keep = [k for k, term in enumerate(terms) if term != "Intercept"]
        matrix, terms = matrix[:, keep], tuple(terms[k] for k in keep)
    bad = ~np.isfinite(matrix).all(axis=1)
    if bad.any():
        raise ArgumentError(argument, "gives a value that is not finite", "Look at logarithms of 0 and divisions by 0.", int(np.argmax(bad)))
    return matrix, terms, made.model_spec


def centred(made: Design) -> np.ndarray:
    """The matrix less its column means. Raises ArgumentError for a term that is the same in every row."""
    matrix = made.matrix - made.matrix.mean(axis=0)
    still = np.abs(matrix).max(axis=0) <= 1e-12 * np.abs(made.matrix).max(axis=0)
    if still.any():
        raise ArgumentError("formula", f"{made.terms[int(np.argmax(still))]} is the same in every row", "Drop the term.")
    return matrix


def orthonormal(matrix: np.ndarray, terms, weights=None) -> tuple[np.ndarray, np.ndarray]:
    """(Q, back) with Q = matrix @ back and columns of Q orthogonal of mean square 1.

    Working in Q makes a fit blind to the units of the covariates. Raises ArgumentError naming the terms when one column is a
    combination of the others.
    """
    n, p = matrix.shape
    if p == 0:
        return matrix, np.zeros((0, 0))
    length = np.sqrt(np.mean(matrix**2, axis=0))
    zero = length == 0
    if zero.any():
        raise ArgumentError("formula", f"{terms[int(np.argmax(zero))]} is 0 in every row", "Drop the term, or the level that no row has.")
    scaled = matrix / length
    q, r = np.linalg.qr(scaled)
    if n < p or (np.abs(np.diag(r)) < RANK_TOLERANCE * np.sqrt(n)).any():
        raise ArgumentError("formula", repeated(scaled, terms), "Leave one of them out.")
    return q * np.sqrt(n), (np.linalg.inv(r) * np.sqrt(n)) / length[:, None]


def repeated(scaled: np.ndarray, terms) -> str:
    """Which terms say the same thing, in words: the null direction of the matrix names them."""
    direction = np.linalg.svd(scaled, full_matrices=True)[2][-1]
    involved = [t for t, d in zip(terms, np.abs(direction)) if d > 1e-6 * np.abs(direction).max()]
    return "the terms " + ", ".join(involved) + " say the same thing (one is a combination of the others)"
