-- title: Inserts and clips that went with their housing
-- grain: one row per housing that went at a visit where its insert, or clip, is not listed
-- key: visit, position, part
-- needs: part_rows
--
-- An insert is carried by its housing: a housing replaced, removed or lost takes its insert along unless the insert has a row of its own that day.
-- The row made here has no effect where no insert, or clip, was in place.
--
-- example:
--   part_rows
--   | visit | patient | denture | position | part    | seq | day_first  | day_last   | finding  | action          |
--   | 2     | 1       | 5       | 33       | housing | 2   | 2024-02-01 | 2024-02-01 | debonded | replaced        |
--   | 2     | 1       | 5       | 43       | housing | 2   | 2024-02-01 | 2024-02-01 | debonded | replaced        |
--   | 2     | 1       | 5       | 43       | insert  | 2   | 2024-02-01 | 2024-02-01 | sound    | replaced        |
--   | 3     | 1       | 5       | 33       | housing | 3   | 2024-03-01 | 2024-03-01 | debonded | picked up again |
--   gives
--   | visit | patient | denture | position | part   | seq | finding     | action  |
--   | 2     | 1       | 5       | 33       | insert | 2   | not checked | removed |
--   | 2     | 1       | 5       | 33       | clip   | 2   | not checked | removed |
--   | 2     | 1       | 5       | 43       | clip   | 2   | not checked | removed |
with gone as (
    select visit, patient, denture, position, seq, day_first, day_last, reason, seen_before
    from part_rows
    where part = 'housing'
        and (action in ('replaced', 'removed', 'left out on purpose') or (finding in ('lost', 'not present') and action = 'none'))
)
select
    gone.visit, gone.patient, gone.denture, gone.position, carried.part::part_word as part,
    gone.seq, gone.day_first, gone.day_last, gone.reason, gone.seen_before,
    'not checked'::finding_word as finding, 'removed'::action_word as action
from gone
cross join (values ('insert'), ('clip')) as carried (part)
anti join (select visit, denture, position, part from part_rows where part in ('insert', 'clip')) as listed
    on listed.visit = gone.visit and listed.denture = gone.denture and listed.position = gone.position and listed.part = carried.part::part_word
