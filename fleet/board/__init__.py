"""Standing and state segments, the changes they went through, and the pulse that orders the feed."""
