-- title: The denture of rows that leave it out
-- grain: one row per row of $table without a denture_id for which one denture can be meant
-- needs: visit_days, denture_days, the view $table
-- The jaw is that of the position, else that of the visit, else that of the patient's only denture in use. The denture is one worn every
-- day that may have been in use on the day of the visit: rather one that surely was (delivered by then, retired later) than one whose
-- coarse dates only allow it; then the one delivered last.

WITH wanting AS (
    SELECT t.place, v.patient_id, coalesce(jaw_of($position), v.arch) AS jaw, v.first_day, v.last_day
    FROM $table t
    JOIN visit_days v USING (visit_id)
    WHERE t.place IS NOT NULL AND t.denture_id IS NULL
),
in_use AS (
    SELECT w.place, d.denture_id, d.arch, coalesce(d.first_day, DATE '1900-01-01') AS since,
        coalesce(d.last_day <= w.first_day, true) AND coalesce(d.retired_first > w.last_day, true) AS surely
    FROM wanting w
    JOIN denture_days d ON d.patient_id = w.patient_id
    WHERE (w.jaw IS NULL OR d.arch = w.jaw)
        AND d.kept_for <> 'spare'
        AND (d.first_day IS NULL OR d.first_day <= w.last_day)
        AND (d.retired_last IS NULL OR d.retired_last >= w.first_day)
),
latest AS (
    SELECT place, arch, max_by(denture_id, (surely, since)) AS denture_id
    FROM in_use
    GROUP BY place, arch
)
SELECT place, any_value(denture_id) AS denture_id
FROM latest
GROUP BY place
HAVING count(*) = 1
