-- title: Episodes: the physical life of each part
-- made as: view
-- grain: one row per physical part in service at a position
-- key: episode_id
-- needs: part_lives, part_rows, left_failing, neighbours, late_entries, denture_sets, denture_days, people, visit_days, visits, implants, insert_levels
--
-- Days are whole days since the part's day 0, counted from the last possible day of fitting where that is coarse.
-- A part of unknown age has none. entry_day: 0 for parts fitted while the log ran; for parts already in place the first day looked at (the next one, where
-- that was a problem visit), if ever.
-- ending: blank while in place, end_day is then the last day it was recorded sound and ended_on is empty.
-- serial counts the parts at that site of that denture; abutments and bars are counted at their place in the mouth. first_insert: the site's first insert,
-- fitted while the log ran. level is the clinic's word, retention_n its force in newtons. excluded: why the part counts for no endpoint.
--
-- example:
--   implants
--   | patient_id | position | divergence_deg |
--   | P1         | 33       | 8              |
--   insert_levels
--   | level | retention | unit |
--   | light | 1.5       | lbf  |
--   people
--   | patient | patient_id | consented |
--   | 1       | P1         | true      |
--   denture_days
--   | denture | denture_id | arch  | opposing         |
--   | 5       | P1/lower/1 | lower | complete denture |
--   denture_sets
--   | denture | sites |
--   | 5       | 2     |
--   visit_days
--   | visit_id | patient | seq |
--   | a        | 1       | 1   |
--   visits
--   | visit_id | clinician |
--   | a        | A         |
--   part_rows
--   | level |
--   | light |
--   |       |
--   neighbours
--   | life | known_sound |
--   left_failing
--   | life | looked_before |
--   | 72   | 2023-07-01    |
--   late_entries
--   | kind | unit | entry_on |
--   part_lives
--   | life | part     | position | patient | denture | serial | arrived | first_row | first_seq | fitted_first | fitted_last | start_known | end_first  | end_last   | by_row | finding | ending        | cause | last_look  | excluded |
--   | 71   | insert   | 33       | 1       | 5       | 1      | false   | 0         | 1         | 2023-01-09   | 2023-01-09  | true        | 2024-01-09 | 2024-01-09 | true   | sound   | wanted firmer | wish  | 2024-01-09 |          |
--   | 72   | abutment | 33       | 1       | 5       | 2      | false   | 1         | 1         | 2023-01-01   | 2023-01-31  | true        | 2024-12-31 | 2024-12-31 | false  |         |               |       | 2024-01-09 |          |
--   | 73   | bond     | 33       | 1       | 5       | 1      | false   | 1         | 1         | 2023-01-01   | 2023-01-31  | true        | 2024-12-31 | 2024-12-31 | false  |         |               |       | 2024-01-09 |          |
--   gives
--   | episode_id             | serial | first_insert | entry_day | end_day | ended_on   | last_sound_day | ending        | retention_n      | divergence_deg | sites | clinician |
--   | P1/lower/1/33/insert/1 | 1      | true         | 0         | 365     | 2024-01-09 | 365            | wanted firmer | 6.67233242289075 | 8              | 2     | A         |
--   | P1/33/abutment/2       | 2      | false        | 0         | 151     |            | 151            |               |                  | 8              | 2     | A         |
with sound as (
    select
        part_lives.*,
        left_failing.life is not null as failing_left,
        case
            when left_failing.life is not null then left_failing.looked_before
            when by_row and finding in ('worn', 'torn', 'deformed', 'fractured', 'lost', 'not present', 'loose in its seat', 'debonded') then part_lives.looked_before
            else last_look
        end as last_sound
    from part_lives
    left join left_failing on left_failing.life = part_lives.life
    where part <> 'bond'
)
select
    case when sound.part in ('abutment', 'bar') then people.patient_id else denture_days.denture_id end
        || '/' || sound.position || '/' || sound.part || '/' || sound.serial as episode_id,
    people.patient_id,
    denture_days.denture_id,
    arch_of(sound.position) as arch,
    sound.position::varchar as position,
    sound.part::varchar as part,
    sound.serial::integer as serial,
    case when sound.arrived then 'already in place' else 'fitted' end as arrival,
    sound.part = 'insert' and sound.serial = 1 and not sound.arrived as first_insert,
    sound.fitted_first as fitted_on,
    sound.fitted_last as fitted_on_last,
    sound.start_known,
    (case when not sound.arrived then 0 when late_entries.entry_on >= sound.fitted_last then late_entries.entry_on - sound.fitted_last end)::integer as entry_day,
    (case when sound.last_sound > sound.fitted_last then sound.last_sound - sound.fitted_last when not sound.arrived then 0 end)::integer as last_sound_day,
    (case
        when sound.ending = '' then last_sound_day
        when sound.end_first > sound.fitted_last then sound.end_first - sound.fitted_last
        when sound.start_known then 0
    end)::integer as end_day,
    case when sound.ending <> '' then sound.end_first end as ended_on,
    case when neighbours.life is not null then 'changed with a neighbour' else sound.ending::varchar end as ending,
    case when neighbours.known_sound then 'with its pair' else sound.cause::varchar end as cause,
    fitted.attachment::varchar as attachment,
    fitted.level,
    newtons(insert_levels.retention, insert_levels.unit) as retention_n,
    fitted.height_mm, fitted.torque_ncm,
    fitted.pick_up::varchar as pick_up,
    fitted.surface::varchar as surface,
    implants.divergence_deg,
    denture_days.opposing,
    denture_sets.sites,
    visits.clinician,
    sound.excluded::varchar as excluded
from sound
join people using (patient)
left join denture_days using (denture)
left join denture_sets using (denture)
left join (select rowid as first_row, attachment, level, height_mm, torque_ncm, pick_up, surface from part_rows) as fitted using (first_row)
left join visit_days on visit_days.patient = sound.patient and visit_days.seq = sound.first_seq and not sound.arrived
left join visits on visits.visit_id = visit_days.visit_id
left join neighbours on neighbours.life = sound.life
left join late_entries on sound.arrived and late_entries.kind = sound.part and late_entries.unit = sound.life
left join implants on implants.patient_id = people.patient_id and implants.position = sound.position::varchar
left join insert_levels on insert_levels.level = fitted.level
