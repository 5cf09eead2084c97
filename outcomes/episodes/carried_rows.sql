-- title: Inserts and clips that went with their housing
-- grain: one row per housing that went at a visit where its insert, or clip, is not listed
-- key: denture, seq, position, part
-- needs: part_rows
--
-- An insert is carried by its housing: a housing replaced, removed or lost takes its insert along unless the insert has a row of its own that day.
-- The row made here has no effect where no insert, or clip, was in place.
--
-- example:
--   part_rows
--   | patient | denture | position | part    | seq | day_first  | day_last   | finding  | action          |
--   | 1       | 5       | 33       | housing | 2   | 2024-02-01 | 2024-02-01 | debonded | replaced        |
--   | 1       | 5       | 43       | housing | 2   | 2024-02-01 | 2024-02-01 | debonded | replaced        |
--   | 1       | 5       | 43       | insert  | 2   | 2024-02-01 | 2024-02-01 | sound    | replaced        |
--   | 1       | 5       | 33       | housing | 3   | 2024-03-01 | 2024-03-01 | debonded | picked up again |
--   gives
--   | denture | position | part   | seq | finding     | action  |
--   | 5       | 33       | insert | 2   | not checked | removed |
--   | 5       | 33       | clip   | 2   | not checked | removed |
--   | 5       | 43       | clip   | 2   | not checked | removed |
with gone as (
    select patient, denture, position, seq, day_first, day_last, may_overlap, reason, seen_before
    from part_rows
    where part = 'housing'
        and (action = 'replaced' or (lets_go(finding, action) and action not in ('fitted', 'moved')))
)
select
    gone.*, carried.part::part_word as part, 'not checked'::finding_word as finding, 'removed'::action_word as action
from gone
cross join (values ('insert'), ('clip')) as carried (part)
anti join (select denture, seq, position, part from part_rows where part in ('insert', 'clip')) as listed
    on listed.denture = gone.denture and listed.seq = gone.seq and listed.position = gone.position and listed.part = carried.part::part_word
