-- title: What was done or found amiss at visits, thing by thing
-- made as: view
-- grain: one row per visit, denture, part, finding and action
-- key: visit_id, denture_id, position, part, finding, action
-- needs: parts_log, denture_log, visit_days, denture_days, people, upkeep_kinds
--
-- Every action of the log but "none", with its kind of upkeep, and everything found amiss even where nothing was done (kind blank). What was done at a delivery
-- or conversion belongs to the kind declared for those visits. An abutment whose row names no denture is put down to the everyday denture of its jaw in
-- service that day, its last day included; of two, to the one delivered later.
--
-- example:
--   people
--   | patient | patient_id |
--   | 1       | P1         |
--   visit_days
--   | visit_id | patient | seq | day_first  | reason   |
--   | a        | 1       | 1   | 2023-01-09 | delivery |
--   | b        | 1       | 2   | 2024-02-01 | problem  |
--   | c        | 1       | 3   | 2024-12-31 | recall   |
--   denture_days
--   | denture | denture_id | patient | arch  | delivered_first | end_day    | excluded      |
--   | 4       | P1/lower/0 | 1       | lower | 2020-05-04      | 2024-02-01 |               |
--   | 5       | P1/lower/1 | 1       | lower | 2023-01-09      | 2024-12-31 |               |
--   | 6       | P1/lower/2 | 1       | lower | 2023-01-09      | 2024-12-31 | spare denture |
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
--   | c        |            | 43       | abutment | loose in its seat | tightened |               |
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
--   | c        | P1         | 2024-12-31 | recall   | P1/lower/1 | 43       | abutment | loose in its seat | tightened | abutment tightened |
with written as (
    select visit_id, denture_id, position, arch_of(position) as arch, part, finding, action, change_reason from parts_log
    union all
    select visit_id, denture_id, null, null, 'denture', finding, action, null from denture_log
),
serving as (
    select visit_days.visit_id, denture_days.arch, arg_max(denture_days.denture_id, row(delivered_first, denture)) as denture_id
    from visit_days
    join denture_days using (patient)
    where denture_days.excluded is distinct from 'spare denture' and visit_days.day_first between delivered_first and denture_days.end_day
    group by visit_days.visit_id, denture_days.arch
)
select
    written.visit_id, people.patient_id, visit_days.day_first as day, visit_days.reason::varchar as reason,
    coalesce(written.denture_id, serving.denture_id) as denture_id,
    written.position, written.part, written.finding, written.action, written.change_reason,
    case when written.action <> 'none' then coalesce(by_reason.kind, by_action.kind) end as kind
from written
join visit_days using (visit_id)
join people using (patient)
left join serving on written.denture_id is null and serving.visit_id = written.visit_id and serving.arch = written.arch
left join upkeep_kinds as by_reason on by_reason.reason = visit_days.reason::varchar
left join upkeep_kinds as by_action on by_action.part = written.part and by_action.action = written.action
where written.action <> 'none' or written.finding not in ('sound', 'not checked', 'notes silent', 'not present', 'not recorded', 'covered')
