-- title: When parts, dentures and implants already in place come under observation
-- grain: one row per unit that was in place before the log and was looked at
-- key: kind, unit
-- needs: life_looks, part_lives, denture_looks, denture_days
--
-- A unit enters on the first day it was looked at (entry_on). Where that first look was at a problem visit it enters at the next look, because its coming
-- was caused by trouble. What was found at the look is judged per endpoint: found failed at first_look_on, it never was at risk here.
--
-- example:
--   part_lives
--   | life | site | serial | part     | arrived | start_known |
--   | 1    | 40   | 1      | insert   | true    | true        |
--   | 2    | 41   | 1      | abutment | true    | true        |
--   | 3    | 42   | 1      | insert   | true    | false       |
--   life_looks
--   | life | seq | looked_on  | at_problem_visit | arrived | start_known |
--   | 1    | 1   | 2023-01-09 | true             | true    | true        |
--   | 1    | 2   | 2023-03-09 | true             | true    | true        |
--   | 2    | 1   | 2023-01-09 | false            | true    | true        |
--   | 3    | 1   | 2023-01-09 | false            | true    | false       |
--   denture_days
--   | denture | fresh | delivered_first | delivered_last |
--   | 5       | false | 2019-01-01      | 2019-12-31     |
--   denture_looks
--   | denture | seq | looked_on  | at_problem_visit |
--   | 5       | 1   | 2023-01-09 | true             |
--   gives
--   | kind     | unit | first_look_on | entry_on   |
--   | insert   | 1    | 2023-01-09    | 2023-03-09 |
--   | abutment | 2    | 2023-01-09    | 2023-01-09 |
--   | implant  | 41   | 2023-01-09    | 2023-01-09 |
--   | denture  | 5    | 2023-01-09    |            |
with looks as (
    select part_lives.part as kind, life as unit, life_looks.seq, looked_on, at_problem_visit
    from life_looks join part_lives using (life)
    where life_looks.arrived and life_looks.start_known
    union all
    select 'implant'::part_word, part_lives.site, life_looks.seq, looked_on, at_problem_visit
    from life_looks join part_lives using (life)
    where life_looks.arrived and life_looks.start_known and part_lives.part = 'abutment' and part_lives.serial = 1
    union all
    select 'denture'::part_word, denture, seq, looked_on, at_problem_visit
    from denture_looks join denture_days using (denture)
    where not denture_days.fresh and looked_on >= denture_days.delivered_last
),
numbered as (
    select *, row_number() over (partition by kind, unit order by seq) as look
    from looks
)
select
    kind, unit,
    min(looked_on) as first_look_on,
    min(looked_on) filter (look > 1 or not at_problem_visit) as entry_on
from numbered
group by kind, unit
