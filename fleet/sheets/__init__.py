"""The register as a spreadsheet: read, checked, compared, applied, written."""
