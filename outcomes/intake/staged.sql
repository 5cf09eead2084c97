-- title: The log as the rules across tables see it
-- grain: visit_days, denture_days, looks: one row per visit, denture, and row of parts_log whose visit is known
-- needs: every stored table as a view with the column "place" (its row among those now checked; null for a row the store holds)
-- A date runs from its first to its last possible day; "not known" has neither. "moment" orders visits of one day.

CREATE OR REPLACE MACRO last_possible(day, exactness) AS
    CASE exactness WHEN 'month' THEN last_day(day) WHEN 'year' THEN make_date(year(day), 12, 31) WHEN 'day' THEN day END;

CREATE OR REPLACE MACRO jaw_of(site) AS
    CASE WHEN site[1] IN ('1', '2') THEN 'upper' WHEN site IS NOT NULL THEN 'lower' END;

CREATE OR REPLACE TABLE visit_days AS
SELECT DISTINCT ON (visit_id) place, visit_id, patient_id, arch::VARCHAR AS arch, reason::VARCHAR AS reason, parts_checked::VARCHAR AS parts_checked,
    visited_on AS first_day, last_possible(visited_on, visited_on_precision) AS last_day,
    datediff('day', DATE '1900-01-01', visited_on) * 16 + coalesce(visit_order, 1) AS moment
FROM visits
WHERE visit_id IS NOT NULL;

-- A denture whose delivery is known less than to the day began when the one it follows went out of use.
CREATE OR REPLACE TABLE denture_days AS
WITH written AS (
    SELECT place, denture_id, patient_id, arch::VARCHAR AS arch, follows, delivered_on_precision = 'day' AS exact,
        delivered_on AS first_day, last_possible(delivered_on, delivered_on_precision) AS last_day,
        retired_on AS retired_first, last_possible(retired_on, retired_on_precision) AS retired_last, coalesce("use"::VARCHAR, 'everyday') AS kept_for
    FROM dentures
    WHERE denture_id IS NOT NULL
)
SELECT d.place, d.denture_id, d.patient_id, d.arch, d.retired_first, d.retired_last, d.kept_for,
    CASE WHEN d.exact OR b.retired_first IS NULL THEN d.first_day ELSE greatest(d.first_day, b.retired_first) END AS first_day,
    CASE WHEN d.exact OR b.retired_last IS NULL THEN d.last_day ELSE greatest(least(d.last_day, b.retired_last), d.first_day) END AS last_day
FROM written d
LEFT JOIN (SELECT denture_id, any_value(retired_first) AS retired_first, any_value(retired_last) AS retired_last FROM written GROUP BY denture_id) b ON b.denture_id = d.follows;
