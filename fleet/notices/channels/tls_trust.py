"""Whose certificates are trusted: the machine's authorities, and those that the operator names beside them."""

import ssl


def trusting_context(ca_file: str) -> ssl.SSLContext:
    """Return the machine's trust in certificates, and that of the operator's file beside it."""
    context = ssl.create_default_context()
    if ca_file:
        context.load_verify_locations(cafile=ca_file)
    return context
