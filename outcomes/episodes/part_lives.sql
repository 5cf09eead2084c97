-- title: Each physical part, from its start at a site to its end
-- grain: one row per part in service at a site; the bonds of housings beside them
-- key: life
-- needs: part_history, part_notes, watched, care, implant_days, settings
--
-- A part starts where its site opens, or was already in place (arrived) since the day written, else since an unknown day. It ends at the visit at which it
-- went (by_row), or with its own carrier, or when watching ended, whichever was first. Carriers: the denture for housings and their bonds, inserts and clips;
-- the implant for abutments. An abutment outlives its denture. Where the implant is lost, the housing and insert over it are out of service from that day as
-- well, though they stay in the denture. A day written for "in place since" that lies after the first row is cut to that row's visit; for a housing it is
-- read as the day it was fixed where it is, so that its bond is as old.
--
-- A part fitted in its site's last row needs no other row for its end.
-- last_look: the last day it was seen, whatever was found, within its service. cause: see insert_cause; for parts other than inserts it is blank.
-- settling is read by the longest possible time since fitting, so that a coarse date never turns wear into a wish.
--
-- example:
--   settings
--   | settling_days |
--   | 90            |
--   watched
--   | denture | end_day    | ending | excluded | inserts    | housings   | abutments  |
--   | 5       | 2024-12-31 |        |          | 2024-11-01 | 2024-11-01 | 2024-11-01 |
--   care
--   | patient | end_day    | ending | consented |
--   | 1       | 2024-12-31 |        | true      |
--   implant_days
--   | patient | position | lost_first | lost_last  | abutments  |
--   | 1       | 33       | 2024-09-01 | 2024-09-01 | 2023-07-01 |
--   part_notes
--   | patient | seq | position | part     | since_first | since_last |
--   | 1       | 1   | 33       | abutment | 2020-01-01  | 2020-12-31 |
--   part_history
--   | site | log_row | patient | denture | position | part     | seq | day_first  | day_last   | finding     | action   | opens | closes | in_place | in_place_after | arrives | serial_before | serial_after | looked_before | looked_upto | last_row | carried | taken_over | looked |
--   | 7    | 1       | 1       | 5       | 43       | insert   | 1   | 2023-01-09 | 2023-01-09 | not present | fitted   | true  | true   | false    | true           | false   | 0             | 1            |               |             | false    | false   | false      | false  |
--   | 7    | 2       | 1       | 5       | 43       | insert   | 2   | 2024-02-01 | 2024-02-01 | worn        | replaced | true  | true   | true     | true           | false   | 1             | 2            | 2023-07-01    | 2024-02-01  | true     | false   | false      | true   |
--   | 8    | 0       | 1       | 5       | 33       | abutment | 1   | 2023-01-09 | 2023-01-09 | sound       | none     | false | false  | true     | true           | true    | 1             | 1            |               | 2023-01-09  | true     | false   | false      | true   |
--   gives
--   | part     | position | serial | arrived | fitted_first | fitted_last | start_known | by_row | end_first  | ending       | cause      | last_look  | excluded |
--   | insert   | 43       | 1      | false   | 2023-01-09   | 2023-01-09  | true        | true   | 2024-02-01 | failed       | worn, seen | 2024-02-01 |          |
--   | insert   | 43       | 2      | false   | 2024-02-01   | 2024-02-01  | true        | false  | 2024-12-31 |              |            | 2024-11-01 |          |
--   | abutment | 33       | 1      | true    | 2020-01-01   | 2020-12-31  | true        | false  | 2024-09-01 | implant lost |            | 2023-07-01 |          |
with put_in as (
    select
        site * 4096 + serial_after as life, site, part, position, patient, denture, serial_after as serial, log_row as first_row, seq as first_seq,
        day_first as first_day, day_first as fitted_first, day_last as fitted_last, false as arrived
    from part_history
    where opens and not taken_over
),
found_there as (
    select
        site * 4096 + case when taken_over then serial_after else serial_before end as life,
        site, part_history.part, part_history.position, part_history.patient, part_history.denture,
        case when taken_over then serial_after else serial_before end as serial, log_row as first_row, part_history.seq as first_seq,
        part_history.day_first as first_day, since_first as fitted_first,
        case when since_last > part_history.day_first then part_history.day_first else since_last end as fitted_last,
        true as arrived
    from part_history
    left join part_notes
        on part_notes.patient = part_history.patient and part_notes.seq = part_history.seq and part_notes.position = part_history.position
        and part_notes.part = case when part_history.part = 'bond' then 'housing'::part_word else part_history.part end
    where arrives or taken_over
),
started as (
    select * from put_in
    union all
    select * from found_there
),
went as (
    select
        site * 4096 + serial_before as life, true as went, log_row as last_row, seq as last_seq, day_first as went_first, day_last as went_last,
        finding, action, change_reason, snap, snap_history, carried, looked, reason, looked_before, looked_upto
    from part_history
    where closes and in_place
    union all
    select site * 4096 + serial_after, false, null, null, day_first, null, null, null, null, null, null, false, false, null, null, looked_upto
    from part_history
    where last_row and in_place_after and not opens
),
carried_by as (
    select
        started.*, went.* exclude (life, went),
        coalesce(went.went, false) as has_gone,
        started.part in ('abutment', 'bar') as on_implant,
        implant_days.lost_first,
        case when on_implant then care.end_day else watched.end_day end as watched_until,
        coalesce(implant_days.lost_first <= watched_until, false) as implant_gone,
        case when implant_gone then implant_days.lost_first else watched_until end as service_end,
        case when implant_gone then implant_days.lost_last else watched_until end as service_end_last,
        case when implant_gone then 'implant lost'::ending_word when on_implant then care.ending::ending_word else watched.ending end as service_ending,
        case
            when started.part in ('housing', 'bond') then case when implant_gone then implant_days.housings else watched.housings end
            when not on_implant then case when implant_gone then implant_days.inserts else watched.inserts end
            when implant_gone then implant_days.abutments
            else watched.abutments
        end as implied_last,
        case when not care.consented then 'no consent'::excluded_word else coalesce(watched.excluded, ''::excluded_word) end as excluded
    from started
    left join went on went.life = started.life
    left join watched on watched.denture = started.denture
    join care on care.patient = started.patient
    left join implant_days on implant_days.patient = started.patient and implant_days.position = started.position
),
ended as (
    select
        *,
        has_gone and went_first <= service_end_last as by_row,
        case when by_row then went_first else service_end end as end_first,
        case when by_row then went_last else service_end_last end as end_last,
        coalesce(went_last - fitted_first <= settings.settling_days, false) as settling,
        case
            when by_row then looked_upto
            when has_gone then looked_before
            when implied_last > coalesce(went_first, first_day) then implied_last
            else looked_upto
        end as last_seen
    from carried_by cross join settings
)
select
    life, site, serial, part, position, patient, denture, arrived, first_row, first_seq, fitted_first, fitted_last, fitted_first is not null as start_known,
    excluded, by_row, end_first, end_last,
    case when by_row then last_row end as last_row,
    case when by_row then last_seq end as last_seq,
    case when by_row then finding end as finding,
    case when by_row then action end as action,
    case when by_row then reason end as found_at,
    (case when by_row and part = 'insert' then insert_cause(finding, action, change_reason, snap, snap_history, settling, carried) else '' end)::cause_word as cause,
    (case
        when not by_row then service_ending
        when on_implant and lost_first between end_first and end_last then 'implant lost'
        else ending_of(part, finding, action, change_reason, carried, cause, snap)
    end)::ending_word as ending,
    coalesce(by_row and looked, false) as looked_at_end,
    case when by_row then looked_before end as looked_before,
    case when last_seen > end_first then end_first else last_seen end as last_look
from ended
