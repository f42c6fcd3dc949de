"""Typed TOML: text to dataclasses and back. Knows nothing of runs.

Owns: these names, for everyone else; each comes from the module of its step.
"""

from runsheet.tables.bounds import Above, Matching, Number, Said, Within
from runsheet.tables.fields import complaint, kinds_of, said
from runsheet.tables.lines import document, placed
from runsheet.tables.parsing import has_comments, number, parse
from runsheet.tables.reading import shown, table
from runsheet.tables.writing import plain

__all__ = [
    "Above",
    "Matching",
    "Number",
    "Said",
    "Within",
    "complaint",
    "document",
    "has_comments",
    "kinds_of",
    "number",
    "parse",
    "placed",
    "plain",
    "said",
    "shown",
    "table",
]
