-- title: Events that did not end the part they befell
-- grain: one row per endpoint and unit: the first
-- key: endpoint, unit
-- needs: part_history, part_rows, part_lives, denture_log, denture_days, denture_looks, implant_days, visit_days, plan_endpoints, members, counting_findings, counting_actions, counting_causes
--
-- Findings and actions that count for an endpoint while the part stayed (worn and left in, tightened, picked up again), those of dentures and implants, and,
-- for an endpoint made of others ("any of"), the first at any site of the denture, whatever became of the part. Events at which a part went are found by units.
-- A denture retired because it broke is a broken base found on that day.
--
-- example:
--   plan_endpoints
--   | endpoint | kind    | attachments |
--   | 0        | insert  |             |
--   | 1        | denture |             |
--   | 2        | denture |             |
--   members
--   | whole | endpoint |
--   | 2     | 0        |
--   | 2     | 1        |
--   counting_findings
--   | endpoint | kind    | finding        |
--   | 0        | insert  | worn           |
--   | 1        | denture | base fractured |
--   counting_actions
--   | endpoint | kind    | action  |
--   counting_causes
--   | endpoint | kind    | cause  |
--   implant_days
--   | patient | position |
--   denture_days
--   | denture | denture_id | patient | arch  | retired_first | retired_last | retired_reason |
--   | 5       | P1/lower/1 | 1       | lower |               |              |                |
--   visit_days
--   | visit_id | patient | seq | day_first  | day_last   | reason  | before_lower_inserts |
--   | b        | 1       | 2   | 2024-02-01 | 2024-02-01 | recall  | 2023-07-01           |
--   | c        | 1       | 3   | 2024-08-01 | 2024-08-01 | problem | 2024-02-01           |
--   denture_looks
--   | denture | seq | looked_on  | looked_before |
--   | 5       | 2   | 2024-02-01 |               |
--   | 5       | 3   | 2024-08-01 | 2024-02-01    |
--   denture_log
--   | visit_id | denture_id | finding        | action   |
--   | c        | P1/lower/1 | base fractured | repaired |
--   part_lives
--   | life  | part   | by_row | denture |
--   | 28673 | insert | true   | 5       |
--   part_history
--   | site | patient | seq | part   | denture | serial_before | finding | action   | in_place | closes | day_first  | day_last   | looked_before | reason |
--   | 7    | 1       | 2   | insert | 5       | 1             | worn    | none     | true     | false  | 2024-02-01 | 2024-02-01 | 2023-07-01    | recall |
--   | 7    | 1       | 3   | insert | 5       | 1             | worn    | replaced | true     | true   | 2024-08-01 | 2024-08-01 | 2024-02-01    | problem |
--   gives
--   | endpoint | unit  | found_first | looked_before | found_at |
--   | 0        | 28673 | 2024-02-01  | 2023-07-01    | recall   |
--   | 1        | 5     | 2024-08-01  | 2024-02-01    | problem  |
--   | 2        | 5     | 2024-02-01  | 2023-07-01    | recall   |
with findings_at_parts as (
    select counting_findings.endpoint, part_history.*
    from part_history join counting_findings on counting_findings.kind = part_history.part and counting_findings.finding = part_history.finding
    where part_history.in_place
),
actions_at_parts as (
    select counting_actions.endpoint, part_history.*
    from part_history join counting_actions on counting_actions.kind = part_history.part and counting_actions.action = part_history.action
    where part_history.in_place
),
at_parts as (
    select endpoint, site, serial_before, denture, patient, seq, day_first, day_last, looked_before, reason, log_row, closes from findings_at_parts
    union all
    select endpoint, site, serial_before, denture, patient, seq, day_first, day_last, looked_before, reason, log_row, closes from actions_at_parts
),
at_dentures as (
    select endpoint, denture_days.denture, visit_days.seq, visit_days.day_first, visit_days.day_last, denture_looks.looked_before, visit_days.reason
    from denture_log
    join visit_days using (visit_id)
    join denture_days using (denture_id)
    join counting_findings on counting_findings.kind = 'denture' and counting_findings.finding = denture_log.finding::finding_word
    left join denture_looks on denture_looks.denture = denture_days.denture and denture_looks.seq = visit_days.seq
    union all
    select endpoint, denture_days.denture, visit_days.seq, visit_days.day_first, visit_days.day_last, denture_looks.looked_before, visit_days.reason
    from denture_log
    join visit_days using (visit_id)
    join denture_days using (denture_id)
    join counting_actions on counting_actions.kind = 'denture' and counting_actions.action = denture_log.action::action_word
    left join denture_looks on denture_looks.denture = denture_days.denture and denture_looks.seq = visit_days.seq
    union all
    select endpoint, denture_days.denture, null, retired_first, retired_last, max(looked_on), null
    from denture_days
    join counting_findings on counting_findings.kind = 'denture' and counting_findings.finding = 'base fractured'
    left join denture_looks on denture_looks.denture = denture_days.denture and looked_on < retired_first
    where retired_reason = 'fractured' and retired_first is not null
    group by all
),
at_implants as (
    select counting_findings.endpoint, part_lives.site, implant_days.lost_first, implant_days.lost_last, implant_days.abutments as seen_before
    from implant_days
    join counting_findings on counting_findings.kind = 'implant' and counting_findings.finding = implant_days.state
    join part_lives on part_lives.patient = implant_days.patient and part_lives.position = implant_days.position and part_lives.part = 'abutment' and part_lives.serial = 1
),
of_members as (
    select members.whole as endpoint, at_parts.denture, at_parts.seq, at_parts.day_first, at_parts.day_last, at_parts.reason
    from at_parts
    join members using (endpoint)
    join plan_endpoints using (endpoint)
    join part_lives on part_lives.life = at_parts.site * 4096 + at_parts.serial_before
    left join (select rowid as first_row, attachment from part_rows) as fitted on fitted.first_row = part_lives.first_row and plan_endpoints.attachments is not null
    where plan_endpoints.attachments is null or list_contains(plan_endpoints.attachments, fitted.attachment::varchar)
    union all
    select members.whole, part_lives.denture, part_lives.last_seq, end_first, end_last, found_at
    from part_lives
    join counting_causes on counting_causes.kind = part_lives.part and counting_causes.cause = part_lives.cause
    join members on members.endpoint = counting_causes.endpoint
    where part_lives.by_row
    union all
    select members.whole, denture, seq, day_first, day_last, reason
    from at_dentures join members using (endpoint)
),
every as (
    select endpoint, site * 4096 + serial_before as unit, seq, day_first, day_last, looked_before, reason, log_row
    from at_parts
    where not closes
    union all by name
    select endpoint, denture::bigint as unit, seq, day_first, day_last, looked_before, reason from at_dentures
    union all by name
    select endpoint, site as unit, lost_first as day_first, lost_last as day_last, seen_before as looked_before from at_implants
    union all by name
    select
        endpoint, of_members.denture::bigint as unit, of_members.seq, of_members.day_first, of_members.day_last, of_members.reason,
        case denture_days.arch when 'upper' then before_upper_inserts else before_lower_inserts end as looked_before
    from of_members
    join denture_days using (denture)
    left join visit_days on visit_days.patient = denture_days.patient and visit_days.seq = of_members.seq
)
select
    endpoint, unit, day_first as found_first, day_last as found_last, looked_before, reason as found_at, log_row
from every
qualify row_number() over (partition by endpoint, unit order by day_first, seq, log_row) = 1
