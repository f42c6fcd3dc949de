"""A photometer's output: where it is, its bytes as lines, the number of a line. Nothing here knows of a run."""
