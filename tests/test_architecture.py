"""The shape of the package: imports run one way, libraries stay in their place, sizes are kept."""

import ast
from pathlib import Path

import pytest

import lightcheck

ROOT = Path(lightcheck.__file__).parent
WALK = (
    "errors units constants grid photo card patch lamp shadow shade reach template offsets pattern "
    "stations response relief crease fair spots check marks humpmap stored lay step change plan job specimen "
    "report cli"
)  # a stage imports only from stages to its left
STAGES = WALK.split()
ONLY_IN = {
    "matplotlib": {"report"},
    "jinja2": {"report"},
    "click": {"cli"},
    "reportlab": {"card", "pattern", "report"},
}
MODULES = sorted(p for p in ROOT.rglob("*.py"))
LONGEST_MODULE, LONGEST_BODY, MOST_PARAMETERS = 300, 40, 6


def name(path: Path) -> str:
    return str(path.relative_to(ROOT))


def stage(path: Path) -> str:
    return path.relative_to(ROOT).parts[0].removesuffix(".py")


def tree(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def imported(path: Path) -> set[str]:
    """Dotted names of everything imported, anywhere in the module."""
    names = set()
    for node in ast.walk(tree(path)):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
        assert not (isinstance(node, ast.ImportFrom) and node.level), f"relative import in {path}"
    return names


def own_stages(path: Path) -> set[str]:
    parts = [n.split(".") for n in imported(path)]
    return {p[1] for p in parts if p[0] == "lightcheck" and len(p) > 1} - {"__version__"}


each_module = pytest.mark.parametrize("path", MODULES, ids=name)


@each_module
def test_imports_run_from_right_to_left(path):
    own = stage(path)
    if own == "__init__":
        assert own_stages(path) == set()
        return
    assert own in STAGES, "a new stage has its place in the walk"
    allowed = {*STAGES[: STAGES.index(own) + 1]}
    assert own_stages(path) <= allowed


@each_module
def test_the_made_up_boards_share_nothing_with_what_measures_them(path):
    if stage(path) == "specimen":
        assert own_stages(path) <= {"specimen"}


@each_module
def test_libraries_stay_in_their_place(path):
    for library in {n.split(".")[0] for n in imported(path)} & set(ONLY_IN):
        assert stage(path) in ONLY_IN[library]


@each_module
def test_modules_are_short_and_say_what_they_are(path):
    assert len(path.read_text(encoding="utf-8").splitlines()) <= LONGEST_MODULE
    assert ast.get_docstring(tree(path))


@each_module
def test_public_names_have_a_docstring(path):
    for node in tree(path).body:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)) and not node.name.startswith("_"):
            assert ast.get_docstring(node), node.name


@each_module
def test_functions_are_short(path):
    for node in ast.walk(tree(path)):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            assert node.end_lineno - node.body[0].lineno < LONGEST_BODY, node.name
            arguments = node.args.posonlyargs + node.args.args + node.args.kwonlyargs
            if stage(path) != "cli":  # a command has one for each of its options
                assert len(arguments) <= MOST_PARAMETERS, node.name


def test_no_vague_module_names():
    vague = {"utils", "helpers", "manager", "handler", "engine", "process", "data", "info"}
    assert not vague & {p.stem for p in MODULES}
