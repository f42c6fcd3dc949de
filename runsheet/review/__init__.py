"""A run looked at by others: what its log tells, the reviewer's walk, signatures."""
