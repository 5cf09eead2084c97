-- title: When a failure was noticed, and since when a part was in place
-- grain: one row of the parts log that says either
-- key: patient, seq, position, part
-- needs: parts_log, visit_days
--
-- Dates as precise as written: first and last possible day.
--
-- example:
--   visit_days
--   | visit_id | patient | seq |
--   | b        | 1       | 2   |
--   parts_log
--   | visit_id | position | part   | noticed_on | noticed_on_precision | in_place_since | in_place_since_precision |
--   | b        | 33       | insert | 2024-01-01 | month                |                |                          |
--   | b        | 43       | insert |            |                      | 2019-01-01     | year                     |
--   | b        | 35       | insert |            |                      |                | not known                |
--   gives
--   | patient | seq | position | part   | noticed_first | noticed_last | since_first | since_last |
--   | 1       | 2   | 33       | insert | 2024-01-01    | 2024-01-31   |             |            |
--   | 1       | 2   | 43       | insert |               |              | 2019-01-01  | 2019-12-31 |
select
    visit_days.patient, visit_days.seq,
    position::position_word as position,
    part::part_word as part,
    noticed_on as noticed_first,
    last_possible(noticed_on, noticed_on_precision) as noticed_last,
    in_place_since as since_first,
    last_possible(in_place_since, in_place_since_precision) as since_last
from parts_log
join visit_days using (visit_id)
where noticed_on is not null or in_place_since is not null
