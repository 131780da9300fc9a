"""Boiler-room cards: the address on a boiler's wall, what came by it, and the PINs of named operators."""
