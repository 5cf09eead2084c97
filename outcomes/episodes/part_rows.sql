-- title: The parts log, numbered and dated
-- grain: one row per visit, position and part looked at or handled
-- key: patient, seq, position, part
-- needs: parts_log, visit_days, denture_days
--
-- Each row brings the order and days of its visit, and seen_before: the last earlier visit that was a look at all such parts of that jaw.
-- taken_over: the part was not new that day: it was moved here from another position or denture, or the denture was delivered with the housings of the
-- one before. on_delivery: the day the denture was delivered, on which nothing was in it before.
-- Rows of visits without a day, and of housings and inserts that name no known denture, cannot be placed and are counted in the flow.
--
-- example:
--   visit_days
--   | visit_id | patient | seq | day_first  | day_last   | reason   | before_lower_inserts | before_lower_abutments |
--   | a        | 1       | 1   | 2023-01-09 | 2023-01-09 | delivery |                      |                        |
--   | b        | 1       | 2   | 2024-02-01 | 2024-02-01 | recall   | 2023-07-01           | 2023-01-09             |
--   denture_days
--   | denture | denture_id | delivered_first | existing | housings_taken_over |
--   | 5       | P1/lower/1 | 2023-01-09      | false    | true                |
--   parts_log
--   | visit_id | denture_id | position | part     | finding     | action    |
--   | a        | P1/lower/1 | 33       | housing  | sound       | fitted    |
--   | b        | P1/lower/1 | 33       | insert   | worn        | replaced  |
--   | b        |            | 33       | abutment | loose in its seat | tightened |
--   gives
--   | patient | seq | denture | position | part     | taken_over | on_delivery | seen_before |
--   | 1       | 1   | 5       | 33       | housing  | true       | true        |             |
--   | 1       | 2   | 5       | 33       | insert   | false      | false       | 2023-07-01  |
--   | 1       | 2   |         | 33       | abutment | false      | false       | 2023-01-09  |
with coded as (
    select
        visit_id, denture_id,
        position::position_word as position,
        arch_of(position) = 'upper' as is_upper,
        part::part_word as part,
        finding::finding_word as finding,
        action::action_word as action,
        change_reason::change_word as change_reason,
        attachment::attachment_word as attachment,
        level, torque_ncm, height_mm,
        pick_up::pick_up_word as pick_up,
        surface::surface_word as surface
    from parts_log
)
select
    coded.* exclude (visit_id, denture_id, is_upper),
    visit_days.patient, visit_days.seq, visit_days.day_first, visit_days.day_last, visit_days.may_overlap, visit_days.reason, visit_days.snap, visit_days.snap_history,
    denture_days.denture,
    coalesce(visit_days.day_first = denture_days.delivered_first and not denture_days.existing, false) as on_delivery,
    (action = 'moved' and (finding = 'not present' or on_delivery))
        or (part = 'housing' and action = 'fitted' and on_delivery and denture_days.housings_taken_over) as taken_over,
    case
        when part in ('insert', 'clip') then case when is_upper then before_upper_inserts else before_lower_inserts end
        when part = 'housing' then case when is_upper then before_upper_housings else before_lower_housings end
        else case when is_upper then before_upper_abutments else before_lower_abutments end
    end as seen_before
from coded
join visit_days using (visit_id)
left join denture_days using (denture_id)
where denture_days.denture is not null or part in ('abutment', 'bar')
