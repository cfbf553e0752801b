"""Command line as a module: `python -m solespan` runs the command `solespan`."""

from solespan.api.cli.main import main

__all__: list[str] = []

if __name__ == "__main__":
    main()
