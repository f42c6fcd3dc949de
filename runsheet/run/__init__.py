"""The run document: what it holds (`model`), text to it and back (`text`), pure edits (`edit`), files (`store`)."""
