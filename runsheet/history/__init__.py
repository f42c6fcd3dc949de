"""What many runs say: a folder of run documents read into tables, and control charts, studies and searches on them.

`rows` are the tables, `facts` what one run gives to them, `scan` finds and reads the documents, `cache` keeps the
tables between two looks; `charts`, `studies`, `search` and `export` read them. Nothing here writes a run.
"""
