-- title: What is known at sites where a part was listed as not seen though the visit looked at all others
-- grain: one row of the parts log at such a site
-- key: log_row
-- needs: part_rows, visit_days
--
-- "All were checked" and a row "not checked" for one part: the row stands. The visit is then no look at that part, and what is known of it is what was known
-- before. stands_before: the last earlier look that a visit implied and no row took back; it replaces seen_before of part_rows.
--
-- example:
--   visit_days
--   | visit_id | patient | seq | lower_inserts |
--   | a        | 1       | 3   | true          |
--   | b        | 1       | 5   | true          |
--   | c        | 1       | 7   | true          |
--   | d        | 1       | 9   | true          |
--   part_rows
--   | patient | denture | position | part   | seq | day_first  | finding     | seen_before |
--   | 1       | 5       | 33       | insert | 3   | 2024-01-01 | not checked | 2023-07-01  |
--   | 1       | 5       | 33       | insert | 5   | 2024-07-01 | not checked | 2024-01-01  |
--   | 1       | 5       | 33       | insert | 7   | 2025-01-01 | worn        | 2024-07-01  |
--   | 1       | 5       | 33       | insert | 9   | 2025-07-01 | worn        | 2025-02-01  |
--   | 1       | 5       | 43       | insert | 9   | 2025-07-01 | worn        | 2025-02-01  |
--   gives
--   | log_row | stands_before |
--   | 0       | 2023-07-01    |
--   | 1       | 2023-07-01    |
--   | 2       | 2023-07-01    |
--   | 3       | 2025-02-01    |
with unseen as (
    select
        part_rows.rowid as log_row, part_rows.patient, denture, position, part, seq, part_rows.day_first, seen_before,
        lag(part_rows.day_first) over (partition by part_rows.patient, denture, position, part order by seq) as unseen_earlier
    from part_rows
    join visit_days using (patient, seq)
    where finding in ('not checked', 'notes silent', 'covered', 'tissue grown over')
        and case
            when part in ('insert', 'clip') then case arch_of(position) when 'upper' then upper_inserts else lower_inserts end
            when part = 'housing' then case arch_of(position) when 'upper' then upper_housings else lower_housings end
            else case arch_of(position) when 'upper' then upper_abutments else lower_abutments end
        end
),
taken_back as (
    select log_row, patient, denture, position, part, day_first as unseen_on, case when unseen_earlier is null or seen_before > unseen_earlier then seen_before end as known_before
    from unseen
),
at_such_sites as (
    select part_rows.rowid as log_row, patient, denture, position, part, seq, seen_before
    from part_rows
    semi join taken_back
        on taken_back.patient = part_rows.patient and taken_back.denture is not distinct from part_rows.denture
        and taken_back.position = part_rows.position and taken_back.part = part_rows.part
),
in_turn as (
    select
        at_such_sites.log_row, seen_before,
        max(unseen_on) over earlier as unseen_before,
        max(known_before) over up_to_here as known_then
    from at_such_sites
    left join taken_back using (log_row)
    window
        earlier as (partition by at_such_sites.patient, at_such_sites.denture, at_such_sites.position, at_such_sites.part order by seq rows between unbounded preceding and 1 preceding),
        up_to_here as (partition by at_such_sites.patient, at_such_sites.denture, at_such_sites.position, at_such_sites.part order by seq rows between unbounded preceding and current row)
)
select log_row, case when unseen_before is null or seen_before > unseen_before then seen_before else known_then end as stands_before
from in_turn
