"""Signed webhooks by the Standard Webhooks scheme."""
