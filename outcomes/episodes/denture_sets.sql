-- title: What each denture was delivered with
-- grain: one row per denture with parts
-- key: denture
-- needs: part_lives
--
-- sites: positions with a housing, insert or clip. level, attachment and pick_up are those of the first parts; where they differ, "mixed".
--
-- example:
--   part_lives
--   | life | part    | position | denture | serial | level | attachment | pick_up   |
--   | 1    | insert  | 33       | 5       | 1      | light | stud       |           |
--   | 2    | insert  | 43       | 5       | 1      | firm  | stud       |           |
--   | 3    | insert  | 43       | 5       | 2      | light | stud       |           |
--   | 4    | housing | 33       | 5       | 1      |       | stud       | chairside |
--   gives
--   | denture | sites | level | attachment | pick_up   |
--   | 5       | 2     | mixed | stud       | chairside |
select
    denture,
    count(distinct position) as sites,
    case when min(level) filter (part = 'insert') < max(level) filter (part = 'insert') then 'mixed' else min(level) filter (part = 'insert') end as level,
    case when min(attachment) < max(attachment) then 'mixed' else min(attachment)::varchar end as attachment,
    case when min(pick_up) < max(pick_up) then 'mixed' else min(pick_up)::varchar end as pick_up
from part_lives
where serial = 1 and part in ('housing', 'insert', 'clip') and denture is not null
group by denture
