-- title: From when to when each patient was under care
-- grain: one row per patient with a visit
-- key: patient
-- needs: people, visit_days, settings
--
-- end_day: the closing day of the log, or the day the patient left or died where that is earlier. A coarse day of leaving is taken at its first
-- possible day, but not before the last visit with the patient that fits into it; where the reason is given and no day, it is the last visit.
-- ending: blank while under care; died is an end of its own; a change to fixed or plain dentures ends the dentures; all others only end the watching.
--
-- example:
--   settings
--   | closing_day |
--   | 2024-12-31  |
--   people
--   | patient | left_first | left_last  | left_reason    |
--   | 1       | 2024-03-01 | 2024-03-31 | died           |
--   | 2       |            |            | moved          |
--   | 3       |            |            |                |
--   | 4       | 2024-02-02 | 2024-02-02 | changed to fixed |
--   visit_days
--   | visit_id | patient | seq | day_first  | reason   |
--   | a        | 1       | 1   | 2023-01-01 | delivery |
--   | b        | 1       | 2   | 2024-03-09 | recall   |
--   | c        | 2       | 1   | 2023-02-01 | delivery |
--   | d        | 3       | 1   | 2023-03-01 | delivery |
--   | e        | 4       | 1   | 2023-04-01 | delivery |
--   gives
--   | patient | first_contact | last_contact | end_day    | ending           |
--   | 1       | 2023-01-01    | 2024-03-09   | 2024-03-09 | died             |
--   | 2       | 2023-02-01    | 2023-02-01   | 2023-02-01 | moved            |
--   | 3       | 2023-03-01    | 2023-03-01   | 2024-12-31 |                  |
--   | 4       | 2023-04-01    | 2023-04-01   | 2024-02-02 | changed to fixed |
with contacts as (
    select
        patient,
        min(day_first) as first_contact,
        coalesce(max(day_first) filter (reason <> 'laboratory'), max(day_first)) as last_contact
    from visit_days
    group by patient
),
left_care as (
    select
        contacts.*, people.consented, people.left_reason,
        case
            when people.left_first is not null then greatest(people.left_first, least(last_contact, people.left_last))
            when people.left_reason is not null then last_contact
        end as left_day
    from contacts join people using (patient)
)
select
    patient, consented, first_contact, last_contact,
    least(closing_day, left_day) as end_day,
    case when left_day <= closing_day then coalesce(left_reason, 'lost to follow-up') else '' end as ending
from left_care cross join settings
