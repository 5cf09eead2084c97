"""Do the methods keep their word? Simulated clinics of known truth, ours beside what a naive method would have said.

``python -m tests.simulations`` runs every cell in full and writes results.csv and README.md.
Design after Morris, White and Crowther 2019 (Stat Med 38:2074; from memory).
"""
