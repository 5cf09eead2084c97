-- title: The denture of rows that leave it out
-- grain: one row per row of $table without a denture_id for which one denture can be meant
-- needs: visit_days, denture_days, the view $table
-- The jaw is that of the position, else that of the visit, else that of the patient's only denture in use. The denture is one worn every
-- day that may have been in use on the day of the visit: rather one that surely was (delivered by then, retired later) than one whose
-- coarse dates only allow it; then the one delivered last.

WITH wanting AS (
    SELECT DISTINCT t.visit_id, jaw_of($position) AS named
    FROM $table t
    WHERE t.place IS NOT NULL AND t.denture_id IS NULL
),
in_use AS (
    SELECT w.visit_id, w.named, d.denture_id, d.arch, coalesce(d.first_day, DATE '1900-01-01') AS since,
        coalesce(d.last_day <= v.first_day, true) AND coalesce(d.retired_first > v.last_day, true) AS surely
    FROM wanting w
    JOIN visit_days v USING (visit_id)
    JOIN denture_days d ON d.patient_id = v.patient_id
    WHERE d.arch = coalesce(w.named, v.arch, d.arch)
        AND d.kept_for <> 'spare'
        AND (d.first_day IS NULL OR d.first_day <= v.last_day)
        AND (d.retired_last IS NULL OR d.retired_last >= v.first_day)
),
latest AS (
    SELECT visit_id, named, arch, max_by(denture_id, (surely, since)) AS denture_id
    FROM in_use
    GROUP BY visit_id, named, arch
),
found AS (
    SELECT visit_id, named, any_value(denture_id) AS denture_id
    FROM latest
    GROUP BY visit_id, named
    HAVING count(*) = 1
)
SELECT t.place, f.denture_id
FROM $table t
JOIN found f ON f.visit_id = t.visit_id AND f.named IS NOT DISTINCT FROM jaw_of($position)
WHERE t.place IS NOT NULL AND t.denture_id IS NULL
