"""One boiler, its building, its positions and its visits."""
