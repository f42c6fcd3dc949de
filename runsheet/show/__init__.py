"""A sheet in words and cells, for screen and report alike: columns, explanations, findings, plots."""
