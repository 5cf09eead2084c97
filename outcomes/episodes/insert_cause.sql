-- title: Why an insert was changed, as far as the log can tell
-- made as: macro
-- grain: one answer per change of an insert
-- key: case
-- needs:
--
-- The first line that fits decides:
--   1. seen worn, torn, out of shape, broken or missing               worn, seen (a finding stands over any reason)
--   2. the housing it sat in went                                     other work
--   3. the log says: with its pair; routine; other work               that
--   4. wanted lighter, or the snap too firm                           wish
--   5. loose, and it had been right before                            worn, by report
--   6. loose, and it never had been right                             wish
--   7. loose within settling_days of fitting                          wish
--   8. the log says it had failed, and not what was found             worn, by report
--   9. wanted firmer though the snap was just right                   wish
--  10. left out on purpose                                            other work
--  11. anything else                                                  cannot tell
-- "Loose" is the patient's word at that visit; where nobody asked, a wish for a firmer snap is taken as that word.
-- "Was right before" is what somebody wrote down, so it stands over the settling days, which only fill its place.
-- settling: the insert had been in for no more than settling_days even by the longest reading of its dates.
--
-- example:
--   asked
--   | case | finding      | action   | change_reason | snap          | snap_history     | settling | carried |
--   | a    | worn         | replaced | wanted firmer | a bit loose   | never right      | true     | false   |
--   | b    | sound        | replaced | wanted firmer | a bit loose   | was right before | false    | false   |
--   | c    | sound        | replaced | wanted firmer | far too loose | never right      | false    | false   |
--   | d    | notes silent | replaced | not recorded  | a bit loose   |                  | true     | false   |
--   | e    | notes silent | replaced | not recorded  | a bit loose   |                  | false    | false   |
--   | f    | notes silent | replaced | failed        | not asked     |                  | false    | false   |
--   | g    | sound        | replaced | wanted firmer | not asked     |                  | false    | false   |
--   | h    | sound        | replaced | with its pair | a bit loose   | was right before | false    | false   |
--   | i    | not checked  | replaced | wanted lighter| far too firm  |                  | false    | false   |
--   | j    | sound        | replaced | routine       |               |                  | false    | false   |
--   | k    | not checked  | removed  |               |               |                  | false    | true    |
--   | l    | sound        | replaced | wanted firmer | just right    |                  | false    | false   |
--   | m    | not present  | fitted   |               | just right    |                  | false    | false   |
--   | n    | sound        | left out on purpose |    |               |                  | false    | false   |
--   gives
--   | case | insert_cause    |
--   | a    | worn, seen      |
--   | b    | worn, by report |
--   | c    | wish            |
--   | d    | wish            |
--   | e    | cannot tell     |
--   | f    | worn, by report |
--   | g    | cannot tell     |
--   | h    | with its pair   |
--   | i    | wish            |
--   | j    | routine         |
--   | k    | other work      |
--   | l    | wish            |
--   | m    | worn, seen      |
--   | n    | other work      |
create or replace temp macro insert_cause(finding, action, change_reason, snap, snap_history, settling, carried) as
    case
        when finding in ('worn', 'torn', 'deformed', 'fractured', 'lost', 'not present') then 'worn, seen'
        when carried then 'other work'
        when change_reason = 'with its pair' then 'with its pair'
        when change_reason = 'routine' then 'routine'
        when change_reason in ('conversion', 'with reline or housing work', 'denture remade', 'abutment height', 'mistaken level') then 'other work'
        when change_reason = 'wanted lighter' or snap in ('a bit firm', 'far too firm') then 'wish'
        when snap in ('a bit loose', 'far too loose') or (change_reason = 'wanted firmer' and coalesce(snap, 'not asked') = 'not asked') then
            case
                when snap_history = 'was right before' then 'worn, by report'
                when snap_history = 'never right' or settling then 'wish'
                when change_reason = 'failed' and finding in ('not checked', 'notes silent') then 'worn, by report'
                when action = 'left out on purpose' then 'other work'
                else 'cannot tell'
            end
        when change_reason = 'failed' and finding in ('not checked', 'notes silent') then 'worn, by report'
        when change_reason = 'wanted firmer' and snap = 'just right' then 'wish'
        when action = 'left out on purpose' then 'other work'
        else 'cannot tell'
    end
