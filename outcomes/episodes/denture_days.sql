-- title: Dentures in service, from delivery to the end of watching
-- grain: one row per denture
-- key: denture
-- needs: dentures, people, care, settings
--
-- A denture is retired on the day written, or, where none is, on the day the next everyday denture of that jaw was delivered, or, where only a reason
-- is written, at the last visit. A change to fixed or plain dentures retires it too. end_day is the earliest of retirement, the patient's leaving and the closing day.
-- fresh: delivered while the log ran, that is on or after the patient's first visit.
--
-- example:
--   settings
--   | closing_day | period_from | period_to |
--   | 2024-12-31  | 2020-01-01  |           |
--   people
--   | patient | patient_id | consented |
--   | 1       | P1         | true      |
--   care
--   | patient | first_contact | last_contact | end_day    | ending |
--   | 1       | 2021-01-04    | 2024-05-01   | 2024-12-31 |        |
--   dentures
--   | denture_id | patient_id | arch  | delivered_on | delivered_on_precision | use      | retired_on | retired_reason | opposing |
--   | P1/lower/1 | P1         | lower | 2019-01-01   | year                   | everyday |            |                |          |
--   | P1/lower/2 | P1         | lower | 2021-01-04   | day                    | everyday | 2023-02-03 | remade         |          |
--   | P1/lower/3 | P1         | lower | 2023-02-03   | day                    |          |            |                |          |
--   | P1/lower/4 | P1         | lower | 2023-02-03   | day                    | spare    |            |                |          |
--   gives
--   | denture_id | delivered_first | delivered_last | fresh | excluded           | end_day    | ending          |
--   | P1/lower/1 | 2019-01-01      | 2019-12-31     | false | outside the period | 2021-01-04 | denture retired |
--   | P1/lower/2 | 2021-01-04      | 2021-01-04     | true  |                    | 2023-02-03 | denture retired |
--   | P1/lower/3 | 2023-02-03      | 2023-02-03     | true  |                    | 2024-12-31 |                 |
--   | P1/lower/4 | 2023-02-03      | 2023-02-03     | true  | spare denture      | 2024-12-31 |                 |
with everyday as (
    select denture_id, lead(delivered_on) over (partition by patient_id, arch order by delivered_on, denture_id) as next_delivered
    from dentures
    where coalesce("use", 'everyday') <> 'spare' and delivered_on is not null
),
served as (
    select
        dentures.denture_id, people.patient, people.consented, dentures.arch, dentures.opposing,
        coalesce(dentures."use", 'everyday') = 'spare' as spare,
        coalesce(dentures.existing, 'no') = 'yes' as existing,
        coalesce(dentures.housings_from, 'new') = 'moved from the old denture' as housings_taken_over,
        dentures.delivered_on as delivered_first,
        last_possible(dentures.delivered_on, dentures.delivered_on_precision) as delivered_last,
        dentures.retired_reason,
        coalesce(dentures.retired_on, everyday.next_delivered, case when dentures.retired_reason is not null then care.last_contact end) as retired_first,
        coalesce(last_possible(dentures.retired_on, dentures.retired_on_precision), retired_first) as retired_last,
        care.first_contact, care.end_day as patient_end_day, care.ending as patient_ending
    from dentures
    join people using (patient_id)
    join care using (patient)
    left join everyday using (denture_id)
)
select
    row_number() over (order by denture_id)::integer as denture,
    denture_id, patient, arch, opposing, existing, housings_taken_over, retired_reason, retired_first, retired_last,
    delivered_first, delivered_last,
    delivered_first >= first_contact as fresh,
    case
        when not consented then 'no consent'
        when spare then 'spare denture'
        when delivered_first < period_from or delivered_first > period_to
            or (delivered_first is null and (period_from is not null or period_to is not null)) then 'outside the period'
        else ''
    end as excluded,
    least(patient_end_day, retired_first) as end_day,
    case
        when retired_first < patient_end_day or (retired_first = patient_end_day and patient_ending <> 'died') then 'denture retired'
        when patient_ending in ('changed to fixed', 'changed to plain denture') then 'denture retired'
        else patient_ending
    end as ending
from served cross join settings
