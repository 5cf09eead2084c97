-- title: Visits in order, the days they can have been, and what each says of parts not listed
-- grain: one row per dated visit up to the closing day
-- key: patient, seq
-- needs: visits, people, coarse_visits, parts_log, settings
--
-- day_first and day_last bound the visit's day. seq is the order within the patient: by first possible day, deliveries first, the more precise date first, then visit_order.
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
--   coarse_visits
--   | visit_id | day_first  | day_last   | may_overlap |
--   | c        | 2024-01-01 | 2024-12-31 | true        |
--   visits
--   | visit_id | patient_id | visited_on | reason   | parts_checked |
--   | a        | P1         | 2023-05-10 | delivery | all           |
--   | b        | P1         | 2023-05-20 | review   | inserts only  |
--   | c        | P1         | 2024-01-01 | recall   | all           |
--   | d        | P1         | 2024-06-03 | problem  | listed only   |
--   | e        | P1         | 2025-06-03 | recall   | all           |
--   gives
--   | visit_id | patient | seq | day_first  | day_last   | may_overlap | lower_inserts | lower_housings | before_lower_inserts | before_lower_housings |
--   | a        | 1       | 1   | 2023-05-10 | 2023-05-10 | false       | true          | true           |                      |                       |
--   | b        | 1       | 2   | 2023-05-20 | 2023-05-20 | false       | true          | false          | 2023-05-10           | 2023-05-10            |
--   | c        | 1       | 3   | 2024-01-01 | 2024-12-31 | true        | false         | false          | 2023-05-20           | 2023-05-10            |
--   | d        | 1       | 4   | 2024-06-03 | 2024-06-03 | false       | false         | false          | 2023-05-20           | 2023-05-10            |
with listed as (
    select visit_id, bool_or(arch_of(position) = 'upper') as upper_listed, bool_or(arch_of(position) = 'lower') as lower_listed
    from parts_log
    semi join (select visit_id from visits, settings where unlisted = 'sound' and parts_checked = 'notes silent') using (visit_id)
    group by visit_id
),
dated as (
    select
        visits.visit_id, people.patient, visits.visit_order::utinyint as visit_order, visits.arch::arch_word as arch, visits.reason::visit_reason_word as reason,
        visits.snap::snap_word as snap, visits.snap_history::history_word as snap_history, visits.parts_checked::checked_word as parts_checked,
        coalesce(coarse_visits.day_first, visits.visited_on) as day_first,
        coalesce(coarse_visits.day_last, visits.visited_on) as day_last,
        coalesce(coarse_visits.may_overlap, false) as may_overlap,
        people.left_reason = 'died' and visits.visited_on > people.left_last as after_death,
        visits.parts_checked = 'notes silent' and visits.reason in ('recall', 'review') and settings.unlisted = 'sound' as silent,
        upper_listed, lower_listed
    from visits
    join people using (patient_id)
    cross join settings
    left join coarse_visits using (visit_id)
    left join listed using (visit_id)
    where visits.visited_on <= settings.closing_day
),
looks as (
    select
        *,
        not may_overlap and not coalesce(after_death, false) and reason <> 'contact only' as anybody_looked,
        anybody_looked and (parts_checked in ('all', 'inserts only') or silent) as inserts,
        anybody_looked and (parts_checked = 'all' or silent) as housings,
        housings and reason <> 'laboratory' as abutments,
        (arch is null or arch = 'upper') and (not silent or coalesce(upper_listed, false)) as upper_jaw,
        (arch is null or arch = 'lower') and (not silent or coalesce(lower_listed, false)) as lower_jaw
    from dated
)
select
    visit_id, patient,
    (row_number() over patient_order)::smallint as seq,
    day_first, day_last, may_overlap, arch, reason, snap, snap_history, parts_checked,
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
window
    patient_order as (partition by patient order by day_first, reason <> 'delivery', day_last, visit_order, arch),
    earlier as (partition by patient order by day_first, reason <> 'delivery', day_last, visit_order, arch rows between unbounded preceding and 1 preceding)
