-- title: What became of sites that were left empty
-- grain: one row of the parts log at such a site
-- key: log_row
-- needs: part_rows, carried_rows
--
-- After a part was removed, lost, left out on purpose or went with its carrier its site is empty until something is fitted. Where the log then speaks of a
-- part that nobody wrote down as fitted, one was put in on an unknown day: it reappears. A line that says nothing (not checked, nothing done) brings none back.
-- was_empty: nothing was there when the patient came, as far as the log tells. reappeared: how often so far. Rows made for carried parts have negative numbers.
--
-- example:
--   carried_rows
--   | patient | denture | position | part   | seq | finding     | action  |
--   | 1       | 5       | 43       | insert | 2   | not checked | removed |
--   part_rows
--   | patient | denture | position | part    | seq | finding     | action   |
--   | 1       | 5       | 33       | insert  | 2   | sound       | removed  |
--   | 1       | 5       | 33       | insert  | 3   | not checked | none     |
--   | 1       | 5       | 33       | insert  | 4   | worn        | replaced |
--   | 1       | 5       | 33       | insert  | 5   | sound       | none     |
--   | 1       | 5       | 43       | insert  | 3   | sound       | none     |
--   | 1       | 5       | 35       | insert  | 3   | sound       | none     |
--   gives
--   | log_row | was_empty | reappears | reappeared |
--   | 0       | false     | false     | 0          |
--   | 1       | true      | false     | 0          |
--   | 2       | true      | true      | 1          |
--   | 3       | false     | false     | 1          |
--   | -1      | false     | false     | 0          |
--   | 4       | true      | true      | 1          |
with places as (
    select
        rowid as log_row, case when part in ('abutment', 'bar') then null else denture end as denture, patient, position, part, seq,
        lets_go(finding, action) and not coalesce(taken_over, false) and action not in ('fitted', 'replaced') as empties,
        says_nothing(finding, action) as silent,
        action <> 'fitted' and finding <> 'not present' and not silent and not (empties and finding in ('not checked', 'notes silent', 'lost')) as speaks
    from part_rows
),
emptied as (
    select patient, denture, position, part from places where empties
    union
    select patient, denture, position, part from carried_rows
),
at_emptied_sites as (
    select places.*
    from places
    semi join emptied on emptied.patient = places.patient and emptied.denture is not distinct from places.denture and emptied.position = places.position and emptied.part = places.part
    union all by name
    select -1 - rowid as log_row, denture, patient, position, part, seq, true as empties, false as silent, false as speaks from carried_rows
),
in_turn as (
    select
        *,
        coalesce(last_value(case when not silent then empties end ignore nulls) over (partition by patient, denture, position, part order by seq rows between unbounded preceding and 1 preceding), false) as was_empty
    from at_emptied_sites
)
select
    log_row, was_empty,
    was_empty and speaks as reappears,
    (count(*) filter (was_empty and speaks) over (partition by patient, denture, position, part order by seq rows between unbounded preceding and current row))::integer as reappeared
from in_turn
