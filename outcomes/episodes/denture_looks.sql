-- title: Looks at dentures, and what was found
-- grain: one row per denture and visit at which it was in somebody's hands
-- key: denture, seq
-- needs: denture_log, denture_days, visit_days, plan_endpoints
--
-- A visit at which its inserts were checked is a look at the denture: a broken base would have been seen. So is a line of the denture log that says what
-- was found. looked_before: the last earlier look. Made only where an endpoint asks for dentures.
--
-- example:
--   denture_days
--   | denture | denture_id | patient | arch  | end_day    |
--   | 5       | P1/lower/1 | 1       | lower | 2024-12-31 |
--   visit_days
--   | visit_id | patient | seq | day_first  | reason  | lower_inserts | upper_inserts | may_overlap |
--   | a        | 1       | 1   | 2023-01-09 | recall  | true          | false         | false       |
--   | b        | 1       | 2   | 2024-01-10 | problem | false         | true          | false       |
--   | c        | 1       | 3   | 2024-02-10 | problem | false         | false         | false       |
--   plan_endpoints
--   | endpoint | kind    |
--   | 0        | denture |
--   denture_log
--   | visit_id | denture_id | finding        | action   |
--   | b        | P1/lower/1 | base fractured | repaired |
--   | b        | P1/lower/1 | tooth worn     | none     |
--   | c        | P1/lower/1 | not recorded   | relined  |
--   gives
--   | denture | seq | looked_on  | at_problem_visit | looked_before |
--   | 5       | 1   | 2023-01-09 | false            |               |
--   | 5       | 2   | 2024-01-10 | true             | 2023-01-09    |
with listed as (
    select denture_days.denture, visit_days.seq, visit_days.day_first, visit_days.reason
    from denture_log
    join visit_days using (visit_id)
    join denture_days using (denture_id)
    where denture_log.finding <> 'not recorded' and not visit_days.may_overlap and 'denture' in (select kind from plan_endpoints)
    union
    select denture_days.denture, visit_days.seq, visit_days.day_first, visit_days.reason
    from denture_days
    join visit_days using (patient)
    where case denture_days.arch when 'upper' then visit_days.upper_inserts else visit_days.lower_inserts end
        and visit_days.day_first <= denture_days.end_day and 'denture' in (select kind from plan_endpoints)
)
select
    denture, seq, day_first as looked_on, reason = 'problem' as at_problem_visit,
    max(day_first) over (partition by denture order by seq rows between unbounded preceding and 1 preceding) as looked_before
from listed
