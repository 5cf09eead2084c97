-- title: What happened to parts that went on
-- made as: view
-- grain: one row per visit and part that was mended in place, or found failing and left
-- key: episode_id, visit_id
-- needs: part_history, part_lives, denture_days, people, visit_days
--
-- Tightened, re-activated, cleaned, taken out and put back, picked up again, repaired: events within an episode; the part goes on.
-- kind: "mended" where something was done, "left" where a failing part stayed as it was. day: since the part's last possible day 0; empty if unknown.
--
-- example:
--   people
--   | patient | patient_id |
--   | 1       | P1         |
--   denture_days
--   | denture | denture_id |
--   | 5       | P1/lower/1 |
--   visit_days
--   | visit_id | patient | seq |
--   | b        | 1       | 2   |
--   part_lives
--   | life   | part    | serial | patient | denture | position | fitted_last | ending |
--   | 28674  | housing | 2      | 1       | 5       | 33       | 2023-01-09  |        |
--   part_history
--   | site | seq | patient | part    | denture | position | serial_before | finding  | action          | in_place | closes | day_first  | reason  |
--   | 7    | 2   | 1       | housing | 5       | 33       | 2             | debonded | picked up again | true     | false  | 2024-01-09 | problem |
--   | 7    | 3   | 1       | housing | 5       | 33       | 2             | sound    | none            | true     | false  | 2024-02-09 | recall  |
--   gives
--   | episode_id              | visit_id | day | kind   | finding  | action          |
--   | P1/lower/1/33/housing/2 | b        | 365 | mended | debonded | picked up again |
select
    case when part_lives.part in ('abutment', 'bar') then people.patient_id else denture_days.denture_id end
        || '/' || part_lives.position || '/' || part_lives.part || '/' || part_lives.serial as episode_id,
    people.patient_id, denture_days.denture_id,
    part_lives.position::varchar as position,
    part_lives.part::varchar as part,
    visit_days.visit_id,
    part_history.day_first as happened_on,
    (part_history.day_first - part_lives.fitted_last)::integer as day,
    case when part_history.action = 'none' then 'left' else 'mended' end as kind,
    part_history.finding::varchar as finding,
    part_history.action::varchar as action,
    part_history.reason::varchar as reason,
    part_lives.excluded::varchar as excluded
from part_history
join part_lives on part_lives.life = part_history.site * 4096 + part_history.serial_before
join people on people.patient = part_history.patient
left join denture_days on denture_days.denture = part_lives.denture
join visit_days on visit_days.patient = part_history.patient and visit_days.seq = part_history.seq
where part_history.part <> 'bond' and part_history.in_place and not part_history.closes
    and (part_history.action in ('tightened', 're-activated', 'cleaned', 'taken out and put back', 'picked up again', 'repaired', 'tissue relieved')
        or part_history.finding in ('worn', 'torn', 'deformed', 'fractured', 'loose in its seat', 'debonded'))
