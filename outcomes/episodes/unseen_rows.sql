-- title: Parts listed as not seen at a visit that looked at all others
-- grain: one row of the parts log of this sort
-- key: log_row
-- needs: part_rows
--
-- "All were checked" and a row "not checked" for one part: the row stands. The visit is then no look at that part, and what was known of it is what was known
-- before: known_before, the last look that an earlier visit implied without such a row.
--
-- example:
--   part_rows
--   | patient | denture | position | part   | seq | day_first  | finding     | implied | seen_before |
--   | 1       | 5       | 33       | insert | 3   | 2024-01-01 | not checked | true    | 2023-07-01  |
--   | 1       | 5       | 33       | insert | 5   | 2024-07-01 | not checked | true    | 2024-01-01  |
--   | 1       | 5       | 33       | insert | 7   | 2025-01-01 | worn        | true    | 2024-07-01  |
--   gives
--   | log_row | unseen_on  | known_before |
--   | 0       | 2024-01-01 | 2023-07-01   |
--   | 1       | 2024-07-01 | 2023-07-01   |
with unseen as (
    select
        rowid as log_row, patient, denture, position, part, seq, day_first, seen_before,
        lag(day_first) over (partition by patient, denture, position, part order by seq) as unseen_before
    from part_rows
    where implied and finding in ('not checked', 'notes silent', 'covered', 'tissue grown over')
)
select
    log_row, day_first as unseen_on,
    max(case when unseen_before is null or seen_before > unseen_before then seen_before end)
        over (partition by patient, denture, position, part order by seq rows between unbounded preceding and current row) as known_before
from unseen
