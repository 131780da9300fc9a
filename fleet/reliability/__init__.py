"""PURE. Rates from as-found results, chance failed now, hazard per year. Nothing here yet."""
