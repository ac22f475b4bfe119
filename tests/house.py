"""What the house rules look at: public callables with their docstrings, and every function's size.

Run by hand it lists whatever breaks a rule today, in the form of ``open_offenders.txt``:

python tests/house.py
"""

import ast
import importlib
import inspect
import pkgutil
import re
from functools import cached_property
from pathlib import Path

import gymtools

PACKAGE = Path(gymtools.__file__).parent
ROOT = PACKAGE.parent
TESTS = Path(__file__).resolve().parent
MOST_LINES, MOST_PARAMETERS = 40, 6
KINDS = (
    "Printed",
    "Worked by hand",
    "Closed form",
    "Invariance",
    "Independent",
    "Regression",
    "Trade fact",
    "Behavior",
)
NUMBER = re.compile(r"\b(float|int|number|array|ndarray)s?\b")
ARRAY = re.compile(r"\b(array|ndarray)s?\b")
ELEMENTWISE = re.compile(r"(float|int) or array")
SHAPE = re.compile(r"\([^()]*\)|\bshape\b|\bscalar")
UNIT = re.compile(r"\[[^\]]+\]\s*$")
CHECKERS = {"within", "named"}  # refuse what they are given


# ---- the public face, as DEVELOPERS.md has it


def public_face():
    """(module, signature text) of every line on the page "The public face"."""
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = page.partition("## The public face")[2].partition("\n## ")[0]
    module, found = None, []
    for line in section.partition("```python\n")[2].partition("```")[0].splitlines():
        if line.startswith("# "):
            module = line[2:]
        elif line:
            found.append((module, line))
    return found


def face_names():
    """Functions whose signature is kept, whatever their number of parameters."""
    return {text.partition("(")[0] for _, text in public_face()} | KEPT


# formulas that print many quantities of one worked example: all of them have a name in the source
KEPT = {"potential_gain_indoors"}


# ---- docstrings


def public_callables():
    """(name, what is documented, parameter names) of public functions, classes with a constructor
    of their own, methods and properties.
    """
    for module in pkgutil.walk_packages(gymtools.__path__, "gymtools."):
        if module.name.endswith("__main__"):
            continue
        for name, thing in vars(importlib.import_module(module.name)).items():
            if name.startswith("_") or getattr(thing, "__module__", None) != module.name:
                continue
            thing = inspect.unwrap(thing) if hasattr(thing, "__wrapped__") else thing
            if inspect.isfunction(thing):
                yield f"{module.name}.{name}", thing, list(inspect.signature(thing).parameters)
            elif inspect.isclass(thing):
                yield from _members(f"{module.name}.{name}", thing)


def _members(name, kind):
    own = vars(kind)
    written = inspect.isfunction(own.get("__init__")) and not hasattr(kind, "__dataclass_fields__")
    yield name, kind, list(inspect.signature(kind).parameters) if written else None
    for member, thing in own.items():
        if member.startswith("_"):
            continue
        if isinstance(thing, staticmethod | classmethod):
            thing = thing.__func__
        if isinstance(thing, property):
            yield f"{name}.{member}", thing.fget, None
        elif isinstance(thing, cached_property):
            yield f"{name}.{member}", thing.func, None
        elif inspect.isfunction(thing):
            taken = [p for p in inspect.signature(thing).parameters if p not in ("self", "cls")]
            yield f"{name}.{member}", thing, taken


def section(doc, title):
    """Text of a section of a numpydoc docstring."""
    found = re.search(rf"^{title}\n-+\n(.*?)(?=\n\n\w[^\n]*\n-+\n|\Z)", doc, re.S | re.M)
    return found[1] if found else ""


def entries(text):
    """(names, type, words) of the entries of a Parameters or Returns section."""
    found = re.findall(r"^(\w[\w, *]*) : (.*)\n((?:[ ]+.*\n?|\n(?=[ ]))*)", text + "\n", re.M)
    return [
        ([n.strip(" *") for n in names.split(",")], kind, " ".join(words.split()))
        for names, kind, words in found
    ]


def docstring_faults(thing, parameters):
    """What a docstring lacks, in words."""
    doc = inspect.getdoc(thing) or ""
    if not doc:
        return ["no docstring"]
    faults, taken = [], entries(section(doc, "Parameters"))
    if parameters is not None:
        named = [name for names, _, _ in taken for name in names]
        if named != parameters:
            faults.append(f"parameters {named}, takes {parameters}")
    # a formula that takes numbers or arrays gives the shape it was given
    elementwise = any(ELEMENTWISE.match(kind) for _, kind, _ in taken)
    for names, kind, words in taken + entries(section(doc, "Returns")):
        faults += _entry_faults(", ".join(names), kind, words, elementwise)
    if parameters and not inspect.isclass(thing) and _gives(thing) and "Returns\n-" not in doc:
        faults.append("no Returns")
    if ".. math::" in doc and "Sources\n" not in doc:
        faults.append("a formula without Sources")
    if not inspect.isclass(thing) and _refuses(thing) and "Raises\n-" not in doc:
        faults.append("refuses without Raises")
    return faults


def _entry_faults(name, kind, words, elementwise):
    counted = re.sub(r"\b(dict|tuple|list|sequence|iterable)s? of ", "", kind)
    numeric = NUMBER.search(counted) and not re.search(r"\b(str|dict|callable|bool)\b", kind)
    if numeric and not UNIT.search(words):
        yield f"{name}: no unit in [brackets]"
    if not NUMBER.search(kind) and re.search(r"\[-\]\s*$", words) and "any" not in kind:
        yield f"{name}: [-] says nothing about {kind}"
    if ARRAY.search(kind) and not elementwise and not SHAPE.search(f"{kind} {words}"):
        yield f"{name}: no shape"


def _tree(thing):
    return ast.parse(inspect.cleandoc("\n" + inspect.getsource(thing))).body[0]


def _own(node):
    """Nodes of a function without those of functions inside it."""
    for child in ast.iter_child_nodes(node):
        if not isinstance(child, ast.FunctionDef | ast.Lambda):
            yield child
            yield from _own(child)


def _gives(thing):
    nodes = list(_own(_tree(thing)))
    return any(
        isinstance(n, ast.Yield | ast.YieldFrom)
        or isinstance(n, ast.Return)
        and n.value is not None
        and not (isinstance(n.value, ast.Constant) and n.value.value is None)
        for n in nodes
    )


def _refuses(thing):
    for node in _own(_tree(thing)):
        if isinstance(node, ast.Raise) and node.exc is not None:
            called = node.exc.func if isinstance(node.exc, ast.Call) else node.exc
            if getattr(called, "id", "").endswith("Error"):
                return True
        if isinstance(node, ast.Call) and getattr(node.func, "id", "") in CHECKERS:
            return True
    return False


# ---- sizes


def functions(path):
    """(qualified name, node) of every function in a file, private ones and methods too."""

    def walk(node, prefix):
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef):
                yield f"{prefix}{child.name}", child
                yield from walk(child, f"{prefix}{child.name}.")
            else:
                inner = f"{prefix}{child.name}." if isinstance(child, ast.ClassDef) else prefix
                yield from walk(child, inner)

    yield from walk(ast.parse(path.read_text(encoding="utf-8")), "")


def body_lines(node):
    """Lines of a function's body without its docstring."""
    body = node.body[1:] if ast.get_docstring(node, clean=False) is not None else node.body
    return node.end_lineno - body[0].lineno + 1 if body else 0


def parameter_count(node):
    """Parameters of a function but self and cls."""
    a = node.args
    named = [x.arg for x in (*a.posonlyargs, *a.args, *a.kwonlyargs)]
    return len([x for x in named if x not in ("self", "cls")])


# ---- tests


def _without_kind(tree):
    """Test functions whose docstring does not begin with a kind."""
    for node in tree.body:
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            doc = ast.get_docstring(node) or ""
            if not doc.startswith(tuple(f"{kind}:" for kind in KINDS)):
                yield node.name


def _without_match(tree):
    """Lines that expect an error or a warning without saying what it reads."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and ast.unparse(node.func) in (
            "pytest.raises",
            "pytest.warns",
        ):
            if "match" not in [word.arg for word in node.keywords]:
                yield node.lineno


# ---- what breaks a rule today


def offenders():
    """Rule and offender, one line each, sorted."""
    found = set()
    for name, thing, parameters in public_callables():
        if docstring_faults(thing, parameters):
            found.add(f"docstring {name}")
    kept = face_names()
    for path in sorted(PACKAGE.rglob("*.py")):
        where = path.relative_to(PACKAGE).as_posix()
        for name, node in functions(path):
            if body_lines(node) > MOST_LINES:
                found.add(f"lines {where} {name}")
            if parameter_count(node) > MOST_PARAMETERS and name not in kept:
                found.add(f"parameters {where} {name}")
    for path in sorted(TESTS.glob("test_*.py")):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        found |= {f"kind {path.name} {name}" for name in _without_kind(tree)}
        found |= {f"match {path.name} {line}" for line in _without_match(tree)}
    return sorted(found)


if __name__ == "__main__":
    print("\n".join(offenders()))
