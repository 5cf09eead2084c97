-- title: Does the log hold the visits where nothing was wrong?
-- grain: one row per kind of part
-- key: part
-- needs: part_lives, left_failing, part_history, visit_days, settings
--
-- A log that lists failures but not the visits where nothing was wrong makes every part look short-lived. The sign: over half of the parts still serving were
-- last recorded sound at or before the first review after fitting (on the day of fitting, where there was none) while failures were found later than that.
-- Only parts in place for longer than the plan's recall interval are asked: a younger part has not been due for a look, and a young log is no such log.
-- withheld: the sign is there for this kind of part. judged: the kind that failed most often, mostly inserts; where it is withheld, all curves are. Kinds are
-- not thrown together, since recalls that look at inserts only leave most abutments and housings unseen and are recalls all the same.
--
-- example:
--   settings
--   | recall_days |
--   | 425         |
--   left_failing
--   | life | looked_before |
--   visit_days
--   | visit_id | patient | day_first  | reason |
--   | a        | 1       | 2020-01-08 | review |
--   part_lives
--   | life | part   | patient | denture | arrived | fitted_last | end_first  | ending | by_row | last_look  | excluded |
--   | 1    | insert | 1       | 5       | false   | 2020-01-01  | 2024-12-31 |        | false  | 2020-01-08 |          |
--   | 2    | insert | 1       | 5       | false   | 2020-01-01  | 2022-12-31 | failed | true   | 2022-12-31 |          |
--   | 3    | insert | 1       | 5       | false   | 2022-12-31  | 2024-12-31 |        | false  |            |          |
--   | 4    | insert | 1       | 5       | false   | 2024-11-30  | 2024-12-31 |        | false  |            |          |
--   part_history
--   | site | seq | part   | patient | in_place | finding | day_first  |
--   | 7    | 3   | insert | 1       | true     | worn    | 2022-12-31 |
--   gives
--   | part   | serving | unseen_since_review | failures_later | withheld | judged |
--   | insert | 2       | 2                   | 1              | true     | true   |
with first_reviews as (
    select patient, min(day_first) as first_review from visit_days where reason = 'review' group by patient
),
reviews_after as (
    select part_lives.life, min(visit_days.day_first) as review_on
    from part_lives join visit_days on visit_days.patient = part_lives.patient and visit_days.day_first > part_lives.fitted_last
    where visit_days.reason = 'review'
    group by part_lives.life
),
still_serving as (
    select
        part_lives.part, part_lives.fitted_last,
        case when left_failing.life is not null then left_failing.looked_before else part_lives.last_look end as last_sound,
        reviews_after.review_on
    from part_lives
    left join left_failing using (life)
    left join reviews_after using (life)
    cross join settings
    where part_lives.part <> 'bond' and not part_lives.by_row and part_lives.ending = '' and not part_lives.arrived and part_lives.excluded = ''
        and part_lives.end_first - part_lives.fitted_last > settings.recall_days
),
failures as (
    select part_history.part, count(*) as failures_later
    from part_history
    left join first_reviews using (patient)
    where part_history.in_place and part_history.part <> 'bond'
        and part_history.finding in ('worn', 'torn', 'deformed', 'fractured', 'lost', 'debonded', 'loose in its seat')
        and part_history.day_first > coalesce(first_review, '-infinity'::date)
    group by part_history.part
)
select
    still_serving.part::varchar as part,
    count(*) as serving,
    count(*) filter (coalesce(last_sound <= coalesce(review_on, fitted_last), true)) as unseen_since_review,
    any_value(coalesce(failures_later, 0)) as failures_later,
    unseen_since_review * 2 > serving and any_value(coalesce(failures_later, 0)) > 0 as withheld,
    row_number() over (order by any_value(coalesce(failures_later, 0)) desc, still_serving.part = 'insert' desc, still_serving.part) = 1 as judged
from still_serving
left join failures using (part)
group by still_serving.part
order by still_serving.part
