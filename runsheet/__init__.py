"""A keyboard-driven run sheet for oil and grease and petroleum hydrocarbons by infrared absorbance.

`run` holds the document, `compute` turns it into a sheet, `columns` names every figure once, `report` and `screen` show
the sheet, `methods` are data, `command` is the command line. Importing this package loads none of them: `read` and
`evaluate` are fetched when first asked for.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from runsheet.compute.sheet import evaluate
    from runsheet.run.text import read

__version__ = "0.1.0"
__all__ = ["evaluate", "read"]


def __getattr__(name: str) -> Any:
    """Fetch `read` or `evaluate`."""
    if name == "read":
        from runsheet.run.text import read

        return read
    if name == "evaluate":
        from runsheet.compute.sheet import evaluate

        return evaluate
    message = f"module {__name__!r} has no attribute {name!r}"
    raise AttributeError(message)
