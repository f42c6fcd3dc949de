"""From a run to a sheet: every figure, verdict and flag. Pure: no files, no clock, nothing of the screen."""
