-- title: Implants that were lost, and when
-- grain: one row per implant lost, taken out or broken
-- key: patient, position
-- needs: implants, people, care, visit_days, settings
--
-- A coarse or missing day of the loss leaves the whole range open: from the first possible day (or the first visit) to the last (or the end of watching).
-- abutments, housings, inserts: the last visit before the loss at which unlisted ones of that jaw were looked at.
--
-- example:
--   settings
--   | closing_day |
--   | 2024-12-31  |
--   people
--   | patient | patient_id |
--   | 1       | P1         |
--   care
--   | patient | first_contact | end_day    |
--   | 1       | 2023-01-09    | 2024-12-31 |
--   visit_days
--   | visit_id | patient | seq | day_first  | day_last   | lower_abutments | lower_housings | lower_inserts |
--   | a        | 1       | 1   | 2023-01-09 | 2023-01-09 | true            | true           | true          |
--   | b        | 1       | 2   | 2023-01-19 | 2023-01-19 | false           | false          | true          |
--   | c        | 1       | 3   | 2023-03-01 | 2023-03-01 | true            | true           | true          |
--   implants
--   | patient_id | position | state  | state_on   | state_on_precision |
--   | P1         | 33       | lost   | 2023-02-01 | month              |
--   | P1         | 43       | in use |            |                    |
--   gives
--   | patient | position | state | lost_first | lost_last  | abutments  | housings   | inserts    |
--   | 1       | 33       | lost  | 2023-02-01 | 2023-02-28 | 2023-01-09 | 2023-01-09 | 2023-01-19 |
with lost as (
    select
        people.patient, implants.position, implants.state,
        coalesce(implants.state_on, care.first_contact) as lost_first,
        coalesce(last_possible(implants.state_on, implants.state_on_precision), care.end_day) as lost_last
    from implants
    join people using (patient_id)
    join care using (patient)
    where implants.state in ('lost', 'removed', 'fractured')
)
select
    lost.patient, try_cast(lost.position as position_word) as position, lost.state::finding_word as state, lost.lost_first, lost.lost_last,
    max(day_first) filter (day_last <= lost.lost_first and case when arch_of(lost.position) = 'upper' then upper_abutments else lower_abutments end) as abutments,
    max(day_first) filter (day_last <= lost.lost_first and case when arch_of(lost.position) = 'upper' then upper_housings else lower_housings end) as housings,
    max(day_first) filter (day_last <= lost.lost_first and case when arch_of(lost.position) = 'upper' then upper_inserts else lower_inserts end) as inserts
from lost
join visit_days using (patient)
cross join settings
where lost.lost_first <= settings.closing_day
group by all
