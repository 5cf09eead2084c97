-- title: Every look at each part
-- made as: view
-- grain: one row per part and visit at which it was looked at
-- key: life, seq
-- needs: part_lives, part_history, visit_days
--
-- Listed looks and those the visit implies. A part already in place can have been looked at from the first visit after the day it is known to have been
-- there. The visit at which a part went shows the old part, not the new.
--
-- example:
--   part_lives
--   | life | site | serial | part   | position | patient | arrived | first_seq | last_seq | by_row | fitted_last | end_first  |
--   | 28673| 7    | 1      | insert | 33       | 1       | false   | 1         | 4        | true   | 2023-01-09  | 2024-02-10 |
--   part_history
--   | site | seq | part   | serial_before | looked | finding     |
--   | 7    | 1   | insert | 0             | false  | not present |
--   | 7    | 3   | insert | 1             | false  | not checked |
--   | 7    | 4   | insert | 1             | true   | worn        |
--   visit_days
--   | visit_id | patient | seq | day_first  | reason   | lower_inserts |
--   | a        | 1       | 1   | 2023-01-09 | delivery | true          |
--   | b        | 1       | 2   | 2023-07-01 | recall   | true          |
--   | c        | 1       | 3   | 2024-01-10 | recall   | true          |
--   | d        | 1       | 4   | 2024-02-10 | problem  | false         |
--   gives
--   | life  | seq | looked_on  | at_problem_visit | finding |
--   | 28673 | 2   | 2023-07-01 | false            |         |
--   | 28673 | 4   | 2024-02-10 | true             | worn    |
select
    part_lives.life, part_lives.patient, part_lives.arrived, part_lives.start_known, visit_days.seq, visit_days.day_first as looked_on,
    visit_days.reason = 'problem' as at_problem_visit, part_history.finding
from part_lives
join visit_days
    on visit_days.patient = part_lives.patient
    and visit_days.day_first <= part_lives.end_first
    and (part_lives.last_seq is null or not part_lives.by_row or visit_days.seq <= part_lives.last_seq)
    and (visit_days.seq > part_lives.first_seq or (part_lives.arrived and visit_days.day_first >= part_lives.fitted_last))
left join part_history on part_history.site = part_lives.site and part_history.seq = visit_days.seq
where
    case
        when part_history.seq is not null then part_history.looked and part_history.serial_before = part_lives.serial
        when arch_of(part_lives.position) = 'upper' then
            case
                when part_lives.part in ('insert', 'clip') then visit_days.upper_inserts
                when part_lives.part in ('housing', 'bond') then visit_days.upper_housings
                else visit_days.upper_abutments
            end
        when part_lives.part in ('insert', 'clip') then visit_days.lower_inserts
        when part_lives.part in ('housing', 'bond') then visit_days.lower_housings
        else visit_days.lower_abutments
    end
