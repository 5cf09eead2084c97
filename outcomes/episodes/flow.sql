-- title: Who is in it, and who is not and why
-- made as: view
-- grain: one row per endpoint and reason
-- key: endpoint, excluded
-- needs: endpoint_days, plan_endpoints
--
-- The blank reason is what was analysed. Patients are counted once per row; a patient with one unit in and one out stands in both.
--
-- example:
--   plan_endpoints
--   | endpoint | name        |
--   | 0        | insert worn |
--   endpoint_days
--   | until_gap | endpoint | unit | patient | excluded      | observed |
--   | false     | 0        | 71   | 1       |               | true     |
--   | false     | 0        | 72   | 1       | unknown start | false    |
--   | false     | 0        | 73   | 2       |               | false    |
--   | true      | 0        | 73   | 2       |               | false    |
--   gives
--   | endpoint    | excluded      | units | patients | events | patients_with_events |
--   | insert worn |               | 2     | 2        | 1      | 1                    |
--   | insert worn | unknown start | 1     | 1        | 0      | 0                    |
select
    plan_endpoints.name as endpoint,
    endpoint_days.excluded::varchar as excluded,
    count(*) as units,
    count(distinct patient) as patients,
    count(*) filter (observed) as events,
    count(distinct patient) filter (observed) as patients_with_events
from endpoint_days
join plan_endpoints using (endpoint)
where not until_gap
group by all
order by all
