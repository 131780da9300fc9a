"""The list of deficiencies, one deficiency, and what people decide about it."""
