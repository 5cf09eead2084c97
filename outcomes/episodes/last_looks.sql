-- title: The last visit at which unlisted parts of a denture were looked at
-- grain: one row per denture
-- key: denture
-- needs: denture_days, visit_days, care
--
-- Looks at inserts and housings count up to the denture's end of service, looks at abutments (which outlive it) up to the patient's.
--
-- example:
--   care
--   | patient | end_day    |
--   | 1       | 2024-12-31 |
--   denture_days
--   | denture | patient | arch  | end_day    |
--   | 5       | 1       | lower | 2024-01-15 |
--   visit_days
--   | visit_id | patient | seq | day_first  | day_last   | lower_inserts | lower_housings | lower_abutments | upper_inserts |
--   | a        | 1       | 1   | 2023-07-01 | 2023-07-01 | true          | true           | true            | true          |
--   | b        | 1       | 2   | 2024-01-01 | 2024-01-31 | true          | true           | true            | true          |
--   | c        | 1       | 3   | 2024-02-01 | 2024-02-01 | true          | false          | false           | false         |
--   gives
--   | denture | inserts    | housings   | abutments  |
--   | 5       | 2023-07-01 | 2023-07-01 | 2024-01-01 |
select
    denture_days.denture,
    max(day_first) filter (day_last <= denture_days.end_day and case arch when 'upper' then upper_inserts else lower_inserts end) as inserts,
    max(day_first) filter (day_last <= denture_days.end_day and case arch when 'upper' then upper_housings else lower_housings end) as housings,
    max(day_first) filter (day_last <= care.end_day and case arch when 'upper' then upper_abutments else lower_abutments end) as abutments
from denture_days
join (select * exclude (arch) from visit_days) as visit_days using (patient)
join care using (patient)
group by denture_days.denture
