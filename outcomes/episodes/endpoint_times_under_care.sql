-- title: Endpoint times with care ending at the first long gap between contacts
-- made as: view
-- grain: one row per endpoint and unit, excluded ones too
-- key: endpoint, unit_id
-- needs: endpoint_times, endpoint_days, unit_names, plan_endpoints
--
-- The sensitivity line for silent leavers: for everybody whose contacts show a gap, failed later or not, what came after it does not count.
-- Never the un-failed alone: that would bias the curve by as much as it tries to mend. Columns as in endpoint_times.
--
-- example:
--   plan_endpoints
--   | endpoint | name        | noticed_by  |
--   | 0        | insert worn | examination |
--   unit_names
--   | kind   | unit | unit_id |
--   | insert | 71   | a       |
--   | insert | 72   | b       |
--   endpoint_days
--   | until_gap | endpoint | kind   | unit | observed | left_look | right_day |
--   | false     | 0        | insert | 71   | true     | 181      | 1365      |
--   | true      | 0        | insert | 71   | false    | 181      |           |
--   | false     | 0        | insert | 72   | true     | 181      | 365       |
--   endpoint_times
--   | endpoint    | unit_id | observed | left_day | right_day |
--   | insert worn | a       | true     | 181      | 1365      |
--   | insert worn | b       | true     | 181      | 365       |
--   gives
--   | endpoint    | unit_id | observed | left_day | right_day |
--   | insert worn | a       | false    | 181      |           |
--   | insert worn | b       | true     | 181      | 365       |
with cut as (
    select
        plan_endpoints.name as endpoint, unit_names.unit_id, endpoint_days.* exclude (endpoint, noticed_left, noticed_right),
        case when noticed_by = 'examination' then left_look else left_care end as left_day,
        case when observed then found_day when noticed_by = 'examination' then left_care else left_look end as found_day_other,
        coalesce(endpoint_days.noticed_left, left_day) as noticed_left,
        coalesce(endpoint_days.noticed_right, endpoint_days.right_day) as noticed_right
    from endpoint_days
    join plan_endpoints using (endpoint)
    join unit_names on unit_names.kind = endpoint_days.kind and unit_names.unit = endpoint_days.unit
    where endpoint_days.until_gap
)
select
    endpoint_times.* replace (
        case when cut.unit is null then endpoint_times.excluded else cut.excluded::varchar end as excluded,
        case when cut.unit is null then endpoint_times.entry_day else cut.entry_day end as entry_day,
        case when cut.unit is null then endpoint_times.left_look else cut.left_look end as left_look,
        case when cut.unit is null then endpoint_times.right_look else cut.right_day end as right_look,
        case when cut.unit is null then endpoint_times.left_care else cut.left_care end as left_care,
        case when cut.unit is null then endpoint_times.right_care else cut.right_day end as right_care,
        case when cut.unit is null then endpoint_times.left_day else cut.left_day end as left_day,
        case when cut.unit is null then endpoint_times.right_day else cut.right_day end as right_day,
        case when cut.unit is null then endpoint_times.found_day else cut.found_day end as found_day,
        case when cut.unit is null then endpoint_times.found_day_other else cut.found_day_other end as found_day_other,
        case when cut.unit is null then endpoint_times.observed else cut.observed end as observed,
        case when cut.unit is null then endpoint_times.cause else cut.cause::varchar end as cause,
        case when cut.unit is null then endpoint_times.competing_day else cut.competing_day end as competing_day,
        case when cut.unit is null then endpoint_times.found_at else cut.found_at::varchar end as found_at,
        case when cut.unit is null then endpoint_times.noticed_left else cut.noticed_left end as noticed_left,
        case when cut.unit is null then endpoint_times.noticed_right else cut.noticed_right end as noticed_right
    )
from endpoint_times
left join cut on cut.endpoint = endpoint_times.endpoint and cut.unit_id = endpoint_times.unit_id
