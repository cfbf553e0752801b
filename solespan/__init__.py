"""Import name of the four folders: `solespan.forecast`, `.api`, `.dashboards`, `.synthetic_data`.

An installed wheel holds the four folders here. In a checkout they stand beside this folder, so the
root of the checkout is appended to the search path of this package.
"""

from pathlib import Path

_HERE = Path(__file__).resolve().parent
if not (_HERE / "forecast").is_dir():
    __path__.append(str(_HERE.parent))
