"""Photographs and documents: one store, checked. It stands above visits, which hold hashes and never keys to it."""
