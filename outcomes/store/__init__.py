"""Checked frames into a DuckDB file: one transaction a load, every row with its file, line and load, nothing ever lost."""

from __future__ import annotations

from outcomes.store.changes import Changes, Declined
from outcomes.store.door import open_store
from outcomes.store.report import Counts, LoadReport, UndoReport
from outcomes.store.store import Store

__all__ = ["Changes", "Counts", "Declined", "LoadReport", "Store", "UndoReport", "open_store"]
