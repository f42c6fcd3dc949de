"""The reader and the computation on mutated documents; by hand: python tests/benchmarks/fuzz_reader.py COUNT SEED.

Prints how many were read and computed, the slowest one and the most memory; a document that fails is kept.
"""

from __future__ import annotations

import random
import resource
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from tests.fuzz.documents import check, check_bytes, documents, flipped

MEMORY = 300
"""MB that all of it may take at most."""


def main(count: int, seed: int) -> None:
    """Check some documents, each tenth as bytes too, and print what came of them."""
    began, computed, slowest = time.perf_counter(), 0, 0.0
    random_ = random.Random(seed)  # noqa: S311 - mutations need no secrets
    for number, text in enumerate(documents(count, seed)):
        start = time.perf_counter()
        try:
            computed += check(text, reports=number % 10 == 0)
            if number % 10 == 0:
                check_bytes(flipped(text, random_))
        except BaseException:
            Path("failed.toml").write_text(text, encoding="utf-8", errors="surrogatepass")
            print(f"document {number} of seed {seed}, kept in failed.toml")
            raise
        slowest = max(slowest, time.perf_counter() - start)
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    seconds = time.perf_counter() - began
    print(f"seed {seed}: {count} documents, {computed} of them computed, {seconds:.0f} s", end="")
    print(f"; the slowest took {slowest:.2f} s with all checks; at most {memory:.0f} MB")
    assert memory < MEMORY


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
