"""Prints every gate of the odds in one go: what is exact, what is shrunken, how well, and how quickly.

The checks against published and enumerated values run as tests and are listed by name; the figures of `needs_gates.py`,
`draws.py` and `run.py` follow. Not a test: run it with `.venv/bin/python tests/benchmarks/odds_gates.py`.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
EXACT = ("tests/kit/test_odds.py", "tests/kit/test_draws.py", "tests/published/test_repair_kit.py",
         "tests/published/test_shrinkage.py")  # fmt: skip
FIGURES = ("needs_gates.py", "draws.py", "run.py")


def main() -> None:
    """Run them one after another; ends as the first that fails does."""
    steps = [["-m", "pytest", "-v", "-n", "0", *EXACT], *([f"tests/benchmarks/{name}"] for name in FIGURES)]
    for step in steps:
        sys.stdout.write(f"\n== {' '.join(step)}\n")
        sys.stdout.flush()
        status = subprocess.run([sys.executable, *step], cwd=ROOT, check=False).returncode
        if status:
            raise SystemExit(status)


if __name__ == "__main__":
    main()
