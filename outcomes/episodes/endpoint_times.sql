-- title: Endpoint times
-- made as: view
-- grain: one row per endpoint and unit, excluded ones too
-- key: endpoint, unit_id
-- needs: endpoint_days, unit_names, plan_endpoints
--
-- The days of endpoint_days with the names of the log. right_look and right_care are the same day R: what differs between the two rules is how far the
-- unit is known to have been without the event. left_day and right_day follow the endpoint's own noticed_by. Excluded units have no days.
--
-- example:
--   plan_endpoints
--   | endpoint | name        | noticed_by  |
--   | 0        | insert worn | examination |
--   unit_names
--   | kind   | unit | unit_kind | unit_id                | patient_id | serial | first_insert | level |
--   | insert | 71   | insert    | P1/lower/1/33/insert/1 | P1         | 1      | true         | light |
--   endpoint_days
--   | follow_up           | endpoint | kind   | unit | fresh | excluded | observed | entry_day | left_look | left_care | left_day | right_day | found_day | found_day_other | cause | found_at |
--   | whole               | 0        | insert | 71   | true  |          | true     | 0         | 181       | 181       | 181      | 365       | 365       | 365             | event | recall   |
--   | until the first gap | 0        | insert | 71   | true  |          | false    | 0         | 181       | 181       | 181      |           | 181       | 300             |       |          |
--   gives
--   | endpoint    | unit_id                | left_look | right_look | left_care | right_care | left_day | right_day | found_day | observed | cause | found_at |
--   | insert worn | P1/lower/1/33/insert/1 | 181       | 365        | 181       | 365        | 181      | 365       | 365       | true     | event | recall   |
select
    plan_endpoints.name as endpoint, plan_endpoints.noticed_by,
    unit_names.unit_kind, unit_names.unit_id, unit_names.patient_id, unit_names.denture_id, unit_names.arch, unit_names.position, unit_names.serial, unit_names.first_insert,
    endpoint_days.excluded::varchar as excluded, endpoint_days.fresh, endpoint_days.entry_day,
    endpoint_days.left_look, endpoint_days.right_day as right_look, endpoint_days.left_care, endpoint_days.right_day as right_care,
    endpoint_days.left_day, endpoint_days.right_day, endpoint_days.found_day, endpoint_days.found_day_other,
    endpoint_days.observed, endpoint_days.cause::varchar as cause, endpoint_days.competing_day, endpoint_days.found_at::varchar as found_at,
    endpoint_days.noticed_left, endpoint_days.noticed_right, endpoint_days.noticed_outside,
    unit_names.level, unit_names.retention_n, unit_names.attachment, unit_names.pick_up, unit_names.sites, unit_names.opposing, unit_names.divergence_deg
from endpoint_days
join plan_endpoints using (endpoint)
join unit_names on unit_names.kind = endpoint_days.kind and unit_names.unit = endpoint_days.unit
where endpoint_days.follow_up = 'whole'
