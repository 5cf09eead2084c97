-- title: Every row of parts_log with its visit
-- grain: one row per row of parts_log whose visit is known
-- key: place for rows now checked
-- needs: parts_log, visit_days
-- "site" tells parts apart: an abutment or bar belongs to the patient, the others to their denture. "there" is whether the part is in place after the visit.

CREATE OR REPLACE TABLE looks AS
SELECT p.place, p.visit_id, v.patient_id, p.denture_id, p.position, p.part::VARCHAR AS part, p.finding::VARCHAR AS finding, p.action::VARCHAR AS action,
    p.level, p.noticed_on AS noticed_first, last_possible(p.noticed_on, p.noticed_on_precision) AS noticed_last,
    v.first_day, v.last_day, v.moment, v.reason, v.parts_checked,
    hash(v.patient_id, p.position, p.part::VARCHAR, CASE WHEN p.part::VARCHAR IN ('abutment', 'bar') THEN '' ELSE coalesce(p.denture_id, '') END) AS site,
    CASE
        WHEN p.action IN ('fitted', 'replaced') THEN true
        WHEN p.action IN ('removed', 'moved', 'left out on purpose') THEN false
        WHEN p.finding IN ('lost', 'not present') THEN false
        ELSE true
    END AS there
FROM parts_log p
JOIN visit_days v USING (visit_id);
