-- title: When each endpoint happened to each unit, in days since its day 0
-- grain: one row per endpoint, unit and way of following it
-- key: until_gap, endpoint, unit
-- needs: units, units_until_gap, plan_endpoints, endpoint_events, part_rows, part_notes, settings
--
-- until_gap: false for the main results; true repeats the units of patients with a gap in care, cut at the day their care ended.
-- L is the last day the unit was looked at and nothing that counts was found (0 if never), R the first day it was. L counts from the last possible day 0 and
-- takes a look at its first possible day, R the other way round: a coarse date only ever widens (L, R]. A failure on day 0 gets R = 1.
--   left_look   examination rule: L
--   left_care   patient rule: found at a problem visit max(L, R - notice_days), at another L; not found: max(L, U - notice_days), U being the day the unit's
--               service or its watching ended. An action or a state whose day is on record (noticed_by record) is exact, and U needs no notice.
--   right_day   R, null while not found
--   found_day   R for curves on the day found, on the clock of the last possible day 0
--   noticed_*   (L, R] narrowed to the day, month or year in which the patient noticed, where that is known; a day outside (L, R] is not used (noticed_outside)
-- Sources: Lesko et al., Am J Epidemiol 2018;187:623-632 and Epidemiology 2019;30:817-824 (when to censor).
--
-- cause: event; else the ending that ruled it out (died, denture retired, implant lost, changed for another reason) with its day; else blank: right-censored.
-- Late entry: entry_day is the first day seen with nothing that counts; failed at that look or before is excluded, and so is what was never looked at or has
-- no time after entry, such as a part changed at its first look.
--
-- example:
--   settings
--   | notice_days |
--   | 30          |
--   plan_endpoints
--   | endpoint | kind    | noticed_by  | bit | attachments |
--   | 0        | insert  | examination | 1   |             |
--   | 1        | housing | patient     | 2   |             |
--   | 2        | insert  | record      | 4   |             |
--   endpoint_events
--   | endpoint | unit | found_first | found_last | looked_before | found_at | log_row |
--   | 1        | 3    | 2024-01-10  | 2024-01-10 | 2023-07-01    | problem  | 0       |
--   part_rows
--   | patient | seq | position | part    |
--   | 1       | 2   | 33       | housing |
--   part_notes
--   | patient | seq | position | part    | noticed_first | noticed_last |
--   | 1       | 2   | 33       | housing | 2024-01-07    | 2024-01-07   |
--   units_until_gap
--   | unit |
--   units
--   | kind    | unit | start_first | start_last | fresh | excluded      | end_first  | end_last   | ending        | cause      | rules_out | closing | looked_before | last_look  | found_at | first_look_on | entry_on   |
--   | insert  | 1    | 2023-01-01  | 2023-01-01 | true  |               | 2024-01-01 | 2024-01-01 | failed        | worn, seen | worn, seen | 5       | 2023-07-01    | 2024-01-01 | recall   |               |            |
--   | insert  | 2    | 2023-01-01  | 2023-01-31 | true  |               | 2024-01-01 | 2024-01-01 | wanted firmer | wish       | wanted firmer | 4       | 2023-07-01    | 2024-01-01 | review   |               |            |
--   | housing | 3    | 2023-01-01  | 2023-01-01 | true  |               | 2024-12-31 | 2024-12-31 |               |            |           | 0       |               | 2024-11-01 |          |               |            |
--   | housing | 4    | 2023-01-01  | 2023-01-01 | true  |               | 2024-12-31 | 2024-12-31 | died          |            | died      | 0       |               | 2023-07-01 |          |               |            |
--   | insert  | 5    | 2020-01-01  | 2020-01-01 | false |               | 2024-01-01 | 2024-01-01 | failed        | worn, seen | worn, seen | 5       |               | 2024-01-01 | recall   | 2024-01-01    | 2024-01-01 |
--   | insert  | 6    |             |            | false | unknown start | 2024-12-31 | 2024-12-31 |               |            |           | 0       |               | 2023-07-01 |          |               |            |
--   gives
--   | endpoint | unit | excluded                | entry_day | left_look | left_care | right_day | found_day | cause         | competing_day | noticed_left | noticed_right |
--   | 0        | 1    |                         | 0         | 181       | 181       | 365       | 365       | event         |               |              |               |
--   | 2        | 1    |                         | 0         | 364       | 364       | 365       | 365       | event         |               |              |               |
--   | 0        | 2    |                         | 0         | 335       | 335       |           | 335       | wanted firmer | 335           |              |               |
--   | 2        | 2    |                         | 0         | 334       | 334       | 365       | 335       | event         |               |              |               |
--   | 1        | 3    |                         | 0         | 181       | 344       | 374       | 374       | event         |               | 370          | 371           |
--   | 1        | 4    |                         | 0         | 181       | 700       |           | 700       | died          | 730           |              |               |
--   | 0        | 5    | found failed on arrival |           |           |           |           |           |               |               |              |               |
--   | 2        | 5    | no time at risk         |           |           |           |           |           |               |               |              |               |
--   | 0        | 6    | unknown start           |           |           |           |           |           |               |               |              |               |
--   | 2        | 6    | unknown start           |           |           |           |           |           |               |               |              |               |
with followed as (
    select false as until_gap, * from units
    union all
    select true, * from units_until_gap
),
met as (
    select
        followed.* exclude (found_at, looked_before, last_row),
        plan_endpoints.endpoint, plan_endpoints.noticed_by, settings.notice_days,
        plan_endpoints.attachments is not null and followed.attachment is null as unknown_attachment,
        coalesce(early.found_first <= coalesce(stop_day, end_last), false) as found_early,
        found_early or (closing & plan_endpoints.bit) <> 0 as happened,
        case when found_early then early.found_first else end_first end as found_first,
        case when found_early then early.found_last else end_last end as found_last,
        case when not happened then last_look when found_early then early.looked_before else followed.looked_before end as looked,
        case when found_early then early.found_at else followed.found_at end as found_at,
        case when found_early then early.log_row else last_row end as log_row
    from followed
    join plan_endpoints on plan_endpoints.kind = followed.kind
    cross join settings
    left join endpoint_events as early on early.endpoint = plan_endpoints.endpoint and early.unit = followed.unit
    where plan_endpoints.attachments is null or followed.attachment is null or list_contains(plan_endpoints.attachments, followed.attachment::varchar)
),
noticed_days as (
    select part_rows.rowid as log_row, noticed_first, noticed_last
    from part_rows join part_notes using (patient, seq, position, part)
    where noticed_last is not null
),
entered as (
    select
        *,
        case
            when excluded <> '' then excluded
            when unknown_attachment then 'attachment not recorded'::excluded_word
            when fresh then ''::excluded_word
            when happened and found_first <= coalesce(first_look_on, found_first) then case when noticed_by = 'record' then 'no time at risk'::excluded_word else 'found failed on arrival'::excluded_word end
            when happened and found_first <= coalesce(entry_on, found_first) then 'failed before it entered'::excluded_word
            when entry_on is null then 'never seen sound'::excluded_word
            else ''::excluded_word
        end as excluded_here,
        greatest(found_last - start_first, 1) as right_if_found,
        greatest(found_first - start_last, 1) as found_early_on_clock,
        greatest(found_last - start_last, 1) as found_late_on_clock,
        greatest(end_first - start_last, 0) as end_day,
        greatest(coalesce(looked - start_last, 0), 0) as look_day,
        case when fresh then 0 else greatest(entry_on - start_last, 0) end as entry
    from met
    left join noticed_days using (log_row)
),
bounded as (
    select
        *,
        case
            when not happened then least(look_day, end_day)
            when noticed_by = 'record' then found_early_on_clock - 1
            else least(look_day, right_if_found - 1)
        end as l_look,
        case
            when not happened then greatest(l_look, end_day - case when noticed_by = 'record' then 0 else notice_days end)
            when noticed_by <> 'record' and found_at = 'problem' then least(greatest(l_look, found_early_on_clock - notice_days), right_if_found - 1)
            else l_look
        end as l_care,
        case when noticed_by = 'examination' then l_look else l_care end as l_own,
        happened and noticed_last is not null and noticed_by <> 'record' as noticed,
        case when noticed then greatest(l_look, noticed_first - 1 - start_last) end as n_left,
        case when noticed then least(right_if_found, greatest(noticed_last - start_first, 1)) end as n_right,
        coalesce(n_left < n_right, false) as narrowed
    from entered
),
kept as (
    select
        *,
        case
            when excluded_here = '' and not fresh and (case when happened then found_late_on_clock else l_own end) <= entry then 'no time at risk'::excluded_word
            else excluded_here
        end as left_out
    from bounded
)
select
    until_gap, endpoint, kind, unit, patient, fresh,
    left_out as excluded,
    left_out = '' and happened as observed,
    case when left_out = '' then entry end::integer as entry_day,
    case when left_out = '' then l_look end::integer as left_look,
    case when left_out = '' then l_care end::integer as left_care,
    case when left_out = '' and happened then right_if_found end::integer as right_day,
    case when left_out = '' then (case when happened then found_late_on_clock else l_own end) end::integer as found_day,
    case when left_out = '' and narrowed then n_left end::integer as noticed_left,
    case when left_out = '' and narrowed then n_right end::integer as noticed_right,
    left_out = '' and noticed and not narrowed as noticed_outside,
    case when left_out <> '' then ''::outcome_word when happened then 'event'::outcome_word else rules_out end as cause,
    case when left_out = '' and not happened and rules_out <> '' then greatest(end_day, 1) end::integer as competing_day,
    case when left_out = '' and happened then found_at end as found_at,
    ending = '' as still_watched,
    case when left_out = '' then last_look end as last_look
from kept
