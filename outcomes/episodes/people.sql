-- title: Patients, numbered
-- grain: one row per patient
-- key: patient
-- needs: patients
--
-- Numbers stand in for pseudonyms inside the build because joins on whole numbers are quick; the last tables carry the pseudonyms again.
-- Only a written "no" keeps a patient out of the audit: not asked, not required and died before asked are counted beside it.
--
-- example:
--   patients
--   | patient_id | audit_consent | left_on    | left_on_precision | left_reason |
--   | P1         | yes           | 2024-03-01 | month             | died        |
--   | P2         | no            |            |                   |             |
--   gives
--   | patient | patient_id | consented | left_first | left_last  | left_reason |
--   | 1       | P1         | true      | 2024-03-01 | 2024-03-31 | died        |
--   | 2       | P2         | false     |            |            |             |
select
    row_number() over (order by patient_id)::integer as patient,
    patient_id,
    coalesce(audit_consent, 'unknown') <> 'no' as consented,
    left_on as left_first,
    last_possible(left_on, left_on_precision) as left_last,
    left_reason
from patients
