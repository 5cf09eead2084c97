-- title: Everything that carries a clock
-- grain: one row per unit: part, bond, denture or implant
-- key: kind, unit
-- needs: part_lives, part_rows, neighbours, late_entries, denture_days, denture_looks, care, plan_endpoints, closing_findings, closing_actions, closing_causes
--
-- excluded: why a unit counts for no endpoint. Day 0 of a denture is its delivery, of an implant the day its first abutment was fitted.
-- rules_out: what an ending that is not the endpoint makes of it: blank for those who moved, withdrew, were lost, and for abutments and implants of those who
-- gave up their denture, because their watching ended and nothing else; a part that failed in a way that does not count is "failed otherwise", an insert
-- then bears its cause. attachment: only where an endpoint asks for it. closing: which endpoints the row at which a part went counts for, one bit each.
--
-- example:
--   plan_endpoints
--   | endpoint | kind    | attachments |
--   | 0        | insert  |             |
--   | 1        | denture |             |
--   | 2        | implant |             |
--   closing_findings
--   | kind   | finding | bits |
--   | insert | worn    | 1    |
--   closing_actions
--   | kind   | action  | bits |
--   | insert | removed | 2    |
--   closing_causes
--   | kind   | cause      | bits |
--   | insert | worn, seen | 4    |
--   care
--   | patient | end_day    | ending           | consented |
--   | 1       | 2024-12-31 | changed to fixed | true      |
--   denture_days
--   | denture | patient | delivered_first | delivered_last | fresh | end_day    | ending          | excluded |
--   | 5       | 1       | 2023-01-09      | 2023-01-09     | true  | 2024-12-31 | denture retired |          |
--   denture_looks
--   | denture | seq | looked_on  |
--   | 5       | 2   | 2024-02-01 |
--   neighbours
--   | life | known_sound |
--   | 2    | true        |
--   late_entries
--   | kind     | unit | first_look_on | entry_on   |
--   | abutment | 3    | 2023-03-01    | 2023-03-01 |
--   | implant  | 11   | 2023-03-01    | 2023-03-01 |
--   part_lives
--   | life | site | serial | part     | patient | denture | arrived | start_known | fitted_first | fitted_last | by_row | end_first  | end_last   | finding | cause      | ending            | looked_before | last_look  | excluded |
--   | 1    | 9    | 1      | insert   | 1       | 5       | false   | true        | 2023-01-09   | 2023-01-09  | true   | 2024-02-01 | 2024-02-01 | worn    | worn, seen | failed            | 2023-07-01    | 2024-02-01 |          |
--   | 2    | 10   | 1      | insert   | 1       | 5       | false   | true        | 2023-01-09   | 2023-01-09  | true   | 2024-02-01 | 2024-02-01 | sound   | routine    | routine           | 2023-07-01    | 2024-02-01 |          |
--   | 3    | 11   | 1      | abutment | 1       | 5       | true    | true        | 2020-01-09   | 2020-01-09  | false  | 2024-12-31 | 2024-12-31 |         |            | changed to fixed  |               | 2024-02-01 |          |
--   gives
--   | kind    | unit | fresh | excluded | end_first  | ending                   | rules_out | cause         | closing | last_look  | entry_on   |
--   | insert  | 1    | true  |          | 2024-02-01 | failed                   | worn, seen | worn, seen    | 5       | 2024-02-01 |            |
--   | insert  | 2    | true  |          | 2024-02-01 | changed with a neighbour | changed with a neighbour | with its pair | 0       | 2024-02-01 |            |
--   | denture | 5    | true  |          | 2024-12-31 | denture retired          | denture retired |               | 0       | 2024-02-01 |            |
--   | implant | 11   | false |          | 2024-12-31 | changed to fixed         |           |               | 0       | 2024-02-01 | 2023-03-01 |
with parts as (
    select
        part_lives.part as kind, part_lives.life as unit, part_lives.patient, part_lives.denture,
        fitted_first as start_first, fitted_last as start_last, not arrived as fresh, start_known,
        kinds.attachment, end_first, end_last, last_row, found_at, looked_before, last_look,
        case when neighbours.known_sound then 'with its pair'::cause_word else part_lives.cause end as cause,
        case when neighbours.life is not null then 'changed with a neighbour'::ending_word else part_lives.ending end as ending,
        part_lives.excluded,
        case when by_row then coalesce(by_finding.bits, 0) | coalesce(by_action.bits, 0) | coalesce(by_cause.bits, 0) else 0 end as closing
    from part_lives
    semi join plan_endpoints on plan_endpoints.kind = part_lives.part
    left join (
        select rowid as first_row, attachment from part_rows where part in (select kind from plan_endpoints where attachments is not null)
    ) as kinds using (first_row)
    left join neighbours on neighbours.life = part_lives.life
    left join closing_findings as by_finding on by_finding.kind = part_lives.part and by_finding.finding = part_lives.finding
    left join closing_actions as by_action on by_action.kind = part_lives.part and by_action.action = part_lives.action
    left join closing_causes as by_cause on by_cause.kind = part_lives.part
        and by_cause.cause = case when neighbours.known_sound then 'with its pair'::cause_word else part_lives.cause end
),
dentures_watched as (
    select
        'denture'::part_word as kind, denture_days.denture::bigint as unit, denture_days.patient, denture_days.denture,
        delivered_first as start_first, delivered_last as start_last, fresh, delivered_first is not null as start_known,
        end_day as end_first, end_day as end_last, max(looked_on) as last_look, ''::cause_word as cause, ending::ending_word as ending,
        excluded::excluded_word as excluded, 0::bigint as closing
    from denture_days
    left join denture_looks using (denture)
    where 'denture' in (select kind from plan_endpoints)
    group by all
),
implants_watched as (
    select
        'implant'::part_word as kind, first_abutment.site as unit, first_abutment.patient, first_abutment.denture,
        first_abutment.fitted_first as start_first, first_abutment.fitted_last as start_last, not first_abutment.arrived as fresh, first_abutment.start_known,
        care.end_day as end_first, care.end_day as end_last, max(abutments.last_look) as last_look, ''::cause_word as cause,
        care.ending::ending_word as ending,
        first_abutment.excluded, 0::bigint as closing
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
)
select
    every.* exclude (start_known, excluded),
    (case
        when ending in ('', 'moved', 'withdrew', 'treated elsewhere', 'lost to follow-up', 'changed to fixed', 'changed to plain denture') then ''
        when ending = 'failed' and cause <> '' then cause::varchar
        when ending = 'failed' then 'failed otherwise'
        else ending::varchar
    end)::outcome_word as rules_out,
    case when every.excluded = '' and not start_known then 'unknown start'::excluded_word else every.excluded end as excluded,
    late_entries.first_look_on, late_entries.entry_on, null::date as stop_day
from every
left join late_entries on not every.fresh and late_entries.kind = every.kind and late_entries.unit = every.unit
