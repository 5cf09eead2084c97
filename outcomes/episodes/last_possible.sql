-- title: The last day a date as written can mean
-- made as: macro
-- grain: one answer per date and precision
-- key: written, precision
-- needs:
--
-- A month reaches to its last day, a year to 31 December; "not known" has no last day. The first possible day is the date as stored.
--
-- example:
--   asked
--   | written    | precision |
--   | 2024-02-01 | month     |
--   | 2023-01-01 | year      |
--   | 2024-03-14 | day       |
--   gives
--   | written    | precision | last_possible |
--   | 2024-02-01 | month     | 2024-02-29    |
--   | 2023-01-01 | year      | 2023-12-31    |
--   | 2024-03-14 | day       | 2024-03-14    |
create or replace temp macro last_possible(written, precision) as
    case precision
        when 'month' then last_day(written)
        when 'year' then make_date(year(written), 12, 31)
        when 'not known' then null
        else written
    end
