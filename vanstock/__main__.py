"""`python -m vanstock` is the program `vanstock`."""

from vanstock.cli.main import run

run()
