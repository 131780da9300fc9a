"""What several pages use: the page itself, the glass, forms, numbers, times, filters."""
