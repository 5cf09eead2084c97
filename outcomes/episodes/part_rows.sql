-- title: The parts log, numbered and dated
-- grain: one row per visit, position and part looked at or handled
-- key: visit, position, part
-- needs: parts_log, visit_days, denture_days
--
-- Each row brings the order and days of its visit and seen_before, the last earlier visit that was a look at such a part of that jaw without listing it.
-- taken_over: the part was not new that day: it was moved here from another position or denture, or the denture was delivered with the housings of the
-- one before. on_delivery: the day the denture was delivered, on which nothing was in it before.
-- Rows of visits without a day, and of housings and inserts that name no known denture, cannot be placed and are counted in the flow.
--
-- example:
--   visit_days
--   | visit | visit_id | patient | seq | day_first  | day_last   | reason   | before_lower_inserts | before_lower_abutments |
--   | 1     | a        | 1       | 1   | 2023-01-09 | 2023-01-09 | delivery |                      |                        |
--   | 2     | b        | 1       | 2   | 2024-02-01 | 2024-02-01 | recall   | 2023-07-01           | 2023-01-09             |
--   denture_days
--   | denture | denture_id | delivered_first | existing | housings_taken_over |
--   | 5       | P1/lower/1 | 2023-01-09      | false    | true                |
--   parts_log
--   | visit_id | denture_id | position | part     | finding     | action    | noticed_on | noticed_on_precision |
--   | a        | P1/lower/1 | 33       | housing  | sound       | fitted    |            |                      |
--   | b        | P1/lower/1 | 33       | insert   | worn        | replaced  | 2024-01-01 | month                |
--   | b        |            | 33       | abutment | loose in its seat | tightened |      |                      |
--   gives
--   | visit | patient | denture | position | part     | seq | taken_over | on_delivery | seen_before | noticed_first | noticed_last |
--   | 1     | 1       | 5       | 33       | housing  | 1   | true       | true        |             |               |              |
--   | 2     | 1       | 5       | 33       | insert   | 2   | false      | false       | 2023-07-01  | 2024-01-01    | 2024-01-31   |
--   | 2     | 1       |         | 33       | abutment | 2   | false      | false       | 2023-01-09  |               |              |
select
    visit_days.visit, visit_days.patient, denture_days.denture,
    parts_log.position::position_word as position,
    parts_log.part::part_word as part,
    visit_days.seq, visit_days.day_first, visit_days.day_last, visit_days.reason, visit_days.snap, visit_days.snap_history,
    parts_log.finding::finding_word as finding,
    parts_log.action::action_word as action,
    parts_log.change_reason::change_word as change_reason,
    coalesce(visit_days.day_first = denture_days.delivered_first and not denture_days.existing, false) as on_delivery,
    (parts_log.action = 'moved' and (parts_log.finding = 'not present' or on_delivery))
        or (parts_log.part = 'housing' and parts_log.action = 'fitted' and on_delivery and denture_days.housings_taken_over) as taken_over,
    case
        when arch_of(parts_log.position) = 'upper' then
            case
                when parts_log.part in ('insert', 'clip') then before_upper_inserts
                when parts_log.part = 'housing' then before_upper_housings
                else before_upper_abutments
            end
        when parts_log.part in ('insert', 'clip') then before_lower_inserts
        when parts_log.part = 'housing' then before_lower_housings
        else before_lower_abutments
    end as seen_before,
    parts_log.noticed_on as noticed_first,
    last_possible(parts_log.noticed_on, parts_log.noticed_on_precision) as noticed_last,
    parts_log.in_place_since as since_first,
    last_possible(parts_log.in_place_since, parts_log.in_place_since_precision) as since_last,
    parts_log.attachment::attachment_word as attachment,
    parts_log.level,
    parts_log.torque_ncm, parts_log.height_mm,
    parts_log.pick_up::pick_up_word as pick_up,
    parts_log.surface::surface_word as surface
from parts_log
join visit_days using (visit_id)
left join denture_days using (denture_id)
where denture_days.denture is not null or parts_log.part in ('abutment', 'bar')
