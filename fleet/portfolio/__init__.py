"""Portfolio, building, boiler, position and device; dated settings and service states."""
