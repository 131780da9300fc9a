"""The register: buildings, boilers, imports."""
