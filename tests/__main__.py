"""`python3 tests`: sets everything up and runs the tests; `--quick` leaves the slow ones out.

The tests of the pages want a Chromium: it is installed where this machine lets us, else they are left out and
say so. With CI=true in the environment they fail instead.

`python3 tests -m long` runs the long ones, which are left out otherwise: a thousand crashes, hundreds of
thousands of inputs, every firm of the gates. Other words go to pytest as they are:
`python3 tests -k odds`. All processors are used at once.
"""

import pathlib
import sys

sys.path.insert(0, str(pathlib.Path(__file__).resolve().parents[1] / "demo"))
sys.dont_write_bytecode = True

import bootstrap


def main() -> None:
    """Run pytest from the project's folder in its environment; ends as pytest does."""
    python = bootstrap.ensure("test")
    bootstrap.ensure_browser()
    words = sys.argv[1:]
    if "--quick" in words:
        words = [word for word in words if word != "--quick"] + ["-m", "not slow and not long"]
    if "-n" not in words:
        words = ["-n", "auto", "--dist", "worksteal"] + words
    raise SystemExit(bootstrap.run([python, "-m", "pytest", *words]))


if __name__ == "__main__":
    main()
