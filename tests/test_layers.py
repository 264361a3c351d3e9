"""The direction of imports: data flows one way, and formulas stay out of the doors."""

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).resolve().parents[1] / "covermap"

# what each part may import besides errors and constants (and itself)
PHYSICS = {"propagation"}
DESCRIBED = {"scenario", "tables", "terrain"}
COUNTED = PHYSICS | DESCRIBED | {"catalogue", "grid", "reception", "planning"}
COMPUTED = COUNTED | {"inputs", "measurements", "addresses", "bearings"}
MAY_IMPORT = {
    "propagation": set(),
    "reception": PHYSICS,
    "tables": {"reception"} | PHYSICS,
    "scenario": {"tables"},
    "catalogue": {"scenario", "tables", "reception"} | PHYSICS,
    "station_lists": {"scenario", "tables"},
    "terrain_tiles": {"scenario", "tables"},
    "terrain": {"scenario", "tables"} | PHYSICS,
    "grid": {"terrain", "scenario"} | PHYSICS,
    "planning": {"reception", "grid"} | DESCRIBED | PHYSICS,
    "inputs": COUNTED,
    "bearings": set(),
    "measurements": {"inputs", "wording"} | COUNTED,
    "addresses": COUNTED - {"planning", "tables"} | {"bearings", "inputs", "measurements"},
    "wording": set(),
    "result": COMPUTED | {"wording"},
    "gis_layers": COMPUTED | {"wording", "result"},
    "reports": COMPUTED | {"wording", "result"},
    "jobs": COMPUTED | {"station_lists", "terrain_tiles", "wording", "result", "gis_layers", "reports"},
    "cli": {"jobs"},
}
EVERYONE = {"errors", "constants", "file_lock", "kernel_cache", "linked_kernels", "numba_linking"}
PLUGIN = PACKAGE / "qgis_plugin"  # stands alone: QGIS loads it under another name, beside its own Python
PLUGIN_MAY_IMPORT = {
    "collections", "csv", "hashlib", "html", "json", "math", "os", "osgeo", "pathlib", "processing", "qgis",
    "queue", "shutil", "signal", "subprocess", "sys", "tempfile", "threading",
}  # fmt: skip
PHYSICS_MAY_IMPORT = {
    "__future__", "cmath", "collections", "copy", "covermap", "dataclasses", "functools", "itertools",
    "llvmlite", "math", "numba", "numpy", "scipy", "statistics", "typing", "warnings",
}  # fmt: skip


def imports_of(path):
    """Yield every imported module name of a file."""
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        if isinstance(node, ast.Import):
            for alias in node.names:
                yield alias.name
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0 or path.parent == PLUGIN, f"{path}: relative import"
            if node.level:
                continue
            if node.module == "covermap":
                for alias in node.names:
                    yield f"covermap.{alias.name}"
            else:
                yield node.module


def package_files(part):
    return sorted((PACKAGE / part).rglob("*.py"))


@pytest.mark.parametrize("part", sorted(MAY_IMPORT))
def test_imports_never_point_back(part):
    for path in package_files(part):
        for name in imports_of(path):
            pieces = name.split(".")
            if pieces[0] != "covermap" or len(pieces) == 1 or pieces[1] == part:
                continue
            assert pieces[1] in MAY_IMPORT[part] | EVERYONE or name == "covermap.__version__", (
                f"{path.relative_to(PACKAGE)} imports {name}"
            )


@pytest.mark.parametrize("part", ["propagation", "reception"])
def test_physics_knows_no_files(part):
    for path in package_files(part):
        for name in imports_of(path):
            assert name.split(".")[0] in PHYSICS_MAY_IMPORT, f"{path.relative_to(PACKAGE)} imports {name}"
        assert "open(" not in path.read_text("utf-8"), f"{path.relative_to(PACKAGE)} opens a file"


def test_plugin_stands_alone():
    for path in sorted(PLUGIN.rglob("*.py")):
        for name in imports_of(path):
            assert name.split(".")[0] in PLUGIN_MAY_IMPORT, f"{path.relative_to(PACKAGE)} imports {name}"
        for node in ast.walk(ast.parse(path.read_text("utf-8"), feature_version=(3, 9))):
            if isinstance(node, ast.ImportFrom) and node.level:
                assert node.level == 1, f"{path}: reaches outside the plugin"
                assert (PLUGIN / f"{node.module}.py").is_file()


def test_every_module_says_what_it_holds():
    for path in sorted(PACKAGE.rglob("*.py")):
        assert ast.get_docstring(ast.parse(path.read_text("utf-8"))), f"{path} has no docstring"


def module_names():
    """Return dotted name -> path of every module of the package."""
    names = {}
    for path in sorted(PACKAGE.rglob("*.py")):
        dotted = ".".join(("covermap", *path.relative_to(PACKAGE).with_suffix("").parts))
        names[dotted.removesuffix(".__init__")] = path
    return names


def top_level_targets(path, names):
    """Return the modules of the package that a module imports when it is loaded."""
    targets = set()
    for node in ast.parse(path.read_text("utf-8")).body:
        if isinstance(node, ast.ImportFrom) and node.module and node.module.startswith("covermap"):
            for alias in node.names:
                submodule = f"{node.module}.{alias.name}"
                targets.add(submodule if submodule in names else node.module)
    return targets


def test_no_module_stands_in_an_import_cycle():
    names = module_names()
    graph = {name: top_level_targets(path, names) for name, path in names.items()}
    done = set()

    def visit(name, trail):
        assert name not in trail, " -> ".join([*trail, name])
        if name in done or name not in graph:
            return
        for target in sorted(graph[name]):
            visit(target, [*trail, name])
        done.add(name)

    for name in graph:
        visit(name, [])
