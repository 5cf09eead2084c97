-- title: Distinct intervals and how many units share them
-- made as: view
-- grain: one row per endpoint, stratum and (L, R]
-- key: endpoint, first_insert, arch, level, attachment, left_day, right_day
-- needs: endpoint_days, unit_names, plan_endpoints
--
-- Units observed from day 0 only: the interval-censored curve is not usable with late entry. right_day is infinite where nothing was found.
-- Sources: Frydman, J R Stat Soc B 1994;56:71; Pan & Chappell, Lifetime Data Anal 1999;5:281; Hudgens, J R Stat Soc B 2005;67:573.
--
-- example:
--   plan_endpoints
--   | endpoint | name        | noticed_by  |
--   | 0        | insert worn | examination |
--   unit_names
--   | kind   | unit | first_insert | arch  | level | attachment |
--   | insert | 71   | true         | lower | light | stud       |
--   | insert | 72   | true         | lower | light | stud       |
--   | insert | 73   | false        | lower | light | stud       |
--   endpoint_days
--   | until_gap | endpoint | kind   | unit | excluded | fresh | left_look | right_day |
--   | false     | 0        | insert | 71   |          | true  | 181      | 365       |
--   | false     | 0        | insert | 72   |          | true  | 181      | 365       |
--   | false     | 0        | insert | 73   |          | false | 181      |           |
--   gives
--   | endpoint    | first_insert | arch  | level | attachment | left_day | right_day | units |
--   | insert worn | true         | lower | light | stud       | 181      | 365       | 2     |
select
    plan_endpoints.name as endpoint, unit_names.first_insert, unit_names.arch, coalesce(unit_names.level, '') as level, coalesce(unit_names.attachment, '') as attachment,
    case when noticed_by = 'examination' then left_look else left_care end as left_day,
    coalesce(endpoint_days.right_day::double, 'infinity'::double) as right_day,
    count(*) as units
from endpoint_days
join plan_endpoints using (endpoint)
join unit_names on unit_names.kind = endpoint_days.kind and unit_names.unit = endpoint_days.unit
where not endpoint_days.until_gap and endpoint_days.excluded = '' and endpoint_days.fresh
group by all
