"""From the log to part histories: SQL files beside this one, each a derived table with its grain, key, needs and a worked example.

``build(connection, plan)`` runs them into temporary tables. Read next: ``episodes`` (physical life of each part), ``episode_events`` (mended in place),
``endpoint_times`` (when each endpoint happened to each unit), ``flow`` (who is left out and why), ``endpoint_counts`` (how well each endpoint was looked
for), ``guard``, and the counts that estimators finish on: ``risk_table`` and ``interval_table``.
"""

from outcomes.episodes.build import Built, build

__all__ = ["Built", "build"]
