-- title: Everything that carries a clock
-- grain: one row per unit (part, bond, denture, implant) and way of following it
-- key: follow_up, kind, unit
-- needs: part_lives, neighbours, late_entries, denture_days, denture_looks, care, people, life_looks, stops, plan_endpoints, closing_findings, closing_actions, closing_causes
--
-- follow_up: "whole" for the main results; "until the first gap" repeats the units of patients with a gap in care, cut at the day their care ended.
-- excluded: why a unit counts for no endpoint. Day 0 of a denture is its delivery, of an implant the day its first abutment was fitted.
-- closing: which endpoints the row at which a part went counts for, one bit each.
--
-- example:
--   plan_endpoints
--   | endpoint | kind    |
--   | 0        | insert  |
--   | 1        | denture |
--   closing_findings
--   | kind   | finding | bits |
--   | insert | worn    | 1    |
--   closing_actions
--   | kind   | action  | bits |
--   | insert | removed | 2    |
--   closing_causes
--   | kind   | cause      | bits |
--   | insert | worn, seen | 4    |
--   people
--   | patient | consented |
--   | 1       | true      |
--   care
--   | patient | end_day    | ending |
--   | 1       | 2024-12-31 |        |
--   denture_days
--   | denture | patient | delivered_first | delivered_last | fresh | end_day    | ending | excluded |
--   | 5       | 1       | 2023-01-09      | 2023-01-09     | true  | 2024-12-31 |        |          |
--   denture_looks
--   | denture | seq | looked_on  |
--   | 5       | 2   | 2024-02-01 |
--   neighbours
--   | life | known_sound |
--   late_entries
--   | kind | unit | first_look_on | entry_on |
--   stops
--   | patient | stop_day   |
--   | 1       | 2023-12-01 |
--   life_looks
--   | life | seq | patient | looked_on  |
--   | 1    | 2   | 1       | 2023-07-01 |
--   | 1    | 4   | 1       | 2024-02-01 |
--   part_lives
--   | life | site | part   | patient | denture | arrived | start_known | fitted_first | fitted_last | by_row | end_first  | end_last   | finding | cause      | ending | looked_before | last_look  |
--   | 1    | 9    | insert | 1       | 5       | false   | true        | 2023-01-09   | 2023-01-09  | true   | 2024-02-01 | 2024-02-01 | worn    | worn, seen | failed | 2023-07-01    | 2024-02-01 |
--   gives
--   | follow_up           | kind    | unit | fresh | excluded | end_first  | ending | closing | last_look  |
--   | whole               | insert  | 1    | true  |          | 2024-02-01 | failed | 5       | 2024-02-01 |
--   | until the first gap | insert  | 1    | true  |          | 2023-12-01 |        | 0       | 2023-07-01 |
--   | whole               | denture | 5    | true  |          | 2024-12-31 |        | 0       | 2024-02-01 |
--   | until the first gap | denture | 5    | true  |          | 2023-12-01 |        | 0       |            |
with parts as (
    select
        part_lives.part as kind, part_lives.life as unit, part_lives.patient, part_lives.denture,
        fitted_first as start_first, fitted_last as start_last, not arrived as fresh, start_known,
        attachment, by_row, end_first, end_last, part_lives.finding, action, found_at, noticed_first, noticed_last, looked_before, last_look,
        case when neighbours.known_sound then 'with its pair'::cause_word else part_lives.cause end as cause,
        case when neighbours.life is not null then 'changed with a neighbour'::ending_word else part_lives.ending end as ending
    from part_lives
    left join neighbours on neighbours.life = part_lives.life
    where part_lives.part in (select kind from plan_endpoints)
),
dentures_watched as (
    select
        'denture'::part_word as kind, denture_days.denture::bigint as unit, denture_days.patient, denture_days.denture,
        delivered_first as start_first, delivered_last as start_last, fresh, delivered_first is not null as start_known,
        false as by_row, end_day as end_first, end_day as end_last, max(looked_on) as last_look, ''::cause_word as cause, ending::ending_word as ending
    from denture_days
    left join denture_looks using (denture)
    where 'denture' in (select kind from plan_endpoints)
    group by all
),
implants_watched as (
    select
        'implant'::part_word as kind, first_abutment.site as unit, first_abutment.patient, first_abutment.denture,
        first_abutment.fitted_first as start_first, first_abutment.fitted_last as start_last, not first_abutment.arrived as fresh, first_abutment.start_known,
        false as by_row, care.end_day as end_first, care.end_day as end_last, max(abutments.last_look) as last_look, ''::cause_word as cause,
        (case when care.ending in ('changed to fixed', 'changed to plain denture') then 'lost to follow-up' else care.ending end)::ending_word as ending
    from part_lives as first_abutment
    join part_lives as abutments on abutments.site = first_abutment.site
    join care on care.patient = first_abutment.patient
    where first_abutment.part = 'abutment' and first_abutment.serial = 1 and 'implant' in (select kind from plan_endpoints)
    group by all
),
every as (
    select * from parts
    union all by name
    select * from dentures_watched
    union all by name
    select * from implants_watched
),
described as (
    select
        every.*,
        late_entries.first_look_on, late_entries.entry_on,
        (case
            when not people.consented then 'no consent'
            when coalesce(denture_days.excluded, '') <> '' then denture_days.excluded
            when not start_known then 'unknown start'
            else ''
        end)::excluded_word as excluded,
        case when by_row then coalesce(by_finding.bits, 0) | coalesce(by_action.bits, 0) | coalesce(by_cause.bits, 0) else 0 end as closing
    from every
    join people using (patient)
    left join denture_days using (denture)
    left join late_entries on not every.fresh and late_entries.kind = every.kind and late_entries.unit = every.unit
    left join closing_findings as by_finding on by_finding.kind = every.kind and by_finding.finding = every.finding
    left join closing_actions as by_action on by_action.kind = every.kind and by_action.action = every.action
    left join closing_causes as by_cause on by_cause.kind = every.kind and by_cause.cause = every.cause
),
looks_until_stop as (
    select part_lives.part as kind, life as unit, patient, looked_on from life_looks join part_lives using (life, patient)
    union all
    select 'implant'::part_word, site, patient, looked_on from life_looks join part_lives using (life, patient) where part = 'abutment'
    union all
    select 'denture'::part_word, denture, patient, looked_on from denture_looks join denture_days using (denture)
),
seen_until_stop as (
    select kind, unit, max(looked_on) as last_look
    from looks_until_stop join stops using (patient)
    where looked_on <= stop_day
    group by kind, unit
)
select 'whole' as follow_up, null::date as stop_day, * from described
union all by name
select
    'until the first gap' as follow_up, stops.stop_day,
    described.* replace (
        case when end_first > stop_day then false else by_row end as by_row,
        case when end_first > stop_day then stop_day else end_first end as end_first,
        case when end_first > stop_day then stop_day else end_last end as end_last,
        case when end_first > stop_day then ''::ending_word else ending end as ending,
        case when end_first > stop_day then ''::cause_word else cause end as cause,
        case when end_first > stop_day then 0 else closing end as closing,
        case when end_first > stop_day then seen_until_stop.last_look else described.last_look end as last_look,
        case when excluded = '' and start_last > stop_day then 'after the first gap in care'::excluded_word else excluded end as excluded
    )
from described
join stops using (patient)
left join seen_until_stop on seen_until_stop.kind = described.kind and seen_until_stop.unit = described.unit
