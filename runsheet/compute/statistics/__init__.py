"""Statistics over many figures: control charts, detection limits, demonstrations of capability, Student t."""
