-- title: Counts per patient and day for patient-robust errors
-- made as: view
-- grain: one row per endpoint, stratum, patient and day
-- key: endpoint, first_insert, arch, level, attachment, patient_id, day
-- needs: endpoint_days, unit_names, plan_endpoints
--
-- As risk_table, one line for each patient: the parts of one mouth fail together, so that errors are summed within patients.
--
-- example:
--   plan_endpoints
--   | endpoint | name        |
--   | 0        | insert worn |
--   unit_names
--   | kind   | unit | patient_id | first_insert | arch  | level | attachment |
--   | insert | 71   | P1         | true         | lower | light | stud       |
--   | insert | 72   | P2         | true         | lower | light | stud       |
--   endpoint_days
--   | until_gap | endpoint | kind   | unit | excluded | entry_day | found_day | observed |
--   | false     | 0        | insert | 71   |          | 0         | 365       | true     |
--   | false     | 0        | insert | 72   |          | 0         | 365       | false    |
--   gives
--   | endpoint    | patient_id | first_insert | level | day | entered | failed | left |
--   | insert worn | P1         | true         | light | 0   | 1       | 0      | 0    |
--   | insert worn | P2         | true         | light | 0   | 1       | 0      | 0    |
--   | insert worn | P1         | true         | light | 365 | 0       | 1      | 0    |
--   | insert worn | P2         | true         | light | 365 | 0       | 0      | 1    |
with moves as (
    select endpoint, kind, unit, entry_day as day, 1 as entered, 0 as failed, 0 as "left" from endpoint_days where not until_gap and excluded = ''
    union all
    select endpoint, kind, unit, found_day, 0, observed::integer, (not observed)::integer from endpoint_days where not until_gap and excluded = ''
)
select
    plan_endpoints.name as endpoint, unit_names.first_insert, unit_names.arch, coalesce(unit_names.level, '') as level, coalesce(unit_names.attachment, '') as attachment,
    unit_names.patient_id, moves.day,
    sum(entered)::bigint as entered, sum(failed)::bigint as failed, sum("left")::bigint as "left"
from moves
join plan_endpoints using (endpoint)
join unit_names on unit_names.kind = moves.kind and unit_names.unit = moves.unit
group by all
