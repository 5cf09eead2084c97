-- title: Parts found failing and left as they were
-- grain: one row per part with such a finding: the first
-- key: life
-- needs: part_history
--
-- A part seen failing and not mended is not recorded sound again; looked_before is its last look before that.
--
-- example:
--   part_history
--   | site | seq | part   | serial_before | finding | action | in_place | closes | looked_before | day_first  |
--   | 7    | 2   | insert | 1             | worn    | none   | true     | false  | 2023-07-01    | 2024-01-10 |
--   | 7    | 3   | insert | 1             | worn    | none   | true     | false  | 2024-01-10    | 2024-02-10 |
--   | 8    | 3   | abutment | 1           | loose in its seat | tightened | true | false | 2024-01-10 | 2024-02-10 |
--   gives
--   | life  | looked_before |
--   | 28673 | 2023-07-01    |
select site * 4096 + serial_before as life, min(looked_before) as looked_before, min(day_first) as found_on
from part_history
where in_place and not closes and action = 'none'
    and (finding in ('worn', 'torn', 'deformed', 'fractured') or (part not in ('insert', 'clip') and finding in ('loose in its seat', 'debonded')))
group by all
