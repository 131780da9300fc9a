"""The alert feed."""
