"""The whole of the studies of which tests look at a sample: hundreds of seeds, of damaged files, of drawn worlds.

Run as `python tests/benchmarks/studies.py [words of the tests' names]`, some four minutes for all. A study is a test
with `of_study(sample, whole)` (tests/tests_support.py): the same test, with WINDTOLL_STUDIES set. How often
intervals of road tests hold, and true causes come first, over hundreds of cases: road_test_coverage.py, shortfall.py.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]


def main() -> int:
    """Run the tests of all files that hold a study, or those whose names have the words; return pytest's end."""
    os.environ["WINDTOLL_STUDIES"] = "whole"
    files = [str(path) for path in sorted(TESTS.rglob("test_*.py")) if "of_study(" in path.read_text(encoding="utf-8")]
    words = ["-k", " or ".join(sys.argv[1:])] if sys.argv[1:] else []
    return pytest.main([*files, *words, "-n", "0", "-v", "--durations=20"])


if __name__ == "__main__":
    sys.exit(main())
