"""A whole site under load whose programs are killed at random, and a count afterwards of what was lost or doubled.

`python -m tests.faults --seed 7 --kills 200` runs it and prints its figures; exit status 1 if anything is wrong.
"""
