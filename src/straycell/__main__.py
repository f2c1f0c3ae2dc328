"""`python -m straycell`."""

from straycell.cli import run

if __name__ == "__main__":
    run()
