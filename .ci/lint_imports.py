"""Import contracts of pyproject.toml: does every part import only what it may?

`solespan` is imported first, as its search path then holds the four folders of the checkout.
"""

from importlinter.cli import lint_imports_command

import solespan

if __name__ == "__main__":
    lint_imports_command(prog_name=f"lint-imports {solespan.__name__}")
