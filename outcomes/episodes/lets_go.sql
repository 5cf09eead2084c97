-- title: Whether a row says that the part there went
-- made as: macro
-- grain: one answer per finding and action
-- key: finding, action
-- needs:
--
-- Removed, left out on purpose and moved parts are gone; so are lost ones and those found not present, unless something was done that keeps them.
-- A part replaced goes as well, but another takes its place: see part_history.
--
-- example:
--   asked
--   | finding     | action              |
--   | sound       | removed             |
--   | lost        | none                |
--   | lost        | taken out and put back |
--   | debonded    | picked up again     |
--   gives
--   | finding     | action              | lets_go |
--   | sound       | removed             | true    |
--   | lost        | none                | true    |
--   | lost        | taken out and put back | false |
--   | debonded    | picked up again     | false   |
create or replace temp macro lets_go(finding, action) as
    action in ('removed', 'left out on purpose', 'moved')
    or (finding in ('lost', 'not present')
        and action not in ('tightened', 're-activated', 'cleaned', 'taken out and put back', 'picked up again', 'repaired'))
