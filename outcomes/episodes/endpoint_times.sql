-- title: Endpoint times
-- made as: view
-- grain: one row per endpoint and unit, excluded ones too
-- key: endpoint, unit_id
-- needs: endpoint_days, unit_names, plan_endpoints
--
-- The days of endpoint_days with the names of the log. right_look and right_care are the same day R: what differs between the two rules is how far the
-- unit is known to have been without the event. left_day and right_day follow the endpoint's own noticed_by, found_day_other the other rule; noticed_left and
-- noticed_right are (left_day, right_day] narrowed to when the patient noticed, where that is known. Excluded units have no days.
--
-- example:
--   plan_endpoints
--   | endpoint | name        | noticed_by  |
--   | 0        | insert worn | examination |
--   unit_names
--   | kind   | unit | unit_kind | unit_id                | patient_id | serial | first_insert | level |
--   | insert | 71   | insert    | P1/lower/1/33/insert/1 | P1         | 1      | true         | light |
--   endpoint_days
--   | until_gap | endpoint | kind   | unit | fresh | excluded | observed | entry_day | left_look | left_care | right_day | found_day | cause | found_at |
--   | false     | 0        | insert | 71   | true  |          | true     | 0         | 181       | 181       | 365       | 365       | event | recall   |
--   | true      | 0        | insert | 71   | true  |          | false    | 0         | 181       | 181       |           | 181       |       |          |
--   gives
--   | endpoint    | unit_id                | left_look | right_look | left_care | right_care | left_day | right_day | found_day | observed | cause | found_at |
--   | insert worn | P1/lower/1/33/insert/1 | 181       | 365        | 181       | 365        | 181      | 365       | 365       | true     | event | recall   |
select
    plan_endpoints.name as endpoint, plan_endpoints.noticed_by,
    unit_names.unit_kind, unit_names.unit_id, unit_names.patient_id, unit_names.denture_id, unit_names.arch, unit_names.position, unit_names.serial, unit_names.first_insert,
    endpoint_days.excluded::varchar as excluded, endpoint_days.fresh, endpoint_days.entry_day,
    endpoint_days.left_look, endpoint_days.right_day as right_look, endpoint_days.left_care, endpoint_days.right_day as right_care,
    case when noticed_by = 'examination' then left_look else left_care end as left_day,
    endpoint_days.right_day, endpoint_days.found_day,
    case when observed then found_day when noticed_by = 'examination' then left_care else left_look end as found_day_other,
    endpoint_days.observed, endpoint_days.cause::varchar as cause, endpoint_days.competing_day, endpoint_days.found_at::varchar as found_at,
    coalesce(endpoint_days.noticed_left, left_day) as noticed_left, coalesce(endpoint_days.noticed_right, endpoint_days.right_day) as noticed_right, endpoint_days.noticed_outside,
    unit_names.level, unit_names.retention_n, unit_names.attachment, unit_names.pick_up, unit_names.sites, unit_names.opposing, unit_names.divergence_deg
from endpoint_days
join plan_endpoints using (endpoint)
join unit_names on unit_names.kind = endpoint_days.kind and unit_names.unit = endpoint_days.unit
where not endpoint_days.until_gap
