-- title: How well each endpoint was looked for
-- made as: view
-- grain: one row per endpoint
-- key: endpoint
-- needs: endpoint_days, plan_endpoints, visit_days, settings
--
-- Printed beside every curve: the share of failures found at problem visits, the middle and the 90th centile of R - L, the share of units not failed and
-- still watched that nobody looked at in the last under_care_days, how many were never looked at, and how many patients have no planned visit (review, recall,
-- hygiene) with parts looked at: for an endpoint noticed at examination they can tell nothing.
--
-- example:
--   settings
--   | under_care_days | closing_day |
--   | 550             | 2024-12-31  |
--   plan_endpoints
--   | endpoint | name        | noticed_by  |
--   | 0        | insert worn | examination |
--   visit_days
--   | visit_id | patient | reason | parts_checked |
--   | a        | 1       | recall | all           |
--   | b        | 2       | problem | all          |
--   endpoint_days
--   | until_gap | endpoint | kind   | unit | patient | excluded | observed | left_look | right_day | found_at | noticed_outside | still_watched | last_look  |
--   | false     | 0        | insert | 71   | 1       |          | true     | 181       | 365       | recall   | false           | false         | 2024-01-01 |
--   | false     | 0        | insert | 72   | 1       |          | false    | 0         |           |          | false           | true          | 2023-01-01 |
--   | false     | 0        | insert | 73   | 2       |          | false    | 200       |           |          | false           | true          | 2024-06-01 |
--   gives
--   | endpoint    | units | patients | events | found_at_problem | gap_median | gap_90 | watched | not_seen_lately | never_seen | patients_without_recall |
--   | insert worn | 3     | 2        | 1      | 0                | 184        | 184    | 2       | 1               | 1          | 1                       |
with planned as (
    select distinct patient from visit_days where reason in ('review', 'recall', 'hygiene') and parts_checked in ('all', 'inserts only', 'listed only')
),
counted as (
    select
        endpoint_days.*, planned.patient is null as without_recall,
        coalesce(settings.closing_day - last_look > settings.under_care_days, true) as not_seen
    from endpoint_days
    left join planned on planned.patient = endpoint_days.patient
    cross join settings
    where not endpoint_days.until_gap and endpoint_days.excluded = ''
)
select
    plan_endpoints.name as endpoint, plan_endpoints.noticed_by,
    count(counted.unit) as units,
    count(distinct counted.patient) as patients,
    count(*) filter (observed) as events,
    count(distinct counted.patient) filter (observed) as patients_with_events,
    count(*) filter (observed and found_at = 'problem') as found_at_problem,
    quantile_cont(right_day - left_look, 0.5) filter (observed) as gap_median,
    quantile_cont(right_day - left_look, 0.9) filter (observed) as gap_90,
    count(*) filter (not observed and still_watched) as watched,
    count(*) filter (not observed and still_watched and not_seen) as not_seen_lately,
    count(*) filter (not observed and left_look = 0) as never_seen,
    count(distinct counted.patient) filter (without_recall) as patients_without_recall,
    count(*) filter (noticed_outside) as noticed_outside
from plan_endpoints
left join counted using (endpoint)
group by plan_endpoints.name, plan_endpoints.noticed_by
order by plan_endpoints.name
