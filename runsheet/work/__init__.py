"""The work at the bench, planned: what is next, new runs and rows, batches, what to read again. All pure."""
