-- title: Inserts changed because a neighbour had failed
-- grain: one row per insert changed soon after a failure elsewhere in its denture
-- key: life
-- needs: part_lives, part_history, settings
--
-- When one part of a denture has failed, the dentist often changes the others too. A routine change, or one without a told cause, of an insert within
-- pair_days after a failure at another position of the same denture is not independent of wear and becomes an ending of its own, "changed with a neighbour".
-- known_sound: it was looked at that day and no failing was written, or the reason given was routine; else its own cause stays "cannot tell".
--
-- example:
--   settings
--   | pair_days |
--   | 14        |
--   part_lives
--   | life | part   | position | denture | end_first  | end_last   | by_row | cause       | looked_at_end |
--   | 1    | insert | 33       | 5       | 2024-02-01 | 2024-02-01 | true   | worn, seen  | true          |
--   | 2    | insert | 43       | 5       | 2024-02-01 | 2024-02-01 | true   | routine     | true          |
--   | 3    | insert | 43       | 6       | 2024-02-01 | 2024-02-01 | true   | routine     | true          |
--   | 4    | insert | 43       | 5       | 2024-06-01 | 2024-06-01 | true   | cannot tell | false         |
--   part_history
--   | site | seq | part    | position | denture | day_first  | finding  | in_place |
--   | 7    | 2   | insert  | 33       | 5       | 2024-02-01 | worn     | true     |
--   | 8    | 5   | housing | 33       | 5       | 2024-05-25 | debonded | true     |
--   gives
--   | life | known_sound |
--   | 2    | true        |
--   | 4    | false       |
with unclear as (
    select life, denture, position, end_first, end_last, cause, looked_at_end
    from part_lives
    where part = 'insert' and by_row and cause in ('routine', 'cannot tell')
),
failures as (
    select denture, position, day_first as failed_on
    from part_history
    where in_place and part in ('insert', 'housing', 'abutment')
        and finding in ('worn', 'torn', 'deformed', 'fractured', 'lost', 'debonded', 'loose in its seat')
    union all
    select denture, position, end_first from part_lives where cause = 'worn, by report'
)
select unclear.life, bool_and(unclear.cause = 'routine' or unclear.looked_at_end) as known_sound
from unclear
join failures using (denture)
cross join settings
where failures.position <> unclear.position
    and failures.failed_on between unclear.end_first - settings.pair_days and unclear.end_last
group by unclear.life
