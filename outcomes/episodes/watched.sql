-- title: Until when a denture was watched, and when its unlisted parts were last looked at
-- grain: one row per denture
-- key: denture
-- needs: denture_days, visit_days, care
--
-- Looks at inserts and housings count up to the denture's end of service, looks at abutments (which outlive it) up to the patient's.
--
-- example:
--   care
--   | patient | end_day    | ending |
--   | 1       | 2024-12-31 | moved  |
--   denture_days
--   | denture | patient | arch  | end_day    | ending          | excluded |
--   | 5       | 1       | lower | 2024-01-15 | denture retired |          |
--   visit_days
--   | visit_id | patient | seq | day_first  | day_last   | lower_inserts | lower_housings | lower_abutments | upper_inserts |
--   | a        | 1       | 1   | 2023-07-01 | 2023-07-01 | true          | true           | true            | true          |
--   | b        | 1       | 2   | 2024-01-01 | 2024-01-31 | true          | true           | true            | true          |
--   | c        | 1       | 3   | 2024-02-01 | 2024-02-01 | true          | false          | false           | false         |
--   gives
--   | denture | end_day    | ending          | inserts    | housings   | abutments  |
--   | 5       | 2024-01-15 | denture retired | 2023-07-01 | 2023-07-01 | 2024-01-01 |
with looks as (
    select
        denture_days.denture,
        max(day_first) filter (day_last <= denture_days.end_day and case denture_days.arch when 'upper' then upper_inserts else lower_inserts end) as inserts,
        max(day_first) filter (day_last <= denture_days.end_day and case denture_days.arch when 'upper' then upper_housings else lower_housings end) as housings,
        max(day_first) filter (day_last <= care.end_day and case denture_days.arch when 'upper' then upper_abutments else lower_abutments end) as abutments
    from denture_days
    join visit_days using (patient)
    join care using (patient)
    group by denture_days.denture
)
select
    denture_days.denture, denture_days.end_day,
    denture_days.ending::ending_word as ending,
    denture_days.excluded::excluded_word as excluded,
    looks.inserts, looks.housings, looks.abutments
from denture_days
join looks using (denture)
