"""From a clinic's visit log to honest answers about implant overdentures.

The stages, each usable alone: ``intake`` (file to checked frames), ``store`` (checked frames to DuckDB), ``episodes``
(log to part histories), ``longevity`` and ``satisfaction`` (arrays to results), ``present`` (results to page and figures),
``analyses`` (the reports). Importing this package imports none of them.
"""

from pathlib import Path

__version__ = "0.1.0"

# In a source checkout schemas/, analyses/ and synthetic_data/ stand beside this folder; installed, they stand inside it.
_checkout = Path(__file__).resolve().parent.parent
if (_checkout / "schemas" / "plan.toml").exists():
    __path__.append(str(_checkout))
