-- title: The first gap in care
-- grain: one row per patient who stayed away longer than under_care_days
-- key: patient
-- needs: visit_days, care, settings
--
-- For the sensitivity line "if silence means nothing": care ends for everybody, failed later or not, at the first gap between contacts longer than
-- under_care_days, on the day the gap has lasted that long. The stretch from the last contact to the end of watching is a gap like any other.
-- Laboratory lines are no contact with the patient. Made only where the build asks for it.
--
-- example:
--   settings
--   | under_care | under_care_days |
--   | true       | 550             |
--   care
--   | patient | end_day    |
--   | 1       | 2024-12-31 |
--   | 2       | 2024-12-31 |
--   visit_days
--   | visit_id | patient | seq | day_first  | reason     |
--   | a        | 1       | 1   | 2020-01-01 | delivery   |
--   | b        | 1       | 2   | 2021-01-01 | laboratory |
--   | c        | 1       | 3   | 2022-01-01 | recall     |
--   | d        | 1       | 4   | 2024-01-01 | recall     |
--   | e        | 2       | 1   | 2024-01-01 | delivery   |
--   gives
--   | patient | stop_day   |
--   | 1       | 2021-07-04 |
with contacts as (
    select visit_days.patient, visit_days.day_first, coalesce(lead(visit_days.day_first) over (partition by patient order by seq), care.end_day) as next_day, settings.under_care_days
    from visit_days join care using (patient) cross join settings
    where visit_days.reason <> 'laboratory' and settings.under_care
)
select patient, min(day_first + under_care_days) as stop_day
from contacts
where next_day - day_first > under_care_days
group by patient
