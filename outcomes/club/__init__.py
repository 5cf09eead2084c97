"""What several clinics may show one another: counts of people by a sharing rule, packets of totals, and what they say together.

Numbers in, numbers out: nothing here knows the store, pages or how an estimate was made.
"""
