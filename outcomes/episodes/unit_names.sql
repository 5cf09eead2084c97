-- title: Units by the names the log gives them
-- made as: view
-- grain: one row per unit
-- key: kind, unit
-- needs: part_lives, part_rows, denture_days, denture_sets, people, implants, insert_levels
--
-- A part is named by its denture (abutments and bars: its patient), position, part and serial; a bond likewise, counted anew at each pick-up.
-- Dentures bear the level, attachment and pick-up they were delivered with, "mixed" where the sites differed.
--
-- example:
--   implants
--   | patient_id | position | divergence_deg |
--   insert_levels
--   | level | retention | unit |
--   | light | 6.7       | N    |
--   people
--   | patient | patient_id |
--   | 1       | P1         |
--   denture_days
--   | denture | denture_id | arch  | patient | opposing         |
--   | 5       | P1/lower/1 | lower | 1       | complete denture |
--   denture_sets
--   | denture | sites | level | attachment | pick_up |
--   | 5       | 2     | light | stud       |         |
--   part_rows
--   | level |
--   | light |
--   |       |
--   part_lives
--   | life | site | part     | position | patient | denture | serial | arrived | first_row |
--   | 71   | 7    | insert   | 33       | 1       | 5       | 1      | false   | 0         |
--   | 81   | 8    | abutment | 33       | 1       | 5       | 1      | false   | 1         |
--   | 92   | 9    | bond     | 33       | 1       | 5       | 2      | false   | 1         |
--   gives
--   | kind     | unit | unit_kind | unit_id                | serial | first_insert | level | retention_n | sites |
--   | insert   | 71   | insert    | P1/lower/1/33/insert/1 | 1      | true         | light | 6.7         | 2     |
--   | abutment | 81   | abutment  | P1/33/abutment/1       | 1      | false        |       |             | 2     |
--   | bond     | 92   | housing   | P1/lower/1/33/bond/2   | 2      | false        |       |             | 2     |
--   | denture  | 5    | denture   | P1/lower/1             | 1      | false        | light | 6.7         | 2     |
--   | implant  | 8    | implant   | P1/33                  | 1      | false        |       |             | 2     |
with named as (
    select
        part_lives.part as kind, part_lives.life as unit,
        case when part_lives.part = 'bond' then 'housing' else part_lives.part::varchar end as unit_kind,
        case when part_lives.part in ('abutment', 'bar') then people.patient_id else denture_days.denture_id end
            || '/' || part_lives.position || '/' || part_lives.part || '/' || part_lives.serial as unit_id,
        people.patient_id, part_lives.denture, arch_of(part_lives.position) as arch, part_lives.position::varchar as position,
        part_lives.serial::integer as serial,
        part_lives.part = 'insert' and part_lives.serial = 1 and not part_lives.arrived as first_insert,
        fitted.level, fitted.attachment::varchar as attachment, fitted.pick_up::varchar as pick_up
    from part_lives
    left join (select rowid as first_row, attachment, level, pick_up from part_rows) as fitted using (first_row)
    join people using (patient)
    left join denture_days using (denture)
    union all
    select
        'denture'::part_word, denture_days.denture, 'denture', denture_days.denture_id, people.patient_id, denture_days.denture, arch, null,
        row_number() over (partition by denture_days.patient, arch order by delivered_first, denture_id), false,
        denture_sets.level, denture_sets.attachment, denture_sets.pick_up
    from denture_days
    join people using (patient)
    left join denture_sets using (denture)
    union all
    select
        'implant'::part_word, part_lives.site, 'implant', people.patient_id || '/' || part_lives.position, people.patient_id, part_lives.denture,
        arch_of(part_lives.position), part_lives.position::varchar, 1, false, null, fitted.attachment::varchar, null
    from part_lives
    join people using (patient)
    left join (select rowid as first_row, attachment from part_rows) as fitted using (first_row)
    where part_lives.part = 'abutment' and part_lives.serial = 1
)
select
    named.*, denture_days.denture_id, denture_days.opposing, denture_sets.sites,
    newtons(insert_levels.retention, insert_levels.unit) as retention_n, implants.divergence_deg
from named
left join denture_days using (denture)
left join denture_sets using (denture)
left join insert_levels on insert_levels.level = named.level
left join implants on implants.patient_id = named.patient_id and implants.position = named.position
