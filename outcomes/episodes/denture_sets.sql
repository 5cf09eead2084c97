-- title: What each denture was delivered with
-- grain: one row per denture with parts
-- key: denture
-- needs: part_lives, part_rows
--
-- sites: positions with a housing, insert or clip. level, attachment and pick_up are those of the first parts; where they differ, "mixed".
--
-- example:
--   part_lives
--   | life | first_row | part    | position | denture | serial |
--   | 1    | 0         | insert  | 33       | 5       | 1      |
--   | 2    | 1         | insert  | 43       | 5       | 1      |
--   | 3    | 2         | insert  | 43       | 5       | 2      |
--   | 4    | 3         | housing | 33       | 5       | 1      |
--   part_rows
--   | level | pick_up   | attachment |
--   | light |           | stud       |
--   | firm  |           | stud       |
--   | light |           | stud       |
--   |       | chairside | stud       |
--   gives
--   | denture | sites | level | attachment | pick_up   |
--   | 5       | 2     | mixed | stud       | chairside |
select
    part_lives.denture,
    count(distinct part_lives.position)::integer as sites,
    case when min(level) < max(level) then 'mixed' else min(level) end as level,
    case when min(attachment) < max(attachment) then 'mixed' else min(attachment)::varchar end as attachment,
    case when min(pick_up) < max(pick_up) then 'mixed' else min(pick_up)::varchar end as pick_up
from part_lives
join (select rowid as first_row, level, attachment, pick_up from part_rows) as fitted using (first_row)
where serial = 1 and part in ('housing', 'insert', 'clip') and denture is not null
group by part_lives.denture
