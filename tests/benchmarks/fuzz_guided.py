"""The reader and the computation, fuzzed by coverage; by hand, where atheris is installed (it is no test dependency):

    python tests/benchmarks/fuzz_guided.py FOLDER -runs=100000

FOLDER keeps what was found to reach new code; it is filled with the fixtures first. Other arguments go to the fuzzer.
"""

from __future__ import annotations

import contextlib
import sys
from pathlib import Path

import atheris

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT))

with atheris.instrument_imports(include=["runsheet"]):
    from tests.fuzz.documents import check, check_bytes


def one(data: bytes) -> None:
    """Check what must hold of any bytes, and of the document they are where they are text."""
    check_bytes(data)
    with contextlib.suppress(UnicodeDecodeError):
        check(data.decode())


def main() -> None:
    """Fill the folder and fuzz."""
    corpus = Path(sys.argv[1])
    corpus.mkdir(exist_ok=True)
    for document in (ROOT / "fixtures").glob("*/*.toml"):
        corpus.joinpath(document.name).write_bytes(document.read_bytes())
    atheris.Setup(sys.argv, one)
    atheris.Fuzz()


if __name__ == "__main__":
    main()
