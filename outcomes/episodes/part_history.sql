-- title: What happened at each site, row by row
-- grain: one row per visit and part of a site
-- key: site, seq
-- needs: part_rows, carried_rows, unseen_looks, emptied_sites, settings
--
-- A site is a place for one part: a position of a denture for housings, inserts and clips; a position in the mouth for abutments and bars, which
-- outlive dentures. The bond of a housing is followed as a site of its own ("bond"): picking the housing up again ends one bond and begins the next,
-- while the housing goes on. log_row: the row of part_rows it comes from.
--
-- opens: a part was put in.        closes: the part that was there went.        in_place: a part was there when the patient came.
-- A site's first row is not always a fitting: what is listed there otherwise was already in place (arrives), and so is a part that reappears.
-- serial_before and serial_after count the parts of the site: the one the finding speaks of, and the one the patient left with.
-- looked: the finding is a look at the part. Not checked, notes silent, not present, covered and overgrown parts were not seen.
-- looked_before: the last earlier look at the site, listed or implied; looked_upto: the same counting this row. Both by first possible day. A listed look
-- at a coarse visit that may lie after another one is not used, nor an implied one at a visit where a row says that the part was not seen.
--
-- example:
--   settings
--   | bonds |
--   | true  |
--   carried_rows
--   | patient |
--   unseen_looks
--   | log_row | stands_before |
--   | 6       | 2024-02-01    |
--   emptied_sites
--   | log_row | was_empty | reappears | reappeared |
--   part_rows
--   | patient | denture | position | part    | seq | day_first  | day_last   | may_overlap | finding     | action          | on_delivery | taken_over | seen_before |
--   | 1       | 5       | 33       | insert  | 1   | 2023-01-09 | 2023-01-09 | false       | not present | fitted          | true        | false      |             |
--   | 1       | 5       | 33       | insert  | 2   | 2024-01-10 | 2024-01-10 | false       | worn        | none            | false       | false      | 2023-07-01  |
--   | 1       | 5       | 33       | insert  | 3   | 2024-02-01 | 2024-02-01 | false       | worn        | replaced        | false       | false      | 2023-07-01  |
--   | 1       | 5       | 43       | housing | 2   | 2024-01-10 | 2024-01-10 | false       | debonded    | picked up again | false       | false      |             |
--   | 1       | 5       | 43       | insert  | 1   | 2023-01-09 | 2023-01-09 | false       | not present | fitted          | true        | false      |             |
--   | 1       | 5       | 43       | insert  | 4   | 2024-03-01 | 2024-03-01 | false       | not checked | none            | false       | false      | 2024-02-01  |
--   | 1       | 5       | 43       | insert  | 5   | 2024-03-09 | 2024-03-09 | false       | worn        | replaced        | false       | false      | 2024-03-01  |
--   gives
--   | part    | position | seq | opens | closes | in_place | arrives | serial_before | serial_after | looked_before | looked_upto | last_row |
--   | insert  | 33       | 1   | true  | true   | false    | false   | 0             | 1            |               |             | false    |
--   | insert  | 33       | 2   | false | false  | true     | false   | 1             | 1            | 2023-07-01    | 2024-01-10  | false    |
--   | insert  | 33       | 3   | true  | true   | true     | false   | 1             | 2            | 2024-01-10    | 2024-02-01  | true     |
--   | housing | 43       | 2   | false | false  | true     | true    | 1             | 1            |               | 2024-01-10  | true     |
--   | bond    | 43       | 2   | true  | true   | true     | true    | 1             | 2            |               | 2024-01-10  | true     |
--   | insert  | 43       | 1   | true  | true   | false    | false   | 0             | 1            |               |             | false    |
--   | insert  | 43       | 4   | false | false  | true     | false   | 1             | 1            | 2024-02-01    | 2024-02-01  | false    |
--   | insert  | 43       | 5   | true  | true   | true     | false   | 1             | 2            | 2024-02-01    | 2024-03-09  | true     |
with handled as (
    select
        rowid as log_row, patient, denture, position, part, seq, day_first, day_last, may_overlap, reason, snap, snap_history,
        finding, action, change_reason, on_delivery, taken_over, seen_before
    from part_rows
    union all
    select
        part_rows.rowid, patient, denture, position, 'bond'::part_word, seq, day_first, day_last, may_overlap, reason, snap, snap_history,
        finding, action, change_reason, on_delivery, taken_over, seen_before
    from part_rows, settings
    where part = 'housing' and settings.bonds
    union all
    select
        -1 - rowid, patient, denture, position, part, seq, day_first, day_last, may_overlap, reason, null, null,
        finding, action, null, false, false, seen_before
    from carried_rows
),
sited as (
    select
        ((case when part in ('abutment', 'bar') then 2 * patient::bigint else 2 * denture::bigint + 1 end) * 1024 + enum_code(position)) * 16 + enum_code(part) as site,
        handled.* exclude (may_overlap, on_delivery),
        action in ('fitted', 'replaced') or (part = 'bond' and action = 'picked up again') or taken_over as opens,
        log_row >= 0 and action <> 'fitted' and finding <> 'not present'
            and not (action in ('replaced', 'moved') and on_delivery)
            and not (action = 'left out on purpose' and finding in ('not checked', 'notes silent')) as speaks_of_a_part,
        case
            when finding not in ('not checked', 'notes silent', 'not present', 'covered', 'tissue grown over') and not may_overlap then day_first
        end as listed_look
    from handled
),
in_turn as (
    select
        *,
        lead(seq) over in_order is null as last_row,
        row_number() over in_order = 1 as first_row,
        first_value(speaks_of_a_part) over up_to_here as began_in_place,
        count(*) filter (opens) over earlier as opened,
        max(listed_look) over earlier as listed_before
    from sited
    window
        in_order as (partition by site order by seq),
        up_to_here as (partition by site order by seq rows between unbounded preceding and current row),
        earlier as (partition by site order by seq rows between unbounded preceding and 1 preceding)
)
select
    log_row, site, patient, denture, position, part, seq, day_first, day_last, reason, snap, snap_history, finding, action, change_reason,
    taken_over, opens, last_row,
    log_row < 0 as carried,
    finding not in ('not checked', 'notes silent', 'not present', 'covered', 'tissue grown over') as looked,
    opens or lets_go(finding, action) as closes,
    case when first_row then speaks_of_a_part else coalesce(emptied_sites.reappears, false) or not coalesce(emptied_sites.was_empty, false) end as in_place,
    (first_row and speaks_of_a_part) or coalesce(emptied_sites.reappears, false) as arrives,
    opens or (in_place and not closes) as in_place_after,
    (began_in_place::integer + opened + coalesce(emptied_sites.reappeared, 0))::smallint as serial_before,
    (serial_before + opens::integer)::smallint as serial_after,
    greatest(listed_before, case when unseen_looks.log_row is null then seen_before else stands_before end) as looked_before,
    greatest(looked_before, listed_look) as looked_upto
from in_turn
left join emptied_sites using (log_row)
left join unseen_looks using (log_row)
