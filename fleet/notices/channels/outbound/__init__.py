"""Requests to addresses that people name: only to where they may go, and each within its time."""
