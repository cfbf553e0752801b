"""Does every file import only what its layer may, and touch nothing it must not?

The table of DEVELOPERS.md, made executable: each line of a failure is `file:line: reason`.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import fields
from pathlib import Path

import solespan
from solespan import api, dashboards, forecast, synthetic_data
from solespan.forecast.model.wear_model import Conditioned

ROOT = Path(__file__).parent.parent
OURS = ("forecast", "synthetic_data", "dashboards", "api")
SCIENCE = {"numpy", "scipy", "pandas", "narwhals", "statsmodels"}
MAY = {
    "forecast": SCIENCE,
    "synthetic_data": {"numpy", "pandas", "scipy", "solespan.forecast.frames"},
    "dashboards": {
        "solespan.forecast",
        "pandas",
        "numpy",
        "plotly",
        "jinja2",
        "markupsafe",
        "babel",
        "markdown_it",
        "segno",
    },
}
# The world: a file, the network, the clock, the environment, global chance.
WORLD = {"os", "socket", "urllib", "requests", "http", "subprocess", "time", "random", "pathlib"}
CLOCK = {("datetime", "now"), ("datetime", "today"), ("date", "today"), ("Timestamp", "now")}
# The model's port; `fit_start` keeps where a fit stopped.
PORT = {"distributed_fit", "fit_start", "sole_state", "wear_fit", "wear_model"}
EXCUSED = {
    "synthetic_data/__main__.py": {"pathlib"},  # the one place that writes the examples
    "dashboards/assets.py": {"pathlib"},  # reads its own static files and the figure library
    "dashboards/render.py": {"pathlib", "urllib"},  # reads its own templates; quotes addresses
}


def _files(folder: str) -> Iterator[Path]:
    return (p for p in sorted((ROOT / folder).rglob("*.py")))


def _imports(tree: ast.AST) -> Iterator[tuple[int, str]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            for name in node.names:
                yield node.lineno, name.name
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            yield node.lineno, node.module
            for name in node.names:
                yield node.lineno, f"{node.module}.{name.name}"


def _stdlib(name: str) -> bool:
    import sys

    return name.partition(".")[0] in sys.stdlib_module_names


def _allowed(folder: str, module: str) -> bool:
    own = f"solespan.{folder}"
    if module in ("__future__", "solespan", own) or module.startswith(f"{own}."):
        return True
    return any(module == good or module.startswith(f"{good}.") for good in MAY[folder])


def test_each_layer_imports_only_what_its_table_allows():
    broken = []
    for folder in MAY:
        for path in _files(folder):
            seen = list(_imports(ast.parse(path.read_text("utf-8"))))
            for line, module in seen:
                only_name = (
                    module == "solespan.forecast" and (line, "solespan.forecast.frames") in seen
                )
                if not (_stdlib(module) or _allowed(folder, module) or only_name):
                    where = f"{path.relative_to(ROOT)}:{line}"
                    broken.append(f"{where}: {folder} may not import {module}")
    assert not broken, "\n".join(broken)


def test_the_pure_layers_touch_no_file_clock_network_or_global_chance():
    broken = []
    for folder in MAY:
        for path in _files(folder):
            name = str(path.relative_to(ROOT))
            tree = ast.parse(path.read_text("utf-8"))
            for line, module in _imports(tree):
                top = module.partition(".")[0]
                if top in WORLD - EXCUSED.get(name, set()):
                    broken.append(f"{name}:{line}: a pure layer may not use {module}")
            for node in ast.walk(tree):
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                    called = getattr(node.func.value, "id", getattr(node.func.value, "attr", ""))
                    if (called, node.func.attr) in CLOCK:
                        broken.append(f"{name}:{node.lineno}: today is an argument, not a clock")
                    if called == "random" and node.func.attr in (
                        "seed",
                        "normal",
                        "random",
                        "rand",
                    ):
                        broken.append(f"{name}:{node.lineno}: chance is a Generator argument")
                if isinstance(node, ast.Call) and getattr(node.func, "id", "") == "open":
                    broken.append(f"{name}:{node.lineno}: a pure layer opens no file")
    assert not broken, "\n".join(broken)


def test_the_service_never_imports_the_simulator():
    broken = [
        f"{path.relative_to(ROOT)}:{line}: api may not import {module}"
        for path in _files("api")
        for line, module in _imports(ast.parse(path.read_text("utf-8")))
        if module.startswith(("solespan.synthetic_data", "tests"))
    ]
    assert not broken, "\n".join(broken)


def test_only_the_model_knows_its_innards():
    """Dates, explanations and plans ask a posterior by its public methods."""
    within = "solespan.forecast.model."
    innards = {field.name for field in fields(Conditioned) if field.name.startswith("_")}
    assert {field.name for field in fields(Conditioned)} - innards == {
        "fit", "panel", "ahead", "away", "in_use",
    }  # fmt: skip
    broken = []
    for folder in OURS:
        for path in _files(folder):
            if path.is_relative_to(ROOT / "forecast" / "model"):
                continue
            where, tree = path.relative_to(ROOT), ast.parse(path.read_text("utf-8"))
            broken += [
                f"{where}:{line}: {module} is no port of the model"
                for line, module in _imports(tree)
                if module.startswith(within)
                and module.removeprefix(within).split(".")[0] not in PORT
            ]
            broken += [
                f"{where}:{node.lineno}: .{node.attr} is an innard of the model"
                for node in ast.walk(tree)
                if isinstance(node, ast.Attribute) and node.attr in innards
            ]
    assert not broken, "\n".join(broken)


def test_only_storage_and_migrations_write_sql():
    """Services may hold a session and pass it on; statements are built in `api/storage`."""
    verbs = {"select", "insert", "update", "delete", "text"}
    broken = []
    for path in _files("api"):
        name = path.relative_to(ROOT)
        if name.parts[1] in ("storage", "migrations"):
            continue
        for node in ast.walk(ast.parse(path.read_text("utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("sqlalchemy"):
                broken += [
                    f"{name}:{node.lineno}: SQL belongs to api/storage"
                    for item in node.names
                    if item.name in verbs
                ]
    assert not broken, "\n".join(broken)


def test_the_packages_are_those_of_this_project():
    for package in (solespan, api, dashboards, forecast, synthetic_data):
        assert Path(package.__file__).parent.parent == ROOT


def test_every_import_of_ours_begins_with_the_one_name_that_the_wheel_owns():
    broken = [
        f"{path.relative_to(ROOT)}:{line}: import solespan.{module}, not {module}"
        for folder in (*OURS, "solespan", "tests")
        for path in _files(folder)
        for line, module in _imports(ast.parse(path.read_text("utf-8")))
        if module.partition(".")[0] in OURS
    ]
    assert not broken, "\n".join(broken)


def test_no_module_is_imported_by_a_string():
    broken = [
        f"{path.relative_to(ROOT)}:{node.lineno}: import the module by a statement"
        for folder in (*OURS, "solespan")
        for path in _files(folder)
        for node in ast.walk(ast.parse(path.read_text("utf-8")))
        if isinstance(node, ast.Call)
        and getattr(node.func, "attr", getattr(node.func, "id", ""))
        in ("import_module", "__import__", "find_spec")
    ]
    assert not broken, "\n".join(broken)


def test_no_folder_holds_more_than_twenty_modules():
    many: dict[Path, int] = {}
    for folder in (*OURS, "solespan", "tests"):
        for path in _files(folder):
            many[path.parent] = many.get(path.parent, 0) + (path.name != "__init__.py")
    broken = [f"{folder.relative_to(ROOT)}: {n} modules" for folder, n in many.items() if n > 20]
    assert not broken, "\n".join(broken)


def test_every_file_begins_with_the_question_it_answers():
    broken = [
        str(path.relative_to(ROOT))
        for folder in OURS
        for path in _files(folder)
        if path.name != "__init__.py"
        and "versions" not in path.parts
        and not (ast.get_docstring(ast.parse(path.read_text("utf-8"))) or "").strip()
    ]
    assert not broken, "\n".join(broken)


def _all_modules() -> dict[str, Path]:
    named = {}
    for folder in OURS:
        for path in _files(folder):
            parts = path.relative_to(ROOT).with_suffix("").parts
            named[".".join(("solespan", *parts)).removesuffix(".__init__")] = path
    return named


def test_no_loop_of_imports_type_only_ones_included():
    modules = _all_modules()
    rest = {
        name: {m for _, m in _imports(ast.parse(path.read_text("utf-8"))) if m in modules} - {name}
        for name, path in modules.items()
    }
    # `from package import module` reads the package as well, which may itself import modules.
    for name, path in modules.items():
        rest[name] -= {m for m in rest[name] if any(n.startswith(f"{m}.") for n in rest[name])}
        rest[name] -= {name.rpartition(".")[0]} if path.name != "__init__.py" else set()
    while free := {name for name, needs in rest.items() if not needs & rest.keys()}:
        rest = {name: needs - free for name, needs in rest.items() if name not in free}
    while on_top := rest.keys() - set().union(*rest.values()):
        rest = {name: needs for name, needs in rest.items() if name not in on_top}
    assert not rest, f"these modules import each other: {sorted(rest)}"
