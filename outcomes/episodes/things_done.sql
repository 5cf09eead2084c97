-- title: What was done or found amiss at visits, thing by thing
-- made as: view
-- grain: one row per visit, denture, part, finding and action
-- key: visit_id, denture_id, position, part, finding, action
-- needs: parts_log, denture_log, visit_days, denture_days, people, upkeep_kinds
--
-- Every action of the log but "none", with its kind of upkeep, and everything found amiss even where nothing was done (kind blank). What was done at a delivery
-- or conversion belongs to the kind declared for those visits. An abutment whose row names no denture is put down to the denture of its jaw in service that day.
--
-- example:
--   people
--   | patient | patient_id |
--   | 1       | P1         |
--   visit_days
--   | visit_id | patient | seq | day_first  | reason   |
--   | a        | 1       | 1   | 2023-01-09 | delivery |
--   | b        | 1       | 2   | 2024-02-01 | problem  |
--   denture_days
--   | denture | denture_id | patient | arch  | delivered_first | end_day    |
--   | 5       | P1/lower/1 | 1       | lower | 2023-01-09      | 2024-12-31 |
--   upkeep_kinds
--   | kind               | part     | action    | reason   |
--   | insert changed     | insert   | replaced  |          |
--   | abutment tightened | abutment | tightened |          |
--   | denture adjusted   | denture  | adjusted  |          |
--   | set fitted         |          |           | delivery |
--   parts_log
--   | visit_id | denture_id | position | part     | finding           | action    | change_reason |
--   | a        | P1/lower/1 | 33       | insert   | not present       | fitted    |               |
--   | b        | P1/lower/1 | 33       | insert   | worn              | replaced  | failed        |
--   | b        | P1/lower/1 | 43       | insert   | worn              | none      |               |
--   | b        | P1/lower/1 | 43       | housing  | sound             | none      |               |
--   | b        |            | 33       | abutment | loose in its seat | tightened |               |
--   denture_log
--   | visit_id | denture_id | finding   | action   |
--   | b        | P1/lower/1 | sore spot | adjusted |
--   gives
--   | visit_id | patient_id | day        | reason   | denture_id | position | part     | finding           | action    | kind               |
--   | a        | P1         | 2023-01-09 | delivery | P1/lower/1 | 33       | insert   | not present       | fitted    | set fitted         |
--   | b        | P1         | 2024-02-01 | problem  | P1/lower/1 | 33       | insert   | worn              | replaced  | insert changed     |
--   | b        | P1         | 2024-02-01 | problem  | P1/lower/1 | 43       | insert   | worn              | none      |                    |
--   | b        | P1         | 2024-02-01 | problem  | P1/lower/1 | 33       | abutment | loose in its seat | tightened | abutment tightened |
--   | b        | P1         | 2024-02-01 | problem  | P1/lower/1 |          | denture  | sore spot         | adjusted  | denture adjusted   |
with written as (
    select visit_id, denture_id, position, arch_of(position) as arch, part, finding, action, change_reason from parts_log
    union all
    select visit_id, denture_id, null, null, 'denture', finding, action, null from denture_log
)
select
    written.visit_id, people.patient_id, visit_days.day_first as day, visit_days.reason::varchar as reason,
    coalesce(written.denture_id, denture_days.denture_id) as denture_id,
    written.position, written.part, written.finding, written.action, written.change_reason,
    case when written.action <> 'none' then coalesce(by_reason.kind, by_action.kind) end as kind
from written
join visit_days using (visit_id)
join people using (patient)
left join denture_days on written.denture_id is null and denture_days.patient = visit_days.patient and denture_days.arch = written.arch
    and visit_days.day_first >= denture_days.delivered_first and visit_days.day_first < denture_days.end_day
left join upkeep_kinds as by_reason on by_reason.reason = visit_days.reason::varchar
left join upkeep_kinds as by_action on by_action.part = written.part and by_action.action = written.action
where written.action <> 'none' or written.finding not in ('sound', 'not checked', 'notes silent', 'not present', 'not recorded', 'covered')
