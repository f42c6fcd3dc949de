"""A sheet written out: one module a format. `outline` says what a report holds; the formats only say how it looks."""
