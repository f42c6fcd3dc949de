"""A run on the disk: the document, its edit log, its lock and the store. The only code that writes a run."""
