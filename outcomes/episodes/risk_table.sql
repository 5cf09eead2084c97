-- title: Counts per day for curves on the day found
-- made as: view
-- grain: one row per endpoint, stratum and day
-- key: endpoint, first_insert, arch, level, attachment, day
-- needs: endpoint_days, unit_names, plan_endpoints
--
-- entered: units whose entry lies on that day (day 0: fresh ones); failed: found failed on that day; left: their watching ended on that day. At risk on day t:
-- entry before t and end at t or later, so all that a curve or a test needs is here, however long the log is. Counts are units, not patients.
--
-- example:
--   plan_endpoints
--   | endpoint | name        |
--   | 0        | insert worn |
--   unit_names
--   | kind   | unit | first_insert | arch  | level | attachment |
--   | insert | 71   | true         | lower | light | stud       |
--   | insert | 72   | true         | lower | light | stud       |
--   endpoint_days
--   | until_gap | endpoint | kind   | unit | excluded | entry_day | found_day | observed |
--   | false     | 0        | insert | 71   |          | 0         | 365       | true     |
--   | false     | 0        | insert | 72   |          | 0         | 365       | false    |
--   gives
--   | endpoint    | first_insert | arch  | level | attachment | day | entered | failed | left |
--   | insert worn | true         | lower | light | stud       | 0   | 2       | 0      | 0    |
--   | insert worn | true         | lower | light | stud       | 365 | 0       | 1      | 1    |
with moves as (
    select endpoint, kind, unit, entry_day as day, 1 as entered, 0 as failed, 0 as "left" from endpoint_days where not until_gap and excluded = ''
    union all
    select endpoint, kind, unit, found_day, 0, observed::integer, (not observed)::integer from endpoint_days where not until_gap and excluded = ''
)
select
    plan_endpoints.name as endpoint, unit_names.first_insert, unit_names.arch, coalesce(unit_names.level, '') as level, coalesce(unit_names.attachment, '') as attachment, moves.day,
    sum(entered)::bigint as entered, sum(failed)::bigint as failed, sum("left")::bigint as "left"
from moves
join plan_endpoints using (endpoint)
join unit_names on unit_names.kind = moves.kind and unit_names.unit = moves.unit
group by all
