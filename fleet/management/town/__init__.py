"""PURE. An invented town: its houses and boilers, what fails there unseen, and the people who come by and write down.

Nothing here knows Django or the clock: a seed and a day go in, sheets, visits and the hidden truth come out.
"""
