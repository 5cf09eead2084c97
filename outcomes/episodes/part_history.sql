-- title: What happened at each site, row by row
-- grain: one row per visit and part of a site
-- key: site, seq
-- needs: part_rows, carried_rows, settings
--
-- A site is a place for one part: a position of a denture for housings, inserts and clips; a position in the mouth for abutments and bars, which
-- outlive dentures. The bond of a housing is followed as a site of its own ("bond"): picking the housing up again ends one bond and begins the next,
-- while the housing goes on.
--
-- opens: a part was put in.        closes: the part that was there went.        in_place: a part was there when the patient came.
-- A site's first row is not always a fitting: what is listed there otherwise was already in place (arrives), and so is a part that shows up at a site
-- whose last part had gone without a fitting being written down. A line that says nothing (not checked, nothing done) brings no part back.
-- serial_before and serial_after count the parts of the site: the one the finding speaks of, and the one the patient left with.
-- looked: the finding is a look at the part. Not checked, notes silent, not present, covered and overgrown parts were not seen.
-- looked_before: the last earlier look at the site, listed or not; looked_upto: the same counting this row. Both by first possible day. A listed look
-- at a coarse visit that may lie after the next row is not used, nor an unlisted one at a visit where a row says that the part was not seen.
--
-- example:
--   settings
--   | bonds |
--   | true  |
--   carried_rows
--   | visit |
--   part_rows
--   | visit | patient | denture | position | part    | seq | day_first  | day_last   | finding     | action          | on_delivery | taken_over | seen_before |
--   | 1     | 1       | 5       | 33       | insert  | 1   | 2023-01-09 | 2023-01-09 | not present | fitted          | true        | false      |             |
--   | 2     | 1       | 5       | 33       | insert  | 2   | 2024-01-10 | 2024-01-10 | worn        | none            | false       | false      | 2023-07-01  |
--   | 3     | 1       | 5       | 33       | insert  | 3   | 2024-02-01 | 2024-02-01 | worn        | replaced        | false       | false      | 2023-07-01  |
--   | 2     | 1       | 5       | 43       | housing | 2   | 2024-01-10 | 2024-01-10 | debonded    | picked up again | false       | false      |             |
--   gives
--   | part    | seq | opens | closes | in_place | arrives | serial_before | serial_after | looked_before | looked_upto | last_row |
--   | insert  | 1   | true  | true   | false    | false   | 0             | 1            |               |             | false    |
--   | insert  | 2   | false | false  | true     | false   | 1             | 1            | 2023-07-01    | 2024-01-10  | false    |
--   | insert  | 3   | true  | true   | true     | false   | 1             | 2            | 2024-01-10    | 2024-02-01  | true     |
--   | housing | 2   | false | false  | true     | true    | 1             | 1            |               | 2024-01-10  | true     |
--   | bond    | 2   | true  | true   | true     | true    | 1             | 2            |               | 2024-01-10  | true     |
with handled as (
    select *, false as carried from part_rows
    union all by name
    select * replace ('bond'::part_word as part), false as carried from part_rows, settings where part = 'housing' and bonds
    union all by name
    select *, true as carried from carried_rows
),
sited as (
    select
        ((case when part in ('abutment', 'bar') then 2 * patient::bigint else 2 * denture::bigint + 1 end) * 1024 + enum_code(position)) * 16 + enum_code(part) as site,
        *,
        action in ('fitted', 'replaced') or (part = 'bond' and action = 'picked up again') or coalesce(taken_over, false) as opens,
        opens
            or action in ('removed', 'left out on purpose', 'moved')
            or (finding in ('lost', 'not present')
                and action not in ('tightened', 're-activated', 'cleaned', 'taken out and put back', 'picked up again', 'repaired')) as closes,
        opens or not closes as in_place_after,
        not carried and action <> 'fitted' and finding <> 'not present'
            and not (action in ('replaced', 'moved') and coalesce(on_delivery, false))
            and not (action = 'left out on purpose' and finding in ('not checked', 'notes silent')) as speaks_of_a_part,
        finding not in ('not checked', 'notes silent', 'not present', 'covered', 'tissue grown over') as looked
    from handled
),
with_neighbours as (
    select
        *,
        lag(in_place_after) over site_order as was_in_place,
        lag(day_first) over site_order as previous_day,
        lead(day_first) over site_order as next_day
    from sited
    window site_order as (partition by site order by seq)
),
marked as (
    select
        * exclude (previous_day, next_day, was_in_place, speaks_of_a_part),
        next_day is null as last_row,
        coalesce(was_in_place, false)
            or (speaks_of_a_part and (was_in_place is null or not (action = 'none' and finding in ('not checked', 'notes silent')))) as in_place,
        in_place and not coalesce(was_in_place, false) as arrives,
        case when seen_before > previous_day or previous_day is null then seen_before end as unlisted_look,
        case when looked and (day_last = day_first or next_day is null or day_last < next_day) then day_first end as listed_look
    from with_neighbours
)
select
    * exclude (seen_before, unlisted_look, listed_look),
    (coalesce(sum(opens::smallint + arrives::smallint) over earlier, 0) + arrives::smallint)::smallint as serial_before,
    (serial_before + opens::smallint)::smallint as serial_after,
    greatest(max(greatest(listed_look, unlisted_look)) over earlier, unlisted_look) as looked_before,
    greatest(looked_before, listed_look) as looked_upto
from marked
window earlier as (partition by site order by seq rows between unbounded preceding and 1 preceding)
