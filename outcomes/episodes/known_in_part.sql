-- title: What the log knows only in part
-- made as: view
-- grain: one row per kind of missing or coarse knowledge
-- key: kind
-- needs: patients, people, visits, parts_log, dentures
--
-- Counted in patients who may be audited; those who did not agree have a row of their own. A change on a day not known is one that the notes of before the
-- log tell of by its number only: it is no episode, has no day, and counts in no rate; the part in place after it is of unknown age.
--
-- example:
--   patients
--   | patient_id | audit_consent   |
--   | P1         | yes             |
--   | P2         | unknown         |
--   | P3         | no              |
--   people
--   | patient_id | consented |
--   | P1         | true      |
--   | P2         | true      |
--   | P3         | false     |
--   dentures
--   | denture_id | patient_id | delivered_on_precision |
--   | P1/lower/1 | P1         | year                   |
--   visits
--   | visit_id | patient_id | visited_on | visited_on_precision | reason  | parts_checked |
--   | a        | P1         | 2021-05-01 | month                | recall  | notes silent  |
--   | b        | P1         | 2022-05-04 | day                  | recall  | none          |
--   | c        | P2         |            | not known            | recall  | all           |
--   parts_log
--   | visit_id | part    | finding      | in_place_since_precision | changed_before |
--   | a        | insert  | not checked  | not known                | 3              |
--   | a        | insert  | not checked  | not known                | 3              |
--   | a        | housing | notes silent | year                     |                |
--   gives
--   | kind                                         | number | patients |
--   | consent not known                            | 1      | 1        |
--   | did not agree to audit                       | 1      | 1        |
--   | dentures delivered in a month or year        | 1      | 1        |
--   | visits without a day                         | 1      | 1        |
--   | visits known to the month or year            | 1      | 1        |
--   | visits whose notes are silent                | 1      | 1        |
--   | visits at which no part was looked at        | 1      | 1        |
--   | parts listed as not checked                  | 2      | 1        |
--   | parts of which the notes are silent          | 1      | 1        |
--   | parts in place since a month or year         | 1      | 1        |
--   | parts in place since an unknown day          | 2      | 1        |
--   | inserts changed before, on days not known    | 6      | 1        |
with agreed as (
    select patient_id, coalesce(audit_consent, 'unknown') as consent from patients
),
seen as (
    select visits.* from visits join people using (patient_id) where people.consented
),
listed as (
    select parts_log.*, seen.patient_id from parts_log join seen using (visit_id)
),
found as (
    select 'consent not known' as kind, 1 as number, patient_id from agreed where consent = 'unknown'
    union all
    select 'died before being asked for consent', 1, patient_id from agreed where consent = 'died before asked'
    union all
    select 'consent not required', 1, patient_id from agreed where consent = 'not required'
    union all
    select 'did not agree to audit', 1, patient_id from agreed where consent = 'no'
    union all
    select 'dentures delivered in a month or year', 1, patient_id from dentures join people using (patient_id)
    where people.consented and delivered_on_precision in ('month', 'year')
    union all
    select 'dentures delivered on a day not known', 1, patient_id from dentures join people using (patient_id)
    where people.consented and coalesce(delivered_on_precision, 'not known') = 'not known'
    union all
    select 'visits without a day', 1, patient_id from seen where visited_on is null
    union all
    select 'visits known to the month or year', 1, patient_id from seen where visited_on_precision in ('month', 'year')
    union all
    select 'visits whose notes are silent', 1, patient_id from seen where parts_checked = 'notes silent'
    union all
    select 'visits at which no part was looked at', 1, patient_id from seen where parts_checked = 'none' and reason not in ('laboratory', 'contact only')
    union all
    select 'parts listed as not checked', 1, patient_id from listed where finding = 'not checked'
    union all
    select 'parts of which the notes are silent', 1, patient_id from listed where finding = 'notes silent'
    union all
    select 'parts in place since a month or year', 1, patient_id from listed where in_place_since_precision in ('month', 'year')
    union all
    select 'parts in place since an unknown day', 1, patient_id from listed where in_place_since_precision = 'not known'
    union all
    select 'inserts changed before, on days not known', changed_before, patient_id from listed where changed_before > 0
)
select kind, sum(number)::integer as number, count(distinct patient_id)::integer as patients
from found
group by all
order by all
