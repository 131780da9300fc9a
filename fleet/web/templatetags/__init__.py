"""Template filters and tags of the pages."""
