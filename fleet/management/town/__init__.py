"""PURE. An invented town: its houses and boilers, hidden failures, and the visits that find them.

Nothing here uses Django or the clock. A seed and an instant go in; sheets, visits and the hidden truth come out.
"""
