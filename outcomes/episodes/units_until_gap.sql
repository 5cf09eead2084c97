-- title: The units of patients with a gap in care, cut at the day their care ended
-- grain: one row per unit of such a patient
-- key: kind, unit
-- needs: units, stops, life_looks, part_lives, denture_looks, denture_days
--
-- Everything after stop_day is left out, failures and looks alike, for those who failed later and those who did not.
--
-- example:
--   stops
--   | patient | stop_day   |
--   | 1       | 2023-12-01 |
--   life_looks
--   | life | seq | patient | looked_on  |
--   | 1    | 2   | 1       | 2023-07-01 |
--   | 1    | 4   | 1       | 2024-02-01 |
--   part_lives
--   | life | site | part   | patient |
--   | 1    | 9    | insert | 1       |
--   denture_looks
--   | denture | seq | looked_on  |
--   denture_days
--   | denture | patient |
--   units
--   | kind   | unit | patient | start_last | excluded | end_first  | end_last   | ending | cause      | closing | last_look  |
--   | insert | 1    | 1       | 2023-01-09 |          | 2024-02-01 | 2024-02-01 | failed | worn, seen | 5       | 2024-02-01 |
--   | insert | 2    | 1       | 2024-02-01 |          | 2024-03-01 | 2024-03-01 |        |            | 0       |            |
--   | insert | 3    | 2       | 2023-01-09 |          | 2024-02-01 | 2024-02-01 | failed | worn, seen | 5       | 2024-02-01 |
--   gives
--   | kind   | unit | excluded                    | end_first  | ending | cause | closing | last_look  | stop_day   |
--   | insert | 1    |                             | 2023-12-01 |        |       | 0       | 2023-07-01 | 2023-12-01 |
--   | insert | 2    | after the first gap in care | 2023-12-01 |        |       | 0       |            | 2023-12-01 |
with looks as (
    select part_lives.part as kind, life as unit, patient, looked_on from life_looks semi join stops using (patient) join part_lives using (life, patient)
    union all
    select 'implant'::part_word, site, patient, looked_on from life_looks semi join stops using (patient) join part_lives using (life, patient) where part = 'abutment'
    union all
    select 'denture'::part_word, denture, patient, looked_on from denture_looks join denture_days using (denture)
),
seen as (
    select kind, unit, max(looked_on) as last_look
    from looks join stops using (patient)
    where looked_on <= stop_day
    group by kind, unit
)
select
    units.* replace (
        stops.stop_day as stop_day,
        case when end_first > stops.stop_day then stops.stop_day else end_first end as end_first,
        case when end_first > stops.stop_day then stops.stop_day else end_last end as end_last,
        case when end_first > stops.stop_day then ''::ending_word else ending end as ending,
        case when end_first > stops.stop_day then ''::cause_word else cause end as cause,
        case when end_first > stops.stop_day then ''::outcome_word else rules_out end as rules_out,
        case when end_first > stops.stop_day then 0 else closing end as closing,
        case when end_first > stops.stop_day then seen.last_look else units.last_look end as last_look,
        case when excluded = '' and start_last > stops.stop_day then 'after the first gap in care'::excluded_word else excluded end as excluded
    )
from units
join stops using (patient)
left join seen on seen.kind = units.kind and seen.unit = units.unit
