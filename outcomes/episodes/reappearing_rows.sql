-- title: Parts that show up at a site that was left empty
-- grain: one row of the parts log of this sort
-- key: log_row
-- needs: part_rows, carried_rows
--
-- After a part was removed, lost, left out on purpose or went with its carrier its site is empty until something is fitted. Where the log then speaks of a
-- part that nobody wrote down as fitted, one was put in on an unknown day. A line that says nothing (not checked, nothing done) brings no part back.
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
--   | log_row |
--   | 2       |
--   | 4       |
with places as (
    select
        rowid as log_row, patient, case when part not in ('abutment', 'bar') then denture end as denture, position, part, seq,
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
    select log_row, patient, denture, position, part, seq, empties, silent, speaks
    from places
    semi join emptied on emptied.patient = places.patient and emptied.denture is not distinct from places.denture and emptied.position = places.position and emptied.part = places.part
    union all
    select null, patient, denture, position, part, seq, true, false, false from carried_rows
),
in_turn as (
    select *, last_value(case when not silent then empties end ignore nulls) over (partition by patient, denture, position, part order by seq rows between unbounded preceding and 1 preceding) as was_empty
    from at_emptied_sites
)
select log_row from in_turn where was_empty and speaks and log_row is not null
