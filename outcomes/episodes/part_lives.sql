-- title: Each physical part, from its start at a site to its end
-- grain: one row per part in service at a site; the bonds of housings beside them
-- key: life
-- needs: part_history, denture_days, care, last_looks, implant_days, settings
--
-- A part starts where its site opens, or was already in place (arrived) since the day written, else since an unknown day. It ends at the visit at which it
-- went (by_row), or with its own carrier, or when watching ended, whichever was first. Carriers: the denture for housings and their bonds, inserts and clips;
-- the implant for abutments. An abutment outlives its denture. A day written for "in place since" that lies after the first row is cut to that row's visit.
--
-- last_look: the last day it was seen, whatever was found, within its service. cause: see insert_cause; for parts other than inserts it is blank.
-- settling is read by the longest possible time since fitting, so that a coarse date never turns wear into a wish.
--
-- example:
--   settings
--   | settling_days |
--   | 90            |
--   denture_days
--   | denture | patient | end_day    | ending |
--   | 5       | 1       | 2024-12-31 |        |
--   care
--   | patient | end_day    | ending |
--   | 1       | 2024-12-31 |        |
--   last_looks
--   | denture | inserts    | housings   | abutments  |
--   | 5       | 2024-11-01 | 2024-11-01 | 2024-11-01 |
--   implant_days
--   | patient | position | lost_first | lost_last  | seen_before |
--   | 1       | 33       | 2024-09-01 | 2024-09-01 | 2023-07-01  |
--   part_history
--   | site | visit | patient | denture | position | part     | seq | day_first  | day_last   | finding     | action   | opens | closes | in_place | in_place_after | arrives | serial_before | serial_after | looked_before | looked_upto | last_row | carried | taken_over | looked | since_first | since_last |
--   | 7    | 1     | 1       | 5       | 43       | insert   | 1   | 2023-01-09 | 2023-01-09 | not present | fitted   | true  | true   | false    | true           | false   | 0             | 1            |               |             | false    | false   | false      | false  |             |            |
--   | 7    | 2     | 1       | 5       | 43       | insert   | 2   | 2024-02-01 | 2024-02-01 | worn        | replaced | true  | true   | true     | true           | false   | 1             | 2            | 2023-07-01    | 2024-02-01  | true     | false   | false      | true   |             |            |
--   | 8    | 1     | 1       | 5       | 33       | abutment | 1   | 2023-01-09 | 2023-01-09 | sound       | none     | false | false  | true     | true           | true    | 1             | 1            |               | 2023-01-09  | true     | false   | false      | true   | 2020-01-01  | 2020-12-31  |
--   gives
--   | part     | position | serial | arrived | fitted_first | fitted_last | start_known | by_row | end_first  | ending       | cause      | last_look  |
--   | insert   | 43       | 1      | false   | 2023-01-09   | 2023-01-09  | true        | true   | 2024-02-01 | failed       | worn, seen | 2024-02-01 |
--   | insert   | 43       | 2      | false   | 2024-02-01   | 2024-02-01  | true        | false  | 2024-12-31 |              |            | 2024-11-01 |
--   | abutment | 33       | 1      | true    | 2020-01-01   | 2020-12-31  | true        | false  | 2024-09-01 | implant lost |            | 2023-07-01 |
with started as (
    select
        site, part, position, patient, denture, serial_after as serial, taken_over as arrived, visit as first_visit, seq as first_seq,
        case when taken_over then since_first else day_first end as fitted_first,
        case when not taken_over then day_last when since_last > day_first then day_first else since_last end as fitted_last,
        attachment, level, torque_ncm, height_mm, pick_up, surface
    from part_history
    where opens
    union all
    select
        site, part, position, patient, denture, serial_before, true, visit, seq, since_first,
        case when since_last > day_first then day_first else since_last end,
        attachment, level, torque_ncm, height_mm, pick_up, surface
    from part_history
    where arrives
),
went as (
    select
        site, serial_before as serial, true as went, visit as last_visit, seq as last_seq, day_first as went_first, day_last as went_last,
        finding, action, change_reason, snap, snap_history, carried, looked, reason, noticed_first, noticed_last,
        looked_before, looked_upto, day_first as row_day
    from part_history
    where closes and in_place
    union all
    select
        site, serial_after, false, null, null, null, null, null, null, null, null, null, false, false, null, null, null, null, looked_upto, day_first
    from part_history
    where last_row and in_place_after
),
carrying as (
    select
        started.*, went.* exclude (site, serial), coalesce(went.went, false) as has_gone,
        case when started.part in ('abutment', 'bar') then 'implant' when started.part = 'housing' or started.part = 'bond' then 'denture' else 'housing' end as carrier,
        implant_days.lost_first, implant_days.lost_last,
        carrier = 'implant' and implant_days.lost_first <= care.end_day as implant_gone,
        case when carrier <> 'implant' then denture_days.end_day when implant_gone then implant_days.lost_first else care.end_day end as service_end,
        case when carrier <> 'implant' then denture_days.end_day when implant_gone then implant_days.lost_last else care.end_day end as service_end_last,
        case
            when carrier <> 'implant' then denture_days.ending
            when implant_gone then 'implant lost'
            when care.ending in ('changed to fixed', 'changed to plain denture') then 'lost to follow-up'
            else care.ending
        end as service_ending,
        case when carrier = 'denture' then last_looks.housings when carrier = 'housing' then last_looks.inserts when implant_gone then implant_days.seen_before else last_looks.abutments end as tail_look
    from started
    left join went on went.site = started.site and went.serial = started.serial
    left join denture_days on denture_days.denture = started.denture
    left join last_looks on last_looks.denture = started.denture
    join care on care.patient = started.patient
    left join implant_days on implant_days.patient = started.patient and implant_days.position = started.position
),
ended as (
    select
        *,
        has_gone and went_first <= service_end_last as by_row,
        case when by_row then went_first else service_end end as end_first,
        case when by_row then went_last else service_end_last end as end_last,
        coalesce(went_last - fitted_first <= settings.settling_days, false) as settling
    from carrying cross join settings
)
select
    site * 4096 + serial as life,
    site, serial, part, position, patient, denture, arrived, first_visit, first_seq, fitted_first, fitted_last, fitted_first is not null as start_known,
    attachment, level, torque_ncm, height_mm, pick_up, surface,
    by_row, last_visit, last_seq, end_first, end_last,
    case when by_row then finding end as finding,
    case when by_row then action end as action,
    case when by_row then change_reason end as change_reason,
    case when by_row then reason end as found_at,
    case when by_row then noticed_first end as noticed_first,
    case when by_row then noticed_last end as noticed_last,
    (case when by_row and part = 'insert' then insert_cause(finding, action, change_reason, snap, snap_history, settling, carried) else '' end)::cause_word as cause,
    (case
        when not by_row then service_ending
        when lost_first between end_first and end_last and carrier = 'implant' then 'implant lost'
        else ending_of(part, finding, action, change_reason, carried, cause, snap)
    end)::ending_word as ending,
    coalesce(by_row and looked, false) as looked_at_end,
    case when by_row then looked_before end as looked_before,
    case
        when by_row then looked_upto
        when has_gone then looked_before
        else greatest(looked_upto, case when tail_look > row_day then tail_look end)
    end as last_seen,
    case when last_seen > end_first then end_first else last_seen end as last_look
from ended
