-- title: How a part's service ended at a visit
-- made as: macro
-- grain: one answer per part that went at a visit
-- key: case
-- needs:
--
-- A finding stands over the reason written beside it: worn and "wanted firmer" is a failure, sound and "wanted firmer" a change on wish.
-- cause is that of insert_cause for inserts and blank for other parts. An insert whose wear is only reported keeps the reason the log gives;
-- where the log gives none, it failed.
--
-- example:
--   asked
--   | case | part    | finding      | action   | change_reason | carried | cause           | snap        |
--   | a    | insert  | worn         | replaced | wanted firmer | false   | worn, seen      |             |
--   | b    | insert  | sound        | replaced | wanted firmer | false   | wish            |             |
--   | c    | insert  | sound        | replaced | wanted firmer | false   | worn, by report |             |
--   | d    | insert  | notes silent | replaced |               | false   | worn, by report |             |
--   | e    | insert  | notes silent | replaced |               | false   | wish            | a bit loose |
--   | f    | insert  | not checked  | removed  |               | true    | other work      |             |
--   | g    | housing | debonded     | replaced | not recorded  | false   |                 |             |
--   | h    | housing | notes silent | replaced | not recorded  | false   |                 |             |
--   | i    | housing | sound        | moved    |               | false   |                 |             |
--   | j    | abutment| sound        | replaced | conversion    | false   |                 |             |
--   | k    | housing | sound        | removed  |               | false   |                 |             |
--   gives
--   | case | ending_of        |
--   | a    | failed           |
--   | b    | wanted firmer    |
--   | c    | wanted firmer    |
--   | d    | failed           |
--   | e    | wanted firmer    |
--   | f    | with its carrier |
--   | g    | failed           |
--   | h    | cannot tell      |
--   | i    | moved elsewhere  |
--   | j    | with other work  |
--   | k    | removed          |
create or replace temp macro ending_of(part, finding, action, change_reason, carried, cause, snap) as
    case
        when finding in ('worn', 'torn', 'deformed', 'fractured', 'lost', 'not present') then 'failed'
        when part not in ('insert', 'clip') and finding in ('loose in its seat', 'debonded') then 'failed'
        when carried then 'with its carrier'
        when change_reason in ('failed', 'wanted firmer', 'wanted lighter', 'with its pair', 'routine') then change_reason
        when change_reason in ('conversion', 'with reline or housing work', 'abutment height', 'mistaken level') then 'with other work'
        when change_reason = 'denture remade' then 'denture retired'
        when action = 'moved' then 'moved elsewhere'
        when action = 'left out on purpose' then 'left out on purpose'
        when cause = 'worn, by report' then 'failed'
        when cause = 'wish' then case when snap in ('a bit firm', 'far too firm') then 'wanted lighter' else 'wanted firmer' end
        when action = 'removed' then 'removed'
        else 'cannot tell'
    end
