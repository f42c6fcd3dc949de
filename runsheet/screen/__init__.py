"""The screen: the only part that knows Textual. A pane shows the sheet and edits the document through the bench."""
