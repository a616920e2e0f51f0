"""Where a fault can be made in a source text, and the text with it. Pure: ast in, ast out."""

from __future__ import annotations

import ast
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

SWAPS = {
    "sin": "cos", "cos": "sin", "east_rad": "up_rad", "up_rad": "east_rad", "east_arcmin": "up_arcmin",
    "up_arcmin": "east_arcmin", "AZIMUTH": "ALTITUDE", "ALTITUDE": "AZIMUTH", "azimuth": "altitude",
    "altitude": "azimuth", "CLOCKWISE": "ANTICLOCKWISE", "ANTICLOCKWISE": "CLOCKWISE", "min": "max", "max": "min",
    "degrees": "radians", "radians": "degrees", "EAST": "WEST", "WEST": "EAST", "bearing_arcmin": "height_arcmin",
    "height_arcmin": "bearing_arcmin", "before_arcmin": "after_arcmin", "after_arcmin": "before_arcmin",
    "floor": "ceil", "any": "all", "all": "any",
}  # fmt: skip
WORDS = {"east": "west", "west": "east", "up": "down", "clockwise": "anticlockwise", "anticlockwise": "clockwise"}
TURNED = (
    "sign dropped",
    *(f"{name} swapped" for name in SWAPS if name not in ("min", "max", "floor", "any", "all", "degrees", "radians")),
    *(f"{word!r} turned round" for word in WORDS),
)
COMPARED: dict[type[ast.cmpop], type[ast.cmpop]] = {
    ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq,
    ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In,
}  # fmt: skip
CALCULATED: dict[type[ast.operator], type[ast.operator]] = {
    ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.MatMult: ast.Mult
}  # fmt: skip
SILENT = ("LOG.", "assert_never", " = Literal[")  # what a line of the log says is nobody's business here; types


@dataclass(frozen=True)
class Fault:
    """The `number`-th fault of a file: the lines of its statement, what it does in words, where it may be met.

    `constant`: the name of a constant of the module, or of the class with a field, whose value it changes;
    `context`: the statement, and which of the faults that are told alike;
    `inside`: in a function, so that a process that has imported the module can still be given it.
    """

    file: str
    number: int
    line: int
    last: int
    text: str
    context: str
    inside: bool
    constant: str = ""

    @property
    def turns(self) -> bool:
        """Whether it only turns a direction round: a sign, a side, a screw."""
        return self.text.split(" in `")[0] in TURNED


def faults_of(file: str, source: str) -> list[Fault]:
    """All of them, in the order of the text."""
    tree = ast.parse(source)
    alike: Counter[tuple[str, str]] = Counter()
    found = []
    for number, (place, text, _) in enumerate(_changes(tree)):
        alike[place.context, text] += 1
        context = f"{place.context} {alike[place.context, text]}"
        found.append(Fault(file, number, place.line, place.last, text, context, place.inside, place.constant))
    return found


def mutated(source: str, fault: Fault) -> str:
    """The source with the fault in it; its lines are others."""
    return ast.unparse(ast.fix_missing_locations(changed(source, fault)))


def changed(source: str, fault: Fault) -> ast.Module:
    """The syntax tree with the fault in it, every line where it was."""
    tree = ast.parse(source)
    for number, (_, _, change) in enumerate(_changes(tree)):
        if number == fault.number:
            change()
            return ast.fix_missing_locations(tree)
    raise LookupError(fault)


@dataclass(frozen=True)
class _Place:
    line: int
    last: int
    context: str
    inside: bool
    constant: str


Change = Callable[[], None]


def _changes(tree: ast.Module) -> list[tuple[_Place, str, Change]]:
    """Every change, not yet made: the list is whole before the first one is."""
    return list(_in_body(tree.body, True, False))


def _in_body(body: list[ast.stmt], top: bool, inside: bool) -> Iterator[tuple[_Place, str, Change]]:
    for index, statement in enumerate(body):
        if isinstance(statement, ast.FunctionDef | ast.AsyncFunctionDef):
            yield from _in_body(statement.body, False, True)
        elif isinstance(statement, ast.ClassDef):
            if not _is_silent_class(statement):
                yield from _in_class(statement, inside)
        elif isinstance(statement, ast.Import | ast.ImportFrom | ast.Pass | ast.Assert | ast.Raise):
            continue
        elif not _is_docstring(statement) and not any(s in ast.unparse(statement)[:40] for s in SILENT):
            yield from _in_statement(body, index, statement, top, inside)


def _in_class(of: ast.ClassDef, inside: bool) -> Iterator[tuple[_Place, str, Change]]:
    """What a field is when nobody gives it is met where the class is used."""
    for place, told, change in _in_body(of.body, False, inside):
        yield place if place.inside else replace(place, constant=of.name), told, change


def _in_statement(
    body: list[ast.stmt], index: int, statement: ast.stmt, top: bool, inside: bool
) -> Iterator[tuple[_Place, str, Change]]:
    text = ast.unparse(statement)
    constant = _constant(statement) if top else ""
    place = _Place(statement.lineno, _last_line(statement), text.splitlines()[0], inside, constant)
    for part in _own_parts(statement):
        for node in _asked(part):
            for told, change in _in_node(node):
                yield place, f"{told} in `{text.splitlines()[0][:90]}`", change
    if _can_be_dropped(statement) and not top:

        def drop() -> None:
            body[index] = ast.Pass()

        yield place, f"dropped `{text.splitlines()[0][:90]}`", drop
    for inner in ("body", "orelse", "finalbody"):
        yield from _in_body(getattr(statement, inner, []), False, inside)
    for handler in getattr(statement, "handlers", []):
        yield from _in_body(handler.body, False, inside)
    for case in getattr(statement, "cases", []):
        yield from _in_body(case.body, False, inside)


def _last_line(statement: ast.stmt) -> int:
    """Of the statement itself, without those inside it."""
    if hasattr(statement, "body") or isinstance(statement, ast.Match):
        return max((getattr(part, "end_lineno", 0) for part in _own_parts(statement)), default=statement.lineno)
    return statement.end_lineno or statement.lineno


def _own_parts(statement: ast.stmt) -> Iterator[ast.AST]:
    """The expressions of a statement itself: no annotations, and not the statements inside it."""
    for name, value in ast.iter_fields(statement):
        if name in ("annotation", "body", "orelse", "finalbody", "handlers", "targets", "target", "names"):
            continue
        if name == "cases":
            for case in value:
                if case.guard is not None:
                    yield case.guard
        elif isinstance(value, ast.AST):
            yield value
        elif isinstance(value, list):
            for one in value:
                if isinstance(one, ast.AST):
                    yield one


def _asked(part: ast.AST) -> Iterator[ast.AST]:
    """Every node but the number of an axis of an array: -1 is the last one, which is no direction."""
    numbers = {id(n) for k in ast.walk(part) if isinstance(k, ast.keyword) and k.arg == "axis" for n in ast.walk(k)}
    return (node for node in ast.walk(part) if id(node) not in numbers)


def _in_node(node: ast.AST) -> Iterator[tuple[str, Change]]:
    if isinstance(node, ast.Compare) and type(node.ops[0]) in COMPARED:
        yield _setting(node.ops, 0, COMPARED[type(node.ops[0])](), "comparison turned round")
    elif isinstance(node, ast.BinOp) and type(node.op) in CALCULATED and not _is_text(node):
        yield _attribute(node, "op", CALCULATED[type(node.op)](), f"{type(node.op).__name__} changed")
    elif isinstance(node, ast.BoolOp):
        other = ast.And() if isinstance(node.op, ast.Or) else ast.Or()
        yield _attribute(node, "op", other, "and/or swapped")
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.USub):
        yield _attribute(node, "op", ast.UAdd(), "sign dropped")
    elif isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        plain = ast.Call(ast.Name("bool", ast.Load()), [node.operand], [])
        yield _attribute(node, "operand", ast.UnaryOp(ast.Not(), plain), "not dropped")
    elif isinstance(node, ast.IfExp):
        yield _swapped(node)
    elif isinstance(node, ast.Attribute) and node.attr in SWAPS:
        yield _attribute(node, "attr", SWAPS[node.attr], f"{node.attr} swapped")
    elif isinstance(node, ast.Name) and node.id in SWAPS and isinstance(node.ctx, ast.Load):
        yield _attribute(node, "id", SWAPS[node.id], f"{node.id} swapped")
    elif isinstance(node, ast.Constant):
        yield from _in_constant(node)


def _in_constant(node: ast.Constant) -> Iterator[tuple[str, Change]]:
    value = node.value
    if isinstance(value, bool):
        yield _attribute(node, "value", not value, f"{value} turned round")
    elif isinstance(value, int):
        yield _attribute(node, "value", value + 1, f"{value} by one")
    elif isinstance(value, float) and value != 0.0:
        yield _attribute(node, "value", value * 1.5, f"{value} by half")
    elif isinstance(value, str) and value in WORDS:
        yield _attribute(node, "value", WORDS[value], f"{value!r} turned round")


def _attribute(node: ast.AST, name: str, value: object, told: str) -> tuple[str, Change]:
    return told, lambda: setattr(node, name, value)


def _setting(values: list[ast.cmpop], index: int, value: ast.cmpop, told: str) -> tuple[str, Change]:
    return told, lambda: values.__setitem__(index, value)


def _swapped(node: ast.IfExp) -> tuple[str, Change]:
    def swap() -> None:
        node.body, node.orelse = node.orelse, node.body

    return "if/else swapped", swap


def _is_text(node: ast.BinOp) -> bool:
    """Strings and types are put together with operators too."""
    return any(isinstance(n, ast.JoinedStr) or isinstance(getattr(n, "value", None), str) for n in ast.walk(node))


def _is_docstring(statement: ast.stmt) -> bool:
    return isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant)


def _is_silent_class(statement: ast.ClassDef) -> bool:
    """Protocols and enumerations decide nothing."""
    return any(getattr(base, "id", "") in ("Protocol", "Enum", "IntFlag", "NamedTuple") for base in statement.bases)


def _can_be_dropped(statement: ast.stmt) -> bool:
    if isinstance(statement, ast.Expr):
        return not isinstance(statement.value, ast.Yield | ast.YieldFrom)
    return isinstance(statement, ast.AugAssign | ast.Continue | ast.Break)


def _constant(statement: ast.stmt) -> str:
    """The first name that a statement at the top of a module gives a value to."""
    target = statement.targets[0] if isinstance(statement, ast.Assign) else getattr(statement, "target", None)
    if isinstance(target, ast.Tuple):
        target = target.elts[0]
    return target.id if isinstance(target, ast.Name) else ""
