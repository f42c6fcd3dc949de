"""The reader and the computation on mutated documents; by hand: python tests/benchmarks/fuzz_reader.py COUNT SEED."""

from __future__ import annotations

import resource
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.fuzz.documents import check, documents


def main(count: int, seed: int) -> None:
    """Check some documents and print what came of them."""
    began, computed = time.perf_counter(), 0
    for number, text in enumerate(documents(count, seed)):
        try:
            computed += check(text, reports=number % 50 == 0)
        except BaseException:
            Path("failed.toml").write_text(text, encoding="utf-8", errors="surrogatepass")
            print(f"document {number} of seed {seed}, kept in failed.toml")
            raise
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    seconds = time.perf_counter() - began
    print(f"seed {seed}: {count} documents, {computed} of them computed, {seconds:.0f} s, at most {memory:.0f} MB")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
