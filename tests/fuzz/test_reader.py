"""A short run of the reader's fuzzing; tests/benchmarks/fuzz_reader.py is the long one."""

from __future__ import annotations

from tests.effort import tries
from tests.fuzz.documents import check, documents


def test_no_mutated_document_raises_hangs_or_computes_nonsense() -> None:
    computed = sum(check(text, reports=number % 25 == 0) for number, text in enumerate(documents(tries(2000), seed=1)))
    assert computed > tries(100)
