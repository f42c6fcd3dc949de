"""The command line: `main` for one run, `folder` for many."""
