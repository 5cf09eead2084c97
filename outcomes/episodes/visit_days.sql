-- title: Visits in order, the days they can have been, and what each says of parts not listed
-- grain: one row per dated visit up to the closing day
-- key: visit_id
-- needs: visits, people, dentures, parts_log, settings
--
-- day_first and day_last bound the visit's day: a month or a year as written is kept whole, never put in its middle. It is cut only by what is
-- certain: nothing lies after the closing day, a visit that is not the delivery lies after the first delivery, a delivery before the next visit.
-- seq is the order within the patient: by first possible day, deliveries first, then the more precise date, then visit_order.
--
-- What was looked at beside the rows of the log: "all" is a look at every abutment, housing and insert of the jaws the visit speaks of,
-- "inserts only" at the inserts. Where the notes are silent and the plan's unlisted is "sound", a recall or review that lists any part of a denture
-- counts as a look at all of it. Nothing is seen by telephone; at laboratory lines the abutments are not seen; nobody is looked at after death.
-- A coarse visit that may lie after the next one says nothing of parts not listed, because they may have been changed in between.
-- before_*: first possible day of the last such look at an earlier visit.
--
-- example:
--   settings
--   | closing_day | unlisted   |
--   | 2024-12-31  | ask        |
--   people
--   | patient | patient_id |
--   | 1       | P1         |
--   dentures
--   | denture_id | patient_id | arch  | delivered_on | delivered_on_precision |
--   | P1/lower/1 | P1         | lower | 2023-05-10   | day                    |
--   visits
--   | visit_id | patient_id | visited_on | visited_on_precision | reason   | parts_checked |
--   | a        | P1         | 2023-05-10 | day                  | delivery | all           |
--   | b        | P1         | 2023-05-01 | month                | review   | inserts only  |
--   | c        | P1         | 2024-01-01 | year                 | recall   | all           |
--   | d        | P1         | 2024-06-03 | day                  | problem  | listed only   |
--   gives
--   | visit_id | patient | seq | day_first  | day_last   | may_overlap | lower_inserts | lower_housings | before_lower_inserts | before_lower_housings |
--   | a        | 1       | 1   | 2023-05-10 | 2023-05-10 | false    | true          | true           |                      |                       |
--   | b        | 1       | 2   | 2023-05-10 | 2023-05-31 | false    | true          | false          | 2023-05-10           | 2023-05-10            |
--   | c        | 1       | 3   | 2024-01-01 | 2024-12-31 | true     | false         | false          | 2023-05-10           | 2023-05-10            |
--   | d        | 1       | 4   | 2024-06-03 | 2024-06-03 | false    | false         | false          | 2023-05-10           | 2023-05-10            |
with dated as (
    select
        visits.visit_id, people.patient, visits.visit_order, visits.arch, visits.reason, visits.clinician, visits.parts_checked, visits.snap, visits.snap_history,
        visits.visited_on as day_first,
        least(last_possible(visits.visited_on, visits.visited_on_precision), settings.closing_day) as day_last,
        people.left_reason = 'died' and visits.visited_on > people.left_last as after_death,
        settings.unlisted
    from visits
    join people using (patient_id)
    cross join settings
    where visits.visited_on <= settings.closing_day
),
delivered as (
    select people.patient, min(dentures.delivered_on) as delivered_on
    from dentures join people using (patient_id)
    group by people.patient
),
after_delivery as (
    select dated.* replace (
        case when reason <> 'delivery' and day_last > day_first and delivered_on between day_first and day_last then delivered_on else day_first end as day_first
    )
    from dated left join delivered using (patient)
),
in_order as (
    select
        *,
        row_number() over patient_order as seq,
        lead(day_first) over patient_order as next_first,
        lead(day_last) over patient_order as next_last
    from after_delivery
    window patient_order as (partition by patient order by day_first, reason = 'delivery' desc, day_last, visit_order, visit_id)
),
listed as (
    select visit_id, bool_or(arch_of(position) = 'upper') as upper_listed, bool_or(arch_of(position) = 'lower') as lower_listed
    from parts_log
    semi join (select visit_id from dated where unlisted = 'sound' and parts_checked = 'notes silent') using (visit_id)
    group by visit_id
),
looks as (
    select
        in_order.* exclude (day_last, next_first, next_last, after_death, unlisted),
        case when reason = 'delivery' and seq = 1 then least(day_last, coalesce(next_last, day_last)) else day_last end as day_last,
        day_last > day_first and coalesce(day_last >= next_first, false) and not (reason = 'delivery' and seq = 1) as may_overlap,
        not may_overlap and not coalesce(after_death, false) and reason <> 'contact only' as anybody_looked,
        parts_checked = 'notes silent' and reason in ('recall', 'review') and unlisted = 'sound' as silent,
        anybody_looked and (parts_checked in ('all', 'inserts only') or silent) as inserts,
        anybody_looked and (parts_checked = 'all' or silent) as housings,
        housings and reason <> 'laboratory' as abutments,
        (arch is null or arch = 'upper') and (not silent or coalesce(upper_listed, false)) as upper_jaw,
        (arch is null or arch = 'lower') and (not silent or coalesce(lower_listed, false)) as lower_jaw
    from in_order
    left join listed using (visit_id)
)
select
    row_number() over ()::integer as visit,
    visit_id, patient, seq::smallint as seq, day_first, day_last, may_overlap, arch, reason::visit_reason_word as reason, clinician,
    snap::snap_word as snap, snap_history::history_word as snap_history, parts_checked,
    upper_jaw and inserts as upper_inserts,
    upper_jaw and housings as upper_housings,
    upper_jaw and abutments as upper_abutments,
    lower_jaw and inserts as lower_inserts,
    lower_jaw and housings as lower_housings,
    lower_jaw and abutments as lower_abutments,
    max(case when upper_jaw and inserts then day_first end) over earlier as before_upper_inserts,
    max(case when upper_jaw and housings then day_first end) over earlier as before_upper_housings,
    max(case when upper_jaw and abutments then day_first end) over earlier as before_upper_abutments,
    max(case when lower_jaw and inserts then day_first end) over earlier as before_lower_inserts,
    max(case when lower_jaw and housings then day_first end) over earlier as before_lower_housings,
    max(case when lower_jaw and abutments then day_first end) over earlier as before_lower_abutments
from looks
window earlier as (partition by patient order by seq rows between unbounded preceding and 1 preceding)
