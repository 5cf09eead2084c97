-- title: Visits known only to the month or the year
-- grain: one row per visit with such a date, up to the closing day
-- key: visit_id
-- needs: visits, dentures, settings
--
-- A month or a year as written is kept whole, never put in its middle. It is cut only by what is certain: no visit lies after the closing day, a visit that
-- is not the delivery lies after the patient's first delivery, and that delivery before every other visit.
-- may_overlap: the visit may lie before or after another one of the patient. Two visits written with the same month or year are in order by visit_order.
--
-- example:
--   settings
--   | closing_day |
--   | 2024-12-31  |
--   dentures
--   | denture_id | patient_id | delivered_on | delivered_on_precision |
--   | P1/lower/1 | P1         | 2023-05-10   | day                    |
--   | P2/lower/1 | P2         | 2023-01-01   | month                  |
--   visits
--   | visit_id | patient_id | visited_on | visited_on_precision | reason   | visit_order |
--   | a        | P1         | 2023-05-10 | day                  | delivery |             |
--   | b        | P1         | 2023-05-01 | month                | review   |             |
--   | c        | P1         | 2024-01-01 | year                 | recall   |             |
--   | d        | P1         | 2024-06-03 | day                  | problem  |             |
--   | e        | P2         | 2023-01-01 | month                | delivery |             |
--   | f        | P2         | 2023-01-20 | day                  | review   |             |
--   | g        | P2         | 2023-03-01 | month                | recall   | 1           |
--   | h        | P2         | 2023-03-01 | month                | problem  | 2           |
--   gives
--   | visit_id | day_first  | day_last   | may_overlap |
--   | b        | 2023-05-10 | 2023-05-31 | false       |
--   | c        | 2024-01-01 | 2024-12-31 | true        |
--   | e        | 2023-01-01 | 2023-01-20 | false       |
--   | g        | 2023-03-01 | 2023-03-31 | false       |
--   | h        | 2023-03-01 | 2023-03-31 | false       |
with first_delivered as (
    select patient_id, min(delivered_on) as delivered_on
    from dentures
    group by patient_id
),
coarse as (
    select
        visits.visit_id, visits.patient_id, visits.visited_on, visits.visit_order,
        least(last_possible(visits.visited_on, visits.visited_on_precision), settings.closing_day) as day_last,
        coalesce(visits.reason = 'delivery' and visits.visited_on = delivered_on, false) as is_first_delivery,
        case
            when visits.reason <> 'delivery' and delivered_on between visits.visited_on and day_last then delivered_on
            else visits.visited_on
        end as day_first
    from visits
    cross join settings
    left join first_delivered using (patient_id)
    where visits.visited_on_precision in ('month', 'year') and visits.visited_on <= settings.closing_day
),
others as (
    select
        coarse.visit_id,
        visits.visited_on as other_first,
        last_possible(visits.visited_on, visits.visited_on_precision) as other_last,
        visits.reason = 'delivery' and visits.visited_on = delivered_on as other_is_first_delivery,
        visits.visited_on = coarse.visited_on and visits.visit_order is distinct from coarse.visit_order as other_is_ordered
    from coarse
    join visits on visits.patient_id = coarse.patient_id and visits.visit_id <> coarse.visit_id
    left join first_delivered on first_delivered.patient_id = coarse.patient_id
    cross join settings
    where visits.visited_on <= settings.closing_day
)
select
    coarse.visit_id, coarse.day_first,
    case when is_first_delivery then least(day_last, min(other_last) filter (other_first >= day_first)) else day_last end as day_last,
    not is_first_delivery
        and coalesce(bool_or(other_last > day_first and other_first <= day_last and not other_is_ordered and not coalesce(other_is_first_delivery, false)), false) as may_overlap
from coarse
left join others using (visit_id)
group by coarse.visit_id, coarse.day_first, coarse.day_last, is_first_delivery
